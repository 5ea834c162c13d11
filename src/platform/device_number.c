/* Device numbers. */
#include "platform/device_number.h"

#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "platform/sysfs.h"

bool device_number_of_name(const char *sysfs, const char *name, unsigned *major, unsigned *minor)
{
	char dir[SYSFS_PATH_MAX], text[32];

	return sysfs_path(dir, "%s/class/block/%s", sysfs, name) == 0 &&
	       sysfs_read_text(dir, "dev", text, sizeof text) == 0 &&
	       sysfs_parse_device_number(text, major, minor);
}

bool device_number_of_path(const char *sysfs, const char *path, unsigned *major, unsigned *minor)
{
	struct stat st;

	if (!strncmp(path, "/dev/", 5) && path[5] && !strchr(path + 5, '/') &&
		device_number_of_name(sysfs, path + 5, major, minor))
		return true;
	if (*path != '/' || stat(path, &st) < 0 || !S_ISBLK(st.st_mode))
		return false;
	*major = major(st.st_rdev);
	*minor = minor(st.st_rdev);
	return true;
}
