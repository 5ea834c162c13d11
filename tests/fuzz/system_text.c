/* Fuzz: what the kernel says about disks, mounts and swap. A tree with a USB disk, its partition, a loop device and a volume
 * is made once; the input, parts separated by NUL, becomes the content of its attributes and of the tables, in the order
 * below. Device text comes from devices under development, mount points from anybody. */
#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"
#include "fuzz.h"
#include "platform/blockdev.h"
#include "platform/guard.h"
#include "platform/usage.h"

#define USB "devices/usb1/1-1"
#define DISK USB "/1-1:1.0/host2/2:0:0:0/block/sdb"
#define LOOP "devices/virtual/block/loop0"
#define VOLUME "devices/virtual/block/dm-0"

static const char *const parts[] = { "mountinfo", "swaps", DISK "/size", DISK "/stat", DISK "/dev",
	USB "/serial", USB "/speed", DISK "/../../vpd_pg80", DISK "/../../vendor",
	DISK "/../../model", LOOP "/loop/backing_file", DISK "/removable", DISK "/ro",
	DISK "/diskseq", DISK "/queue/write_cache", DISK "/queue/max_sectors_kb",
	DISK "/queue/logical_block_size", DISK "/sdb1/partition", DISK "/sdb1/dev",
	VOLUME "/dm/name", VOLUME "/dm/uuid", VOLUME "/dev", DISK "/../../inquiry" };
static const char *const usual[] = { "", "", "2048\n", "1 0 8 1 1 0 8 1 0 1 2\n", "8:16\n", "A1\n",
	"12\n", "", "V\n", "M\n", "/dev/sdb1\n", "1\n", "0\n", "7\n", "write back\n", "120\n",
	"512\n", "1\n", "8:17\n", "home\n", "LVM-1\n", "252:0\n", "" };
enum { PARTS = sizeof parts / sizeof *parts };

static char root[] = "/dev/shm/blkassay-fuzz-XXXXXX", mounts[64], swaps[64];
static int at = -1; /* the root, opened */

static void put(const char *path, const void *bytes, size_t n)
{
	int fd = openat(at, path, O_WRONLY | O_CREAT | O_TRUNC, 0666);

	if (fd < 0 || write(fd, bytes, n) != (ssize_t)n)
		abort();
	close(fd);
}

static void folder(const char *path)
{
	char part[300];

	for (size_t i = 1; i <= strlen(path); i++)
		if (path[i] == '/' || !path[i]) {
			snprintf(part, sizeof part, "%.*s", (int)i, path);
			mkdirat(at, part, 0777);
		}
}

static void join(const char *to, const char *from)
{
	if (symlinkat(to, at, from) < 0)
		abort();
}

static void leave(void)
{
	char command[100];

	snprintf(command, sizeof command, "rm -rf '%s'", root);
	if (system(command) != 0)
		fputs("cannot clear away\n", stderr);
}

static void make_tree(void)
{
	static const char *const folders[] = { DISK "/queue", DISK "/sdb1/holders", DISK "/holders",
		LOOP "/loop", LOOP "/holders", VOLUME "/dm", VOLUME "/holders", VOLUME "/slaves",
		"block", "class/block", "dev/block" };

	if (!mkdtemp(root) || (at = open(root, O_RDONLY | O_DIRECTORY)) < 0)
		abort();
	snprintf(mounts, sizeof mounts, "%s/mountinfo", root);
	snprintf(swaps, sizeof swaps, "%s/swaps", root);
	atexit(leave);
	for (size_t i = 0; i < sizeof folders / sizeof *folders; i++)
		folder(folders[i]);
	put(LOOP "/dev", "7:0\n", 4);
	put(LOOP "/size", "8\n", 2);
	put(VOLUME "/size", "8\n", 2);
	put(DISK "/sdb1/size", "8\n", 2);
	join("../../../../bus/usb", USB "/subsystem");
	join("../../../../bus/scsi", DISK "/../../subsystem");
	join("../" DISK, "block/sdb");
	join("../" LOOP, "block/loop0");
	join("../" VOLUME, "block/dm-0");
	join("../../" DISK, "class/block/sdb");
	join("../../" DISK "/sdb1", "class/block/sdb1");
	join("../../" LOOP, "class/block/loop0");
	join("../../" VOLUME, "class/block/dm-0");
	join("../../../../../../../../../../" VOLUME, DISK "/sdb1/holders/dm-0");
	join("../../../../../" DISK "/sdb1", VOLUME "/slaves/sdb1");
	join("../../" LOOP, "dev/block/7:0");
	join("../../" DISK, "dev/block/8:16");
	join("../../" DISK "/sdb1", "dev/block/8:17");
}

static void must_be_plain(const char *text)
{
	for (; *text; text++)
		if ((unsigned char)*text < 0x20 || (unsigned char)*text >= 0x7f)
			abort();
}

static void check_device(const struct blockdev *d, const struct blockdev *all, size_t count,
	const struct usage_sources *src)
{
	struct guard_verdict v;
	struct error err = { 0 };
	struct usage u;
	bool known = usage_read(&u, src, d->disk, &err) == 0;

	if (!known && !err.text[0])
		abort();
	must_be_plain(d->vendor);
	must_be_plain(d->model);
	must_be_plain(d->serial);
	for (size_t i = 0; known && i < u.count; i++)
		must_be_plain(u.items[i].by);
	guard_judge_device(&v, d, all, count, known ? &u : NULL, true);
	if (strspn(v.token, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-") !=
			strlen(v.token) ||
		!*v.token || v.may_write == (*v.sentence != 0))
		abort();
	if (v.may_write && (!known || u.mounted || u.swap || u.held || u.system || d->read_only ||
				   !d->size_bytes))
		abort();
}

static void look(void)
{
	const struct usage_sources src = { root, mounts, swaps, "/proc/self/exe" };
	struct error err = { 0 };
	struct blockdev_stat st;
	struct blockdev *all, *some;
	size_t count, more;
	int fd = openat(at, DISK "/stat", O_RDONLY);

	(void)blockdev_stat_read(fd, &st);
	close(fd);
	if (blockdev_list(&all, &count, root, &err) < 0)
		return;
	for (size_t i = 0; i < count; i++)
		check_device(&all[i], all, count, &src);
	if (blockdev_list_partitions(&some, &more, root, "sdb", &err) == 0) {
		for (size_t i = 0; i < more; i++)
			check_device(&some[i], all, count, &src);
		free(some);
	}
	free(all);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static bool made;

	if (!made)
		make_tree();
	made = true;
	for (size_t i = 0; i < PARTS; i++) {
		const uint8_t *end = size ? memchr(data, 0, size) : NULL;
		size_t n = end ? (size_t)(end - data) : size;

		if (n)
			put(parts[i], data, n);
		else
			put(parts[i], usual[i], strlen(usual[i]));
		data = size ? data + n + (end != NULL) : data;
		size -= n + (end != NULL);
	}
	look();
	return 0;
}
