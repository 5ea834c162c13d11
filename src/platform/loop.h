/* What a loop device lies on: a file, or a block device under another name. */
#ifndef PLATFORM_LOOP_H
#define PLATFORM_LOOP_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

struct loop_base {
	bool is_device; /* a block device, of number `device` */
	dev_t device; /* else: of the filesystem the file lies in */
	ino_t inode; /* of the file */
};

/* Of the loop device `name` (kernel name). 1 when it lies on something that can be told, 0 when it is not set up or lies
 * on a file that cannot be found from here, or a negative errno. Asks the device itself where that is allowed: a path
 * says nothing of a file that was renamed, removed or attached in another mount namespace. */
int loop_base_read(struct loop_base *out, const char *sysfs, const char *name);

/* Opens the file that the loop device lies on, by the path the kernel gives, with open(2)'s flags. A descriptor, or a
 * negative errno: ENXIO, it is not set up; ENOTSUP, it lies on a block device; ESTALE, that path leads to no file or to
 * another one than the device says it lies on (removed, or attached in another mount namespace). */
int loop_open_file(const char *sysfs, const char *name, int flags);

#endif
