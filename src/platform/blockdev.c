/* Block devices as sysfs describes them (Documentation/ABI/stable/sysfs-block; drivers/usb/core/sysfs.c for the
 * attributes of a USB device). */
#include "platform/blockdev.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/fs.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "platform/sysfs.h"

static const char *root_of(const char *sysfs)
{
	return sysfs ? sysfs : "/sys";
}

/* "speed" is a decimal number of Mb/s: 1.5, 12, 480, 5000, 10000, 20000, or "unknown". The kernel also prints 12 for
 * a device whose speed it does not know; that cannot be told from full speed here. */
static uint64_t parse_speed(const char *text)
{
	double megabits;

	if (number_parse_decimal(text, &megabits) < 0 || megabits <= 0 || megabits > 1e6)
		return 0;
	return (uint64_t)(megabits * 1e6 + 0.5);
}

/* An attribute that the device's token may be made of. Not having it is one thing, not getting it another: a token made of
 * the rest would name a device that does not exist, and data saved under that name could not be put back. */
static void read_identity(
	struct blockdev *d, char *out, size_t room, const char *dir, const char *name)
{
	int rc = sysfs_read_text(dir, name, out, room);

	if (rc == -EIO || rc == -EINTR || rc == -EAGAIN || rc == -ENOMEM || rc == -EMFILE ||
		rc == -ENFILE)
		d->unread = rc;
}

static void set_if_empty(
	struct blockdev *d, char *out, size_t room, const char *dir, const char *name)
{
	if (!*out)
		read_identity(d, out, room, dir, name);
}

/* Firmware that never looks which page is asked for answers with its standard INQUIRY data, which the kernel has as well. The
 * code of the page does not tell them apart: byte 1 of a removable medium's is 80h. */
static bool is_standard_data(const char *dir, const unsigned char *page, size_t n)
{
	unsigned char standard[36];
	long have = sysfs_read_bytes(dir, "inquiry", standard, sizeof standard);
	size_t same = have < 0 ? 0 : (size_t)have;

	if (same > n)
		same = n;
	return same > 4 && !memcmp(page, standard, same);
}

/* Unit serial number page 80h: SPC-4 section 7.8.15, length in bytes 2 and 3. The former was reserved up to SPC-2, and no
 * serial number is that long; the version in standard data is there. */
static void take_serial_page(struct blockdev *d, const char *dir)
{
	unsigned char page[260];
	long n = sysfs_read_bytes(dir, "vpd_pg80", page, sizeof page);
	char text[257];
	size_t length;

	if (*d->serial || n < 4 || page[1] != 0x80 || page[2] ||
		is_standard_data(dir, page, (size_t)n))
		return;
	length = page[3];
	if (length > (size_t)n - 4)
		length = (size_t)n - 4;
	memcpy(text, page + 4, length);
	text[length] = 0;
	sysfs_clean_text(text);
	text_copy(d->serial, sizeof d->serial, text);
}

/* No part of the token, so that not getting it is no error. */
static void take_revision(struct blockdev *d, const char *dir, const char *name)
{
	if (!*d->revision)
		sysfs_read_text(dir, name, d->revision, sizeof d->revision);
}

static void take_scsi(struct blockdev *d, const char *dir)
{
	set_if_empty(d, d->vendor, sizeof d->vendor, dir, "vendor");
	set_if_empty(d, d->model, sizeof d->model, dir, "model");
	take_revision(d, dir, "rev");
	take_serial_page(d, dir);
}

/* The USB device itself, not one of its interfaces: those have no `speed`. Its serial number is preferred to the one
 * in a SCSI page, because small gadgets answer page 80h with anything. */
