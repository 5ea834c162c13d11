/* What a block device is built on: looks down where stacked.h looks up. */
#ifndef PLATFORM_BENEATH_H
#define PLATFORM_BENEATH_H

#include <stdbool.h>

struct beneath_disk {
	char device[64]; /* kernel name of what lies directly below: sdb2 */
	char disk[64]; /* of its whole disk: sdb */
	bool alias; /* below a loop device: the loop device is just another way to it */
};

/* Calls visit for each device directly below `disk`, which is what a volume or RAID lists as its slaves, or the block
 * device a loop device lies on. A file below a loop device is no device: only its own bytes are touched. 0, or a negative
 * errno (visit's own ends the walk). */
int beneath_each(const char *sysfs, const char *disk,
	int (*visit)(void *context, const struct beneath_disk *below), void *context);

/* The device of that number. 0 or a negative errno (ENOENT: none, or no block device's number). */
int beneath_of_number(struct beneath_disk *out, const char *sysfs, unsigned major, unsigned minor);

#endif
