/* Writing and syncing our own files. */
#include "base/durable.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

enum { RETRIES = 100 };

bool durable_is_passing(int sys_errno)
{
	return sys_errno == EINTR || sys_errno == EAGAIN;
}

int durable_write_all(int fd, const void *bytes, size_t length)
{
	const char *at = bytes;
	int retries = 0;

	while (length) {
		ssize_t n = write(fd, at, length);

		if (n < 0 && durable_is_passing(errno) && retries++ < RETRIES)
			continue;
		if (n < 0)
			return -errno;
		if (n == 0)
			return -EIO;
		at += n;
		length -= (size_t)n;
	}
	return 0;
}

int durable_sync_folder_of(const char *path)
{
	const char *slash = strrchr(path, '/');
	char folder[PATH_MAX];
	int fd, rc = 0;

	if (slash && slash - path >= PATH_MAX)
		return -ENAMETOOLONG;
	snprintf(folder, sizeof folder, "%.*s", slash ? (int)(slash - path) + 1 : 1,
		slash ? path : ".");
	fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	if (fsync(fd) < 0 && errno != EINVAL)
		rc = -errno;
	close(fd);
	return rc;
}
