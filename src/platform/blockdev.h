/* What Linux says about block devices, read from sysfs. The root ("/sys") can be moved for tests; what needs more than
 * sysfs (mounts, swap) is in platform/usage.h. */
#ifndef PLATFORM_BLOCKDEV_H
#define PLATFORM_BLOCKDEV_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;

struct blockdev {
	char name[64]; /* kernel name: sdb, mmcblk0, loop3 */
	char node[80]; /* /dev/sdb */
	unsigned major, minor;
	uint64_t size_bytes;
	char vendor[64], model[96],
		serial[96]; /* blanks trimmed, controls removed; "" when unknown */
	/* of the firmware, as it calls itself: product revision level in INQUIRY data (SPC-4 6.4.2), NVMe firmware_rev,
	 * fwrev of an MMC card; "" when unknown */
	char revision[24];
	char usb_release[8]; /* bcdDevice, USB 2.0 table 9-8: "0100" is 1.00; "" when unknown */
	char transport[16]; /* usb, mmc, ata, nvme, virtio, loop, dm, scsi, other */
	uint64_t link_bits_per_second; /* USB: the `speed` attribute; 0: unknown */
	bool removable; /* the `removable` attribute, or a USB or card transport */
	bool marked_removable; /* the attribute alone: what INQUIRY said when the disk came */
	bool read_only;
	bool partition; /* then `disk` names the whole disk */
	char disk[64];
	uint32_t logical_block_bytes, physical_block_bytes;
	uint32_t request_limit_bytes; /* max_sectors_kb */
	bool write_back; /* queue/write_cache */
	bool write_cache_known;
	bool fua;
	uint64_t disk_sequence; /* diskseq; 0: unknown */
	char backing_file[512]; /* loop devices */
	int unread; /* negative errno: a part of its identity could not be read, and it is not handed out */
};

/* Counters of /sys/block/X/stat (Documentation/ABI/stable/sysfs-block, Documentation/admin-guide/iostats.rst); a sector there is always 512 bytes. */
struct blockdev_stat {
	uint64_t reads, reads_merged, read_sectors, read_ms;
	uint64_t writes, writes_merged, written_sectors, write_ms;
	uint64_t in_flight, busy_ms, weighted_ms;
	uint64_t discards, discards_merged, discarded_sectors, discard_ms;
	uint64_t flushes, flush_ms; /* 0 before Linux 5.5 */
};

/* By kernel name ("sdb", "sdb1"). sysfs NULL: "/sys". 0, or -1 with *err. */
int blockdev_read(struct blockdev *out, const char *sysfs, const char *name, struct error *err);

/* By device number, as stat() of its node gives it. */
int blockdev_read_by_number(
	struct blockdev *out, const char *sysfs, unsigned major, unsigned minor, struct error *err);

/* All whole disks, sorted by name; *out is malloc'd, free() it. */
int blockdev_list(struct blockdev **out, size_t *count, const char *sysfs, struct error *err);

/* The partitions of one disk, the same way. */
int blockdev_list_partitions(struct blockdev **out, size_t *count, const char *sysfs,
	const char *disk, struct error *err);

/* Of an open device; a partition's is its disk's. It moves when the kernel notices another medium or another device.
 * 0, -ENOTTY before Linux 5.15, or another negative errno. */
int blockdev_sequence(int fd, uint64_t *out);
int blockdev_size(int fd, uint64_t *bytes); /* 0 or a negative errno */

/* Opens and closes it, which makes the kernel look what medium is in it: without a poll it would not know of a card that was
 * put in since. */
void blockdev_look(const char *node);

/* Is there a device of that number now? sysfs NULL: "/sys". True also when it cannot be found out. */
bool blockdev_exists(const char *sysfs, unsigned major, unsigned minor);

/* An open handle on one device's counters, cheap to read again and again. fd >= 0, or a negative errno. */
int blockdev_stat_open(const char *sysfs, unsigned major, unsigned minor);
int blockdev_stat_read(int fd, struct blockdev_stat *out); /* 0 or a negative errno */

/* The kernel's count of failed and of timed-out commands of a SCSI disk, or of the disk of a partition
 * (drivers/scsi/scsi_sysfs.c: ioerr_cnt, iotmo_cnt). fds[] >= 0, both, or -1 both where there are none. */
void blockdev_errors_open(int fds[2], const char *sysfs, unsigned major, unsigned minor);
int blockdev_errors_read(const int fds[2], uint64_t *sum); /* 0 or a negative errno */

#endif
