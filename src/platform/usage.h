/* Who uses a disk: mounts, swap, holders, loop devices, on it, on its partitions and on whatever is stacked on them.
 * The files read can be moved for tests. What is not seen here (another mount namespace, a filesystem over several
 * disks) the exclusive open of the device still catches. */
#ifndef PLATFORM_USAGE_H
#define PLATFORM_USAGE_H

#include <limits.h>
#include <stdbool.h>
#include <stddef.h>

#include "platform/blockdev.h"

struct error;
struct stat;

/* NULL fields mean the machine's own: /sys, /proc/self/mountinfo, /proc/swaps, /proc/self/exe. */
struct usage_sources {
	const char *sysfs;
	const char *mountinfo;
	const char *swaps;
	const char *program;
};

enum usage_kind { USAGE_MOUNT, USAGE_SWAP, USAGE_HOLDER };

struct usage_item {
	enum usage_kind kind;
	bool system; /* /, /usr, /boot, /boot/efi, /efi, or where this program lies */
	bool beside; /* of USAGE_HOLDER: a loop device on the same file as this one */
	char device[64]; /* kernel name of the used part: sdb1 */
	char by[192]; /* mount point, "swap", or kernel name of the holder */
};

enum { USAGE_ITEMS_MAX = 16 };

struct usage {
	bool system, mounted, swap, held; /* true whether or not the item found room below */
	unsigned partitions;
	char alias_of[64]; /* of a loop device on a block device: that one; else "" */
	/* a system disk that this one is built on (volumes, RAID); else "" */
	char system_below[64];
	size_t count; /* of items */
	size_t more; /* further ones */
	struct usage_item items[USAGE_ITEMS_MAX];
};

/* Of the whole disk `disk` (kernel name), partitions included. 0, or -1 with *err: then nothing is known, and a disk
 * must not be written. src may be NULL. */
int usage_read(
	struct usage *out, const struct usage_sources *src, const char *disk, struct error *err);

/* The same for the image file of st_dev and st_ino: the loop devices attached to it and what uses them, and whether it is
 * a swap file. 0 or a negative errno. */
int usage_read_file(struct usage *out, const struct usage_sources *src, const struct stat *image);

/* Whether the existing folder or file `path` lies on a filesystem that is kept on `disk`, however many layers down. */
bool usage_path_lies_on_disk(const struct usage_sources *src, const char *path, const char *disk);
/* The same for a filesystem kept in the image file `image`. */
bool usage_path_lies_in_file(
	const struct usage_sources *src, const char *path, const struct stat *image);

/* One line of mountinfo. */
struct usage_mount {
	unsigned id;
	unsigned major, minor; /* of the device it lies on, as far as that can be told */
	char root[PATH_MAX]; /* which part of the filesystem is mounted there */
	char point[PATH_MAX]; /* where */
	char options[2 * PATH_MAX]; /* of the filesystem itself, with commas */
};

/* The mount through which the file was opened. false: it cannot be told. */
bool usage_mount_of_file(struct usage_mount *out, const struct usage_sources *src, int fd);

/* The device that the filesystem of the open file lies on, as far as that can be told; also where the filesystem shows
 * a number of its own making (btrfs). false: on none. */
bool usage_device_of_file(
	const struct usage_sources *src, int fd, unsigned *major, unsigned *minor);

#endif