static void take_usb(struct blockdev *d, const char *dir, bool *seen)
{
	char speed[24], serial[sizeof d->serial];

	/* Above the device come its hubs, which have a speed and a serial number too. */
	if (*seen || sysfs_read_text(dir, "speed", speed, sizeof speed) < 0)
		return;
	*seen = true;
	sysfs_read_text(dir, "bcdDevice", d->usb_release, sizeof d->usb_release);
	d->link_bits_per_second = parse_speed(speed);
	read_identity(d, serial, sizeof serial, dir, "serial");
	if (*serial)
		text_copy(d->serial, sizeof d->serial, serial);
	set_if_empty(d, d->vendor, sizeof d->vendor, dir, "manufacturer");
	set_if_empty(d, d->model, sizeof d->model, dir, "product");
}

/* A soldered chip (type MMC) is no removable card; an SD card is. */
static void take_mmc(struct blockdev *d, const char *dir)
{
	char type[16];

	set_if_empty(d, d->model, sizeof d->model, dir, "name");
	set_if_empty(d, d->serial, sizeof d->serial, dir, "serial");
	take_revision(d, dir, "fwrev");
	if (sysfs_read_text(dir, "type", type, sizeof type) == 0 && !strcmp(type, "SD"))
		d->removable = true;
}

static void set_transport(struct blockdev *d, const char *name)
{
	/* What is nearest to the disk names the transport; "scsi" only stands where nothing better is found above it. */
	if (!*d->transport || !strcmp(d->transport, "scsi"))
		text_copy(d->transport, sizeof d->transport, name);
}

/* libata gives its ports no subsystem of a known name, but always this directory. */
static bool is_ata_port(const char *component)
{
	return !strncmp(component, "ata", 3) && component[3] &&
	       strspn(component + 3, "0123456789") == strlen(component + 3);
}

static void take_level(struct blockdev *d, const char *dir, bool *usb_seen)
{
	char subsystem[32] = "";

	sysfs_read_link_name(dir, "subsystem", subsystem, sizeof subsystem);
	if (!strcmp(subsystem, "usb")) {
		set_transport(d, "usb");
		take_usb(d, dir, usb_seen);
	} else if (!strcmp(subsystem, "mmc")) {
		set_transport(d, "mmc");
		take_mmc(d, dir);
	} else if (!strncmp(subsystem, "nvme", 4)) {
		set_transport(d, "nvme");
		set_if_empty(d, d->model, sizeof d->model, dir, "model");
		set_if_empty(d, d->serial, sizeof d->serial, dir, "serial");
		take_revision(d, dir, "firmware_rev");
	} else if (!strcmp(subsystem, "virtio")) {
		set_transport(d, "virtio");
	} else if (is_ata_port(strrchr(dir, '/') + 1)) {
		set_transport(d, "ata");
	} else if (!strcmp(subsystem, "scsi")) {
		set_transport(d, "scsi");
		take_scsi(d, dir);
	}
}

/* From the disk's directory up to the root of the device tree: each level may be the one that knows. */
static void walk_up(struct blockdev *d, const char *disk_dir, const char *sysfs)
{
	char dir[SYSFS_PATH_MAX], top[SYSFS_PATH_MAX];
	size_t top_length;
	bool usb_seen = false;

	if (!realpath(sysfs, top))
		return;
	top_length = strlen(top);
	text_copy(dir, sizeof dir, disk_dir);
	for (;;) {
		char *slash = strrchr(dir, '/');

		if (!slash || (size_t)(slash - dir) <= top_length)
			return;
		*slash = 0;
		take_level(d, dir, &usb_seen);
	}
}

static void take_queue(struct blockdev *d, const char *disk_dir)
{
	char queue[SYSFS_PATH_MAX], cache[24];
	uint64_t n;

	if (sysfs_path(queue, "%s/queue", disk_dir) < 0)
		return;
	if (sysfs_read_number(queue, "logical_block_size", &n) == 0)
		d->logical_block_bytes = (uint32_t)n;
	if (sysfs_read_number(queue, "physical_block_size", &n) == 0)
		d->physical_block_bytes = (uint32_t)n;
	if (sysfs_read_number(queue, "max_sectors_kb", &n) == 0 && n <= UINT32_MAX / 1024)
		d->request_limit_bytes = (uint32_t)n * 1024;
	d->fua = sysfs_read_number(queue, "fua", &n) == 0 && n == 1;
	if (sysfs_read_text(queue, "write_cache", cache, sizeof cache) == 0) {
		d->write_back = !strcmp(cache, "write back");
		d->write_cache_known = d->write_back || !strcmp(cache, "write through");
	}
}

