/* Names compared with descriptors: stat(2), st_dev and st_ino. */
#include "base/own_file.h"

#include <errno.h>
#include <stdio.h>
#include <sys/stat.h>
#include <unistd.h>

enum own_name own_file_name(int fd, const char *path)
{
	struct stat own, named;

	if (lstat(path, &named) < 0)
		return errno == ENOENT || errno == ENOTDIR ? OWN_NAME_GONE : OWN_NAME_OTHER;
	if (fstat(fd, &own) < 0 || own.st_dev != named.st_dev || own.st_ino != named.st_ino)
		return OWN_NAME_OTHER;
	return OWN_NAME_SAME;
}

int own_file_unlink(int fd, const char *path)
{
	if (own_file_name(fd, path) != OWN_NAME_SAME)
		return 1;
	return unlink(path) < 0 ? -errno : 0;
}

int own_file_rename(int fd, const char *from, const char *to)
{
	if (own_file_name(fd, from) != OWN_NAME_SAME)
		return 1;
	return rename(from, to) < 0 ? -errno : 0;
}
