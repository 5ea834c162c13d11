/* A file that must not be there yet. */
#include "cli/new_file.h"

#include <errno.h>
#include <fcntl.h>
#include <unistd.h>

#include "base/durable.h"
#include "base/error.h"
#include "base/own_file.h"

int new_file_write(const char *path, const char *bytes, size_t length, struct error *err)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666), rc;

	if (fd < 0 && errno == EEXIST)
		return error_set(
			err, ERROR_USAGE, "'%s' exists; name a new file, or remove it first", path);
	if (fd < 0)
		return error_sys(err, errno == ENOSPC ? ERROR_IO : ERROR_USAGE, errno,
			"cannot create '%s'", path);
	rc = durable_write_all(fd, bytes, length);
	if (!rc && fsync(fd) < 0 && errno != EINVAL)
		rc = -errno;
	if (rc < 0)
		(void)own_file_unlink(fd, path);
	if (close(fd) < 0 && !rc)
		rc = -errno;
	if (!rc)
		return 0;
	return error_sys(err, ERROR_IO, -rc, "cannot write '%s'", path);
}
