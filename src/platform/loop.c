/* Loop devices: linux/loop.h, and loop/backing_file of sysfs. */
#include "platform/loop.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/loop.h>
#include <stdio.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "platform/device_number.h"
#include "platform/sysfs.h"

/* 1, 0 when it is not set up, -EACCES and the like when it may not be asked. */
static int ask_device(struct loop_base *out, const char *name)
{
	char node[80];
	struct loop_info64 info;
	int fd, rc;

	snprintf(node, sizeof node, "/dev/%s", name);
	fd = open(node, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	rc = ioctl(fd, LOOP_GET_STATUS64, &info) < 0 ? -errno : 1;
	close(fd);
	if (rc < 0)
		return rc == -ENXIO ? 0 : rc;
	/* The kernel's encoding of a device number is the one of stat(2). */
	out->is_device = info.lo_rdevice != 0;
	out->device = (dev_t)(out->is_device ? info.lo_rdevice : info.lo_device);
	out->inode = (ino_t)info.lo_inode;
	return 1;
}

static int follow_path(struct loop_base *out, const char *sysfs, const char *path)
{
	unsigned major, minor;
	struct stat st;

	if (device_number_of_path(sysfs, path, &major, &minor)) {
		out->is_device = true;
		out->device = makedev(major, minor);
		return 1;
	}
	if (stat(path, &st) < 0)
		return errno == ENOENT || errno == ENOTDIR || errno == EACCES ? 0 : -errno;
	out->device = st.st_dev;
	out->inode = st.st_ino;
	return 1;
}

static bool is_absence(int rc)
{
	return rc == -ENOENT || rc == -ENODEV || rc == -ENXIO;
}

/* Detached in this very moment, an attribute answers ENODEV; but then it is gone when one looks again. */
static bool is_detached(const char *dir, int rc)
{
	char path[SYSFS_PATH_MAX];

	return rc == -ENOENT ||
	       (is_absence(rc) && sysfs_path(path, "%s/loop/backing_file", dir) == 0 &&
		       access(path, F_OK) < 0 && errno == ENOENT);
}

int loop_base_read(struct loop_base *out, const char *sysfs, const char *name)
{
	char dir[SYSFS_PATH_MAX], file[SYSFS_PATH_MAX];
	int rc = sysfs_path(dir, "%s/block/%s", sysfs, name);

	*out = (struct loop_base){ 0 };
	if (!rc)
		rc = sysfs_read_line(dir, "loop/backing_file", file, sizeof file);
	if (rc < 0)
		return is_detached(dir, rc) ? 0 : rc;
	if (!strcmp(sysfs, "/sys")) { /* a moved tree's devices are not ours */
		rc = ask_device(out, name);
		if (rc >= 0 || (rc != -EACCES && rc != -EPERM && !is_absence(rc)))
			return rc;
	}
	return follow_path(out, sysfs, file);
}

/* By the path, if it leads to the file the device says it lies on. */
static int open_base(const struct loop_base *base, const char *path, int flags)
{
	struct stat st;
	int rc, fd = open(path, flags | O_CLOEXEC | O_NONBLOCK);

	if (fd < 0)
		return errno == ENOENT || errno == ENOTDIR ? -ESTALE : -errno;
	rc = fstat(fd, &st) < 0 ? -errno : 0;
	if (!rc && (st.st_dev != base->device || st.st_ino != base->inode))
		rc = -ESTALE;
	if (rc < 0)
		close(fd);
	return rc < 0 ? rc : fd;
}

int loop_open_file(const char *sysfs, const char *name, int flags)
{
	char dir[SYSFS_PATH_MAX], file[SYSFS_PATH_MAX];
	struct loop_base base;
	int rc = sysfs_path(dir, "%s/block/%s", sysfs, name);

	if (!rc)
		rc = sysfs_read_line(dir, "loop/backing_file", file, sizeof file);
	if (rc < 0)
		return is_detached(dir, rc) ? -ENXIO : rc;
	rc = loop_base_read(&base, sysfs, name);
	if (rc <= 0)
		return rc < 0 ? rc : -ESTALE;
	return base.is_device ? -ENOTSUP : open_base(&base, file, flags);
}