static void take_kind_by_name(struct blockdev *d, const char *disk_dir)
{
	const char *name = d->disk;

	if (!strncmp(name, "loop", 4)) {
		set_transport(d, "loop");
		read_identity(
			d, d->backing_file, sizeof d->backing_file, disk_dir, "loop/backing_file");
	} else if (!strncmp(name, "dm-", 3)) {
		set_transport(d, "dm");
		read_identity(d, d->model, sizeof d->model, disk_dir, "dm/name");
		read_identity(d, d->serial, sizeof d->serial, disk_dir, "dm/uuid");
	} else {
		/* virtio disks keep their serial here */
		read_identity(d, d->serial, sizeof d->serial, disk_dir, "serial");
	}
}

static int take_numbers(struct blockdev *d, const char *dir)
{
	char number[32], *colon, *end;
	uint64_t sectors, n;
	int rc = sysfs_read_text(dir, "dev", number, sizeof number);

	if (rc < 0)
		return rc;
	d->major = (unsigned)strtoul(number, &colon, 10);
	if (*colon != ':')
		return -EINVAL;
	d->minor = (unsigned)strtoul(colon + 1, &end, 10);
	if (end == colon + 1 || *end)
		return -EINVAL;
	rc = sysfs_read_number(dir, "size", &sectors);
	if (rc < 0)
		return rc;
	if (!number_multiply_u64(sectors, 512, &d->size_bytes))
		return -ERANGE;
	d->read_only = sysfs_read_number(dir, "ro", &n) == 0 && n != 0;
	return 0;
}

/* dir: the device's own directory, all links resolved. */
static int read_directory(struct blockdev *d, const char *dir, const char *sysfs)
{
	char disk_dir[SYSFS_PATH_MAX];
	uint64_t n;
	int rc;

	*d = (struct blockdev){ 0 };
	text_copy(d->name, sizeof d->name, strrchr(dir, '/') + 1);
	snprintf(d->node, sizeof d->node, "/dev/%s", d->name);
	for (char *c = d->node; *c; c++)
		if (*c == '!') /* stands for '/' in a kernel name */
			*c = '/';
	text_copy(disk_dir, sizeof disk_dir, dir);
	rc = sysfs_is_partition(dir);
	if (rc < 0)
		return rc;
	d->partition = rc > 0;
	if (d->partition)
		*strrchr(disk_dir, '/') = 0;
	text_copy(d->disk, sizeof d->disk, strrchr(disk_dir, '/') + 1);
	rc = take_numbers(d, dir);
	if (rc < 0)
		return rc;
	if (sysfs_read_number(disk_dir, "diskseq", &n) == 0)
		d->disk_sequence = n;
	d->marked_removable = sysfs_read_number(disk_dir, "removable", &n) == 0 && n == 1;
	d->removable = d->marked_removable;
	take_queue(d, disk_dir);
	take_kind_by_name(d, disk_dir);
	walk_up(d, disk_dir, sysfs);
	if (!*d->transport)
		text_copy(d->transport, sizeof d->transport, "other");
	if (!strcmp(d->transport, "usb"))
		d->removable = true;
	return d->unread;
}

static int read_link(struct blockdev *d, const char *link, const char *sysfs)
{
	char dir[SYSFS_PATH_MAX];

	if (!realpath(link, dir))
		return -errno;
	return read_directory(d, dir, sysfs);
}

int blockdev_read(struct blockdev *out, const char *sysfs, const char *name, struct error *err)
{
	char link[SYSFS_PATH_MAX];
	int rc = *name && !strchr(name, '/') && *name != '.' ? 0 : -EINVAL;

	if (!rc)
		rc = sysfs_path(link, "%s/class/block/%s", root_of(sysfs), name);
	if (!rc)
		rc = read_link(out, link, root_of(sysfs));
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc,
			"cannot read what the kernel says about block device '%s'", name);
	return 0;
}

