/* The number of a block device. sysfs: the root, never NULL. */
#ifndef PLATFORM_DEVICE_NUMBER_H
#define PLATFORM_DEVICE_NUMBER_H

#include <stdbool.h>

/* Of its kernel name. */
bool device_number_of_name(const char *sysfs, const char *name, unsigned *major, unsigned *minor);

/* Of a path such as /dev/sdb1 or /dev/mapper/home: asked of sysfs first. */
bool device_number_of_path(const char *sysfs, const char *path, unsigned *major, unsigned *minor);

#endif
