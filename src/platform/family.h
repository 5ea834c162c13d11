/* A disk, its partitions, and all that is stacked on them (device mapper, RAID, loop devices). */
#ifndef PLATFORM_FAMILY_H
#define PLATFORM_FAMILY_H

#include <stdbool.h>
#include <stddef.h>

struct stat;

struct family_member {
	char name[64]; /* kernel name */
	unsigned major, minor;
	bool stacked; /* lies on the member `below`; false: the disk itself or one of its partitions */
	bool beside; /* stacked, but on the same file as the disk, a loop device, lies on */
	char below[64]; /* "": on the file that was asked about, or beside */
};

struct family {
	struct family_member *members;
	size_t count, room;
};

/* Both return 0 or a negative errno; release the family in any case. sysfs: the root, never NULL. The family of a loop
 * device has the other loop devices on its file in it. */
int family_of_disk(struct family *f, const char *sysfs, const char *disk);
/* The loop devices on the file of st_dev and st_ino. */
int family_of_file(struct family *f, const char *sysfs, const struct stat *file);
void family_release(struct family *f);

const struct family_member *family_find(const struct family *f, unsigned major, unsigned minor);

/* The device number behind a path such as /dev/sdb1 or /dev/mapper/home: asked of sysfs first. */
bool family_device_number(const char *sysfs, const char *path, unsigned *major, unsigned *minor);

#endif