int blockdev_read_by_number(
	struct blockdev *out, const char *sysfs, unsigned major, unsigned minor, struct error *err)
{
	char link[SYSFS_PATH_MAX];
	int rc = sysfs_path(link, "%s/dev/block/%u:%u", root_of(sysfs), major, minor);

	if (!rc)
		rc = read_link(out, link, root_of(sysfs));
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc,
			"cannot read what the kernel says about block device %u:%u", major, minor);
	return 0;
}

static int by_name(const void *a, const void *b)
{
	return strverscmp(((const struct blockdev *)a)->name, ((const struct blockdev *)b)->name);
}

struct listing {
	const char *sysfs, *dir; /* root; the folder whose entries are listed */
	bool partitions_only;
	struct blockdev *list;
	size_t count, room;
};

static int add_listed(struct listing *l, const char *link)
{
	int rc;

	if (l->count == l->room) {
		size_t more = l->room ? l->room * 2 : 16;
		struct blockdev *grown = realloc(l->list, more * sizeof *l->list);

		if (!grown)
			return -ENOMEM;
		l->list = grown;
		l->room = more;
	}
	/* One that was unplugged since the directory was read is not there any more: no error. Any other failure is one:
	 * whoever asks for all of them must not be given fewer. */
	rc = read_link(&l->list[l->count], link, l->sysfs);
	l->count += rc == 0;
	if ((rc == -ENODEV || rc == -ENXIO) && access(link, F_OK) < 0)
		rc = -errno;
	return rc == -ENOENT ? 0 : rc;
}

static int visit_listed(void *context, const char *name)
{
	struct listing *l = context;
	char link[SYSFS_PATH_MAX];
	int rc = sysfs_path(link, "%s/%s", l->dir, name), wanted = 1;

	if (!rc && l->partitions_only)
		wanted = sysfs_is_partition(link);
	if (rc < 0)
		return rc;
	return wanted > 0 ? add_listed(l, link) : wanted;
}

static int finish_listing(struct blockdev **out, size_t *count, struct listing *l, int rc,
	const char *what, struct error *err)
{
	*out = NULL;
	*count = 0;
	if (rc < 0) {
		free(l->list);
		return error_sys(err, ERROR_IO, -rc, "cannot list %s", what);
	}
	if (l->count)
		qsort(l->list, l->count, sizeof *l->list, by_name);
	*out = l->list;
	*count = l->count;
	return 0;
}

int blockdev_list(struct blockdev **out, size_t *count, const char *sysfs, struct error *err)
{
	char path[SYSFS_PATH_MAX];
	struct listing l = { .sysfs = root_of(sysfs), .dir = path };
	int rc = sysfs_path(path, "%s/block", l.sysfs);

	if (!rc)
		rc = sysfs_each_entry(path, false, visit_listed, &l);
	return finish_listing(out, count, &l, rc, "block devices", err);
}

int blockdev_list_partitions(struct blockdev **out, size_t *count, const char *sysfs,
	const char *disk, struct error *err)
{
	char path[SYSFS_PATH_MAX];
	struct listing l = { .sysfs = root_of(sysfs), .dir = path, .partitions_only = true };
	int rc = sysfs_path(path, "%s/class/block/%s", l.sysfs, disk);

	if (!rc)
		rc = sysfs_each_entry(path, false, visit_listed, &l);
	return finish_listing(out, count, &l, rc, "partitions", err);
}

#ifndef BLKGETDISKSEQ /* since Linux 5.15: include/uapi/linux/fs.h */
#define BLKGETDISKSEQ _IOR(0x12, 128, uint64_t)
#endif

int blockdev_sequence(int fd, uint64_t *out)
{
	return ioctl(fd, BLKGETDISKSEQ, out) < 0 ? -errno : 0;
}

int blockdev_size(int fd, uint64_t *bytes)
{
	return ioctl(fd, BLKGETSIZE64, bytes) < 0 ? -errno : 0;
}

