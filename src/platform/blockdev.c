#include "platform/blockdev.h"

#include <errno.h>

#include "base/error.h"

int blockdev_read(struct blockdev *out, const char *sysfs, const char *name, struct error *err)
{
	(void)out, (void)sysfs;
	return error_set(err, ERROR_IO, "cannot read '%s'", name);
}

int blockdev_read_by_number(
	struct blockdev *out, const char *sysfs, unsigned major, unsigned minor, struct error *err)
{
	(void)out, (void)sysfs;
	return error_set(err, ERROR_IO, "cannot read %u:%u", major, minor);
}

int blockdev_stat_open(const char *sysfs, unsigned major, unsigned minor)
{
	(void)sysfs, (void)major, (void)minor;
	return -ENOENT;
}

int blockdev_stat_read(int fd, struct blockdev_stat *out)
{
	(void)fd, (void)out;
	return -ENOENT;
}
