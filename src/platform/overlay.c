/* mountinfo: where an overlay is mounted, and its upperdir option. */
#include "platform/overlay.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include "base/text.h"
#include "platform/usage.h"

#ifndef OVERLAYFS_SUPER_MAGIC
#define OVERLAYFS_SUPER_MAGIC 0x794C7630
#endif

/* "rw,lowerdir=/l,upperdir=/u,workdir=/w" */
static bool find_upper(char out[PATH_MAX], const char *options)
{
	static const char key[] = "upperdir=";
	const char *at = strstr(options, key);
	size_t n;

	if (!at || (at != options && at[-1] != ','))
		return false;
	at += sizeof key - 1;
	n = strcspn(at, ",");
	if (*at != '/' || n >= PATH_MAX)
		return false; /* relative to where somebody else was */
	memcpy(out, at, n);
	out[n] = 0;
	return true;
}

/* PATH less the mount point POINT, to which ROOT of the filesystem is mounted. */
static bool path_within(char out[PATH_MAX], const char *path, const char *point, const char *root)
{
	size_t n = strcmp(point, "/") ? strlen(point) : 0;

	if (strncmp(path, point, n) != 0 || path[n] != '/')
		return false;
	return snprintf(out, PATH_MAX, "%s%s", strcmp(root, "/") ? root : "", path + n) < PATH_MAX;
}

static int open_same_size(const char *path, int fd)
{
	struct stat above, real;
	int file = open(path, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);

	if (file < 0)
		return -errno;
	if (fstat(file, &real) == 0 && fstat(fd, &above) == 0 && S_ISREG(real.st_mode) &&
		real.st_size == above.st_size)
		return file;
	close(file);
	return -ENOENT;
}

int overlay_open_upper(int fd)
{
	char self[40], path[PATH_MAX], upper[PATH_MAX], within[PATH_MAX], real[2 * PATH_MAX];
	struct usage_mount m;
	struct statfs fs;
	ssize_t n;

	if (fstatfs(fd, &fs) < 0 || fs.f_type != OVERLAYFS_SUPER_MAGIC)
		return -ENOENT;
	snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
	n = readlink(self, path, sizeof path - 1);
	if (n < 0)
		return -errno;
	path[n] = 0;
	if (!usage_mount_of_file(&m, NULL, fd) || !find_upper(upper, m.options) ||
		!path_within(within, path, m.point, m.root))
		return -ENOENT;
	snprintf(real, sizeof real, "%s%s", upper, within);
	return open_same_size(real, fd);
}
