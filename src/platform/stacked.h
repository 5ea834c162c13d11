/* A disk, its partitions, and all that is stacked on them (device mapper, RAID, loop devices). */
#ifndef PLATFORM_STACKED_H
#define PLATFORM_STACKED_H

#include <stdbool.h>
#include <stddef.h>

struct stat;

struct stacked_device {
	char name[64]; /* kernel name */
	unsigned major, minor;
	bool stacked; /* lies on the member `below`; false: the disk itself or one of its partitions */
	bool beside; /* stacked, but on the same file as the disk, a loop device, lies on */
	char below[64]; /* "": on the file that was asked about, or beside */
};

struct stacked {
	struct stacked_device *members;
	size_t count, room;
};

/* Both return 0 or a negative errno; release it in any case. sysfs: the root, never NULL. That of a loop
 * device has the other loop devices on its file in it. */
int stacked_of_disk(struct stacked *f, const char *sysfs, const char *disk);
/* The loop devices on the file of st_dev and st_ino. */
int stacked_of_file(struct stacked *f, const char *sysfs, const struct stat *file);
void stacked_release(struct stacked *f);

const struct stacked_device *stacked_find(const struct stacked *f, unsigned major, unsigned minor);

#endif