void blockdev_look(const char *node)
{
	int fd = open(node, O_RDONLY | O_NONBLOCK | O_CLOEXEC);

	if (fd >= 0)
		close(fd);
}

bool blockdev_exists(const char *sysfs, unsigned major, unsigned minor)
{
	char path[SYSFS_PATH_MAX];

	return sysfs_path(path, "%s/dev/block/%u:%u", root_of(sysfs), major, minor) < 0 ||
	       access(path, F_OK) == 0 || errno != ENOENT;
}

int blockdev_stat_open(const char *sysfs, unsigned major, unsigned minor)
{
	char path[SYSFS_PATH_MAX];
	int rc = sysfs_path(path, "%s/dev/block/%u:%u/stat", root_of(sysfs), major, minor);
	int fd;

	if (rc < 0)
		return rc;
	fd = open(path, O_RDONLY | O_CLOEXEC);
	return fd < 0 ? -errno : fd;
}

/* Numbers parted by blanks; how many were found. */
static size_t parse_numbers(const char *text, uint64_t *out, size_t max)
{
	size_t n = 0;

	while (n < max) {
		char *end;
		uint64_t value;

		text += strspn(text, " \t\n");
		if (*text < '0' || *text > '9')
			break;
		errno = 0;
		value = strtoull(text, &end, 10);
		if (errno)
			break;
		out[n++] = value;
		text = end;
	}
	return n;
}

int blockdev_stat_read(int fd, struct blockdev_stat *out)
{
	char text[512];
	uint64_t f[17] = { 0 };
	ssize_t n = pread(fd, text, sizeof text - 1, 0);

	if (n < 0)
		return -errno;
	text[n] = 0;
	/* 11 fields always, discards since Linux 4.18, flushes since 5.5. */
	if (parse_numbers(text, f, 17) < 11)
		return -EBADMSG;
	*out = (struct blockdev_stat){
		.reads = f[0],
		.reads_merged = f[1],
		.read_sectors = f[2],
		.read_ms = f[3],
		.writes = f[4],
		.writes_merged = f[5],
		.written_sectors = f[6],
		.write_ms = f[7],
		.in_flight = f[8],
		.busy_ms = f[9],
		.weighted_ms = f[10],
		.discards = f[11],
		.discards_merged = f[12],
		.discarded_sectors = f[13],
		.discard_ms = f[14],
		.flushes = f[15],
		.flush_ms = f[16],
	};
	return 0;
}

void blockdev_errors_open(int fds[2], const char *sysfs, unsigned major, unsigned minor)
{
	static const char *const names[2] = { "ioerr_cnt", "iotmo_cnt" };
	char dir[SYSFS_PATH_MAX], path[SYSFS_PATH_MAX];
	const char *up;

	fds[0] = fds[1] = -1;
	if (sysfs_path(dir, "%s/dev/block/%u:%u", root_of(sysfs), major, minor) < 0)
		return;
	/* A link: what stands above a partition's own folder is its disk's. */
	up = sysfs_is_partition(dir) > 0 ? "../" : "";
	for (int i = 0; i < 2; i++)
		if (sysfs_path(path, "%s/%sdevice/%s", dir, up, names[i]) == 0)
			fds[i] = open(path, O_RDONLY | O_CLOEXEC);
	if (fds[0] >= 0 && fds[1] >= 0)
		return;
	for (int i = 0; i < 2; i++)
		if (fds[i] >= 0)
			close(fds[i]);
	fds[0] = fds[1] = -1;
}

int blockdev_errors_read(const int fds[2], uint64_t *sum)
{
	*sum = 0;
	for (int i = 0; i < 2; i++) {
		char text[40], *end;
		ssize_t n = fds[i] < 0 ? -1 : pread(fds[i], text, sizeof text - 1, 0);

		if (n < 0)
			return fds[i] < 0 ? -ENOTSUP : -errno;
		text[n] = 0;
		*sum += strtoull(text, &end, 16); /* "0x1f" */
		if (end == text)
			return -EBADMSG;
	}
	return 0;
}
