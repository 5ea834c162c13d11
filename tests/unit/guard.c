/* platform/usage and platform/guard on a recorded tree with mount and swap tables of its own. */
#include "platform/guard.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/error.h"
#include "base/text.h"
#include "support/tree.h"

static const char *root;
static char mountinfo[300], swaps[300], program[300];
static struct usage_sources src;

/* proc(5): the form of mountinfo and swaps. */
#define LAPTOP_MOUNTS                                               \
	"22 27 0:21 / /proc rw,relatime - proc proc rw\n"           \
	"27 1 254:1 / / rw,relatime shared:1 - ext4 /dev/vda1 rw\n" \
	"28 27 252:0 / /home rw,relatime shared:2 master:1 - ext4 /dev/mapper/home rw\n"

static void tables(const char *mounts, const char *swap)
{
	tree_put("mountinfo", mounts);
	tree_put("swaps", swap);
}

static void setup(void)
{
	root = tree_unpack("laptop.sysfs");
	snprintf(mountinfo, sizeof mountinfo, "%s/mountinfo", root);
	snprintf(swaps, sizeof swaps, "%s/swaps", root);
	snprintf(program, sizeof program, "%s/program", root);
	tree_put("program", "");
	src = (struct usage_sources){
		.sysfs = root, .mountinfo = mountinfo, .swaps = swaps, .program = program
	};
	tables(LAPTOP_MOUNTS, "Filename\tType\tSize\tUsed\tPriority\n");
}

static struct blockdev device(const char *name)
{
	struct blockdev d;
	struct error err;

	ck_assert_msg(blockdev_read(&d, root, name, &err) == 0, "%s", err.text);
	return d;
}

static struct guard_verdict verdict(const char *name, bool fixed_allowed)
{
	struct blockdev d = device(name);
	struct guard_verdict v;
	struct error err;

	ck_assert_int_eq(guard_check_device(&v, &src, &d, fixed_allowed, &err), 0);
	ck_assert_int_eq(v.may_write, v.reason == GUARD_FINE);
	ck_assert_int_eq(v.may_write, !*v.sentence);
	return v;
}

static void expect(const char *name, enum guard_reason reason)
{
	ck_assert_str_eq(guard_reason_word(verdict(name, false).reason), guard_reason_word(reason));
	/* --fixed-disk lifts that one refusal and no other. */
	if (reason != GUARD_FIXED)
		ck_assert_str_eq(
			guard_reason_word(verdict(name, true).reason), guard_reason_word(reason));
}

START_TEST(idle_laptop)
{
	expect("vda", GUARD_SYSTEM);
	expect("vda1", GUARD_SYSTEM);
	expect("vda2", GUARD_SYSTEM); /* its disk holds / */
	expect("dm-0", GUARD_MOUNTED);
	expect("sdb", GUARD_FINE);
	expect("sdb1", GUARD_FINE);
	expect("sdc", GUARD_READ_ONLY);
	expect("sdd", GUARD_EMPTY);
	expect("mmcblk0", GUARD_FINE);
	expect("mmcblk1", GUARD_FIXED);
	expect("sda", GUARD_FIXED);
	ck_assert(verdict("sda", true).may_write);
	expect("loop0", GUARD_FINE); /* made on purpose, lies in a file */
	ck_assert(strstr(verdict("vda", true).sentence, "'/'"));
}
END_TEST

START_TEST(tokens)
{
	struct blockdev d = device("sdb");

	ck_assert_str_eq(verdict("sdb", false).token, "A0031-7948206080");
	ck_assert_str_eq(verdict("sdb1", false).token, "A0031-7947157504-part1");
	ck_assert_str_eq(verdict("sdc", false).token, "B-77-1048576");
	ck_assert_str_eq(verdict("loop0", false).token, "card-one.img-8fdd9186-1048576");
	d.serial[0] = 0;
	char token[GUARD_TOKEN_MAX];
	guard_token_of_device(token, &d);
	ck_assert_str_eq(token, "FIELDLOG-Card-bay-31m-one-7948206080");
	d.vendor[0] = d.model[0] = 0;
	guard_token_of_device(token, &d);
	ck_assert_str_eq(token, "sdb-7948206080");
	/* Nothing that a shell would take apart, whatever the device says. */
	snprintf(d.serial, sizeof d.serial, "%s", "$(x);'a'\\ \"b\" *?-");
	guard_token_of_device(token, &d);
	ck_assert_str_eq(token, "x-a-b-7948206080");
	memset(d.serial, 'S', sizeof d.serial - 1);
	guard_token_of_device(token, &d);
	ck_assert_uint_eq(strlen(token), sizeof d.serial - 1 + 11);
	guard_token_of_name(token, "../\xc3\xbc/");
	ck_assert_str_eq(token, "..");
	guard_token_of_name(token, "\xc3\xbc");
	ck_assert_str_eq(token, "model");
}
END_TEST

/* The path's CRC-32, as zlib has it: worked out with Python's zlib.crc32. */
START_TEST(tokens_of_images)
{
	char token[GUARD_TOKEN_MAX], place[400];
	struct blockdev d = device("loop0");

	guard_token_of_image(token, "/media/work/card.img");
	ck_assert_str_eq(token, "card.img-a0113d31");
	guard_token_of_image(token, "/media/play/card.img");
	ck_assert_str_eq(token, "card.img-beb31a86");
	guard_token_of_image(token, "/\xc3\xbc");
	ck_assert_str_eq(token, "image-ee50a3e5");
	/* The longest of names leaves room for all that tells it from others. */
	memset(place, 'n', sizeof place - 1);
	place[0] = '/';
	place[sizeof place - 1] = 0;
	text_copy(d.backing_file, sizeof d.backing_file, place);
	d.partition = true;
	d.size_bytes = UINT64_MAX;
	text_copy(d.name, sizeof d.name, "loop0p128");
	guard_token_of_device(token, &d);
	ck_assert_ptr_nonnull(strstr(token, "nn-e948a5fb-18446744073709551615-part128"));
}
END_TEST

static void expect_alike(const char *a, const char *b, bool loop, bool alike)
{
	ck_assert_msg(guard_token_has_same_name(a, b, loop) == alike, "%s, %s", a, b);
	ck_assert_msg(guard_token_has_same_name(b, a, loop) == alike, "%s, %s", b, a);
}

START_TEST(tokens_of_moved_images)
{
	expect_alike("card.img-a0113d31", "card.img-00000000", false, true);
	expect_alike("card.img-a0113d31", "card.img", false, true); /* of an earlier version */
	expect_alike("card.img-a0113d31", "carb.img-a0113d31", false, false);
	expect_alike("card.img-a0113d31", "card.img-", false, false);
	expect_alike("card-deadbeef", "card-deadbeef-a0113d31", false, true);
	/* 16 MiB has eight digits, as a checksum has. */
	expect_alike("card.img-a0113d31-16777216", "card.img-16777216", true, true);
	expect_alike("card.img-a0113d31-16777216", "card.img-b0113d31-16777216", true, true);
	expect_alike("card.img-a0113d31-16777216", "card.img-a0113d31-16777217", true, false);
	expect_alike("card.img-16777216", "card.img-16777217", true, false);
	expect_alike("c-a0113d31-512-part1", "c-b0113d31-512-part1", true, true);
	expect_alike("c-a0113d31-512-part1", "c-b0113d31-512-part2", true, false);
	expect_alike("c-a0113d31-512-part1", "c-b0113d31-512", true, false);
	expect_alike("", "card.img", false, false);
	expect_alike("", "-5", true, false);
}
END_TEST

START_TEST(mounted_partition)
{
	struct usage u;
	struct error err;

	tables(LAPTOP_MOUNTS "30 27 8:17 / /media/my\\040card rw - vfat /dev/sdb1 rw\n"
			     "31 27 8:17 / /media/b\\134c rw - vfat /dev/sdb1 rw\n",
		"");
	expect("sdb", GUARD_MOUNTED);
	expect("sdb1", GUARD_MOUNTED);
	ck_assert(strstr(verdict("sdb", false).sentence, "sdb1 is mounted on '/media/my card'"));
	ck_assert_int_eq(usage_read(&u, &src, "sdb", &err), 0);
	ck_assert_uint_eq(u.count, 2);
	ck_assert_uint_eq(u.partitions, 1);
	ck_assert_str_eq(u.items[1].by, "/media/b\\c");
	ck_assert(!u.system && !u.swap && !u.held);
	ck_assert(usage_path_lies_on_disk(&src, root, "vda"));
	ck_assert(!usage_path_lies_on_disk(&src, root, "sdb"));
}
END_TEST

/* btrfs shows a device number of its own making; its source names the disk. */
START_TEST(mounted_under_a_made_up_number)
{
	tables(LAPTOP_MOUNTS "30 27 0:45 /sub /data rw - btrfs /dev/sdb1 rw,subvol=/sub\n", "");
	expect("sdb", GUARD_MOUNTED);
	tables(LAPTOP_MOUNTS "30 27 0:45 /sub /data rw - btrfs /dev/sdz rw\n", "");
	expect("sdb", GUARD_FINE);
}
END_TEST

START_TEST(system_points)
{
	static const char *const points[] = { "/", "/usr", "/boot", "/boot/efi", "/efi" };
	char line[300];

	for (size_t i = 0; i < sizeof points / sizeof *points; i++) {
		snprintf(line, sizeof line, "30 27 8:17 / %s rw - ext4 /dev/sdb1 rw\n", points[i]);
		tables(line, "");
		expect("sdb", GUARD_SYSTEM);
		ck_assert(strstr(verdict("sdb", true).sentence, points[i]));
	}
	tables("30 27 8:17 / /usrlocal rw - ext4 /dev/sdb1 rw\n", "");
	expect("sdb", GUARD_MOUNTED);
}
END_TEST

START_TEST(where_this_program_lies)
{
	char line[600];

	snprintf(line, sizeof line, "%s30 27 8:17 / %s rw - ext4 /dev/sdb1 rw\n", LAPTOP_MOUNTS,
		root);
	tables(line, "");
	expect("sdb", GUARD_SYSTEM);
	ck_assert(usage_path_lies_on_disk(&src, root, "sdb"));
	/* A mount point that only begins alike is another place. */
	snprintf(line, sizeof line, "%s30 27 8:17 / %.*s rw - ext4 /dev/sdb1 rw\n", LAPTOP_MOUNTS,
		(int)strlen(root) - 1, root);
	tables(line, "");
	expect("sdb", GUARD_MOUNTED);
	ck_assert(!usage_path_lies_on_disk(&src, root, "sdb"));
}
END_TEST

START_TEST(swap_and_holders)
{
	static const char heading[] = "Filename\t\t\t\tType\t\tSize\t\tUsed\t\tPriority\n";
	char text[400];

	snprintf(text, sizeof text, "%s/dev/sdb1 partition 7760892 0 -2\n", heading);
	tables(LAPTOP_MOUNTS, text);
	expect("sdb", GUARD_SWAP);
	expect("sdb1", GUARD_SWAP);
	tables(LAPTOP_MOUNTS, heading);
	tree_put("devices/pci0/ata1/host0/target0:0:0/0:0:0:0/block/sda/holders/md0", "");
	/* A holder that sysfs does not explain: nothing is certain, so nothing is written. */
	expect("sda", GUARD_UNKNOWN);
	/* Without its mount, vda2 is still held by the volume on it. */
	tables("22 27 0:21 / /proc rw - proc proc rw\n", heading);
	expect("vda", GUARD_HELD);
	expect("vda1", GUARD_HELD);
	ck_assert(strstr(verdict("vda", true).sentence, "'dm-0' is built on it"));
	snprintf(text, sizeof text, "%s/dev/dm-0 partition 7760892 0 -2\n", heading);
	tables("22 27 0:21 / /proc rw - proc proc rw\n", text);
	expect("vda", GUARD_SWAP);
}
END_TEST

/* Unplugged while it is being opened: that is what is said, not that its users are unknown. */
START_TEST(a_device_that_has_just_gone)
{
	struct blockdev d = device("sdb");
	struct guard_verdict v;
	struct error err = { 0 };

	snprintf(d.name, sizeof d.name, "sdz");
	snprintf(d.disk, sizeof d.disk, "sdz");
	d.minor += 4000;
	ck_assert_int_eq(guard_check_device(&v, &src, &d, false, &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "is gone"));
	ck_assert_int_eq(err.kind, ERROR_IO);
}
END_TEST

START_TEST(loop_device_on_a_partition)
{
	tree_put("devices/virtual/block/loop0/loop/backing_file", "/dev/sdb1\n");
	expect("sdb", GUARD_HELD);
	ck_assert(strstr(verdict("sdb", false).sentence, "'loop0' is built on it"));
	tables(LAPTOP_MOUNTS "30 27 7:0 / /mnt rw - ext4 /dev/loop0 rw\n", "");
	expect("sdb", GUARD_MOUNTED);
	/* Two levels. */
	tree_put("devices/virtual/block/loop10/loop/backing_file", "/dev/loop0\n");
	tables(LAPTOP_MOUNTS "30 27 7:10 / /mnt rw - ext4 /dev/loop10 rw\n", "");
	expect("sdb", GUARD_MOUNTED);
	expect("sdb1", GUARD_MOUNTED);
}
END_TEST

/* A loop device on a device is that device under another name, whatever name the user consented to. */
START_TEST(loop_device_on_the_system_disk)
{
	static const char *const below[] = { "/dev/vda\n", "/dev/vda2\n", "/dev/sda\n",
		"/dev/sdb1\n" };

	for (size_t i = 0; i < sizeof below / sizeof *below; i++) {
		tree_put("devices/virtual/block/loop0/loop/backing_file", below[i]);
		expect("loop0", GUARD_ALIAS);
	}
	ck_assert(strstr(verdict("loop0", true).sentence, "'/dev/sdb1'"));
}
END_TEST

/* A volume on a spare partition of the system's disk is a part of that disk, too. */
START_TEST(volume_on_the_system_disk)
{
	tables("27 1 254:1 / / rw,relatime shared:1 - ext4 /dev/vda1 rw\n", "");
	expect("dm-0", GUARD_FIXED);
	ck_assert(verdict("dm-0", true).may_write);
	tree_put("devices/virtual/block/dm-0/slaves/none", "");
	expect("dm-0", GUARD_UNKNOWN);
	tree_link("devices/virtual/block/dm-0/slaves/none", "../../../../../class/block/vda2");
	expect("dm-0", GUARD_SYSTEM);
	ck_assert(strstr(verdict("dm-0", true).sentence, "'/dev/vda'"));
	/* With / elsewhere the same volume is a fixed disk like any other. */
	tables("27 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw\n", "");
	expect("dm-0", GUARD_FIXED);
}
END_TEST

/* Two loop devices on one file: what is mounted from one must not be written through the other. */
START_TEST(loop_devices_on_one_file)
{
	char file[600];

	tree_put("images/card.img", "x");
	snprintf(file, sizeof file, "%s/images/card.img\n", root);
	tree_put("devices/virtual/block/loop0/loop/backing_file", file);
	expect("loop0", GUARD_FINE);
	tree_put("devices/virtual/block/loop10/loop/backing_file", file);
	expect("loop0", GUARD_HELD);
	ck_assert(strstr(verdict("loop0", false).sentence, "'loop10' is built on the same file"));
	tables(LAPTOP_MOUNTS "30 27 7:10 / /mnt rw - ext4 /dev/loop10 rw\n", "");
	expect("loop0", GUARD_MOUNTED);
}
END_TEST

/* What cannot be read might be what forbids writing. */
START_TEST(unreadable_tree)
{
	tree_put("devices/pci0/ata1/host0/target0:0:0/0:0:0:0/block/sda/x/partition/y", "");
	expect("sda", GUARD_UNKNOWN); /* a folder where an attribute should be: EISDIR */
	expect("sdb", GUARD_FINE);
	tree_put("devices/virtual/block/loop10/loop/backing_file/y", "");
	expect("sdb", GUARD_UNKNOWN);
}
END_TEST

START_TEST(twins)
{
	tree_put("devices/pci0/usb1/1-1/1-1.2/serial", "A0031\n");
	tree_put("devices/pci0/usb1/1-1/1-1.2/1-1.2:1.0/host3/target3:0:0/3:0:0:0/block/sdc/size",
		"15523840\n");
	expect("sdb", GUARD_AMBIGUOUS);
	expect("sdb1", GUARD_AMBIGUOUS);
	ck_assert(strstr(verdict("sdb", false).sentence, "'/dev/sdc'"));
	/* One block more, and they differ. */
	tree_put("devices/pci0/usb1/1-1/1-1.2/1-1.2:1.0/host3/target3:0:0/3:0:0:0/block/sdc/size",
		"15523841\n");
	expect("sdb", GUARD_FINE);
}
END_TEST

START_TEST(unreadable_tables)
{
	src.mountinfo = "/nowhere/mountinfo";
	expect("sdb", GUARD_UNKNOWN);
	src.mountinfo = mountinfo;
	src.swaps = "/nowhere/swaps"; /* a kernel without swap has none */
	expect("sdb", GUARD_FINE);
	src.swaps = root; /* a folder: cannot be read */
	expect("sdb", GUARD_UNKNOWN);
}
END_TEST

/* More mounts than there is room to list: the one that matters is still seen. */
START_TEST(many_mounts)
{
	static char text[8192];
	size_t n = 0;
	struct usage u;
	struct error err;

	for (int i = 0; i < 40; i++)
		n += (size_t)snprintf(text + n, sizeof text - n,
			"%d 27 8:17 / /mnt/%d rw - ext4 /dev/sdb1 rw\n", 30 + i, i);
	snprintf(text + n, sizeof text - n, "99 27 8:17 / /boot rw - ext4 /dev/sdb1 rw\n");
	tables(text, "");
	ck_assert_int_eq(usage_read(&u, &src, "sdb", &err), 0);
	ck_assert_uint_eq(u.count + u.more, 41);
	ck_assert(u.system);
	ck_assert(strstr(verdict("sdb", true).sentence, "'/boot'"));
}
END_TEST

START_TEST(hostile_tables)
{
	tables("\n-\n1 2\n1 2 x:y / / rw - a b c\n1 2 8:17\n1 2 8:17 / / rw\n"
	       "1 2 8:17 / /m\\0 rw - \n99999999999 2 99999999999:1 / /x rw - a b\n",
		"\n \n\\\n/dev/\n/dev/sdb1x partition\n");
	/* "1 2 8:17 / /m\0 rw - " has the number of sdb1 and a mount point: counted. */
	expect("sdb", GUARD_MOUNTED);
	tables("\n-\n1 2\n1 2 x:y / / rw - a b c\n1 2 8:17\n1 2 8:17 / / rw\n", "");
	expect("sdb", GUARD_FINE);
}
END_TEST

START_TEST(image_files)
{
	char path[300];
	struct usage u;
	struct guard_verdict v;
	struct stat st;
	char text[700];

	tree_put("images/card.img", "x");
	snprintf(path, sizeof path, "%s/images/card.img", root);
	ck_assert_int_eq(stat(path, &st), 0);
	ck_assert_int_eq(usage_read_file(&u, &src, &st), 0);
	ck_assert(!u.system && !u.mounted && !u.swap && !u.held);
	guard_judge_image(&v, path, "/media/work/card.img", &u);
	ck_assert(v.may_write);
	ck_assert_str_eq(v.token, "card.img-a0113d31");
	/* Attached to a loop device, then mounted from there, then swap. */
	snprintf(text, sizeof text, "%s\n", path);
	tree_put("devices/virtual/block/loop0/loop/backing_file", text);
	ck_assert_int_eq(usage_read_file(&u, &src, &st), 0);
	guard_judge_image(&v, path, "/media/work/card.img", &u);
	ck_assert_int_eq(v.reason, GUARD_HELD);
	snprintf(text, sizeof text, LAPTOP_MOUNTS "30 27 7:0 / %s/images rw - ext4 /dev/loop0 rw\n",
		root);
	tables(text, "");
	ck_assert_int_eq(usage_read_file(&u, &src, &st), 0);
	guard_judge_image(&v, path, "/media/work/card.img", &u);
	ck_assert_int_eq(v.reason, GUARD_MOUNTED);
	ck_assert(usage_path_lies_in_file(&src, path, &st));
	tree_put("devices/virtual/block/loop0/loop/backing_file", "/nowhere\n");
	snprintf(text, sizeof text, "Filename\n%s file 100 0 -2\n", path);
	tables(LAPTOP_MOUNTS, text);
	ck_assert_int_eq(usage_read_file(&u, &src, &st), 0);
	guard_judge_image(&v, path, "/media/work/card.img", &u);
	ck_assert_int_eq(v.reason, GUARD_SWAP);
	guard_judge_image(&v, path, path, NULL);
	ck_assert_int_eq(v.reason, GUARD_UNKNOWN);
}
END_TEST

Suite *guard_suite(void)
{
	Suite *s = suite_create("guard");
	TCase *t = tcase_create("recorded tree");

	tcase_add_checked_fixture(t, setup, tree_remove);
	tcase_add_test(t, idle_laptop);
	tcase_add_test(t, tokens);
	tcase_add_test(t, tokens_of_images);
	tcase_add_test(t, tokens_of_moved_images);
	tcase_add_test(t, mounted_partition);
	tcase_add_test(t, mounted_under_a_made_up_number);
	tcase_add_test(t, system_points);
	tcase_add_test(t, where_this_program_lies);
	tcase_add_test(t, swap_and_holders);
	tcase_add_test(t, loop_device_on_a_partition);
	tcase_add_test(t, loop_device_on_the_system_disk);
	tcase_add_test(t, volume_on_the_system_disk);
	tcase_add_test(t, loop_devices_on_one_file);
	tcase_add_test(t, unreadable_tree);
	tcase_add_test(t, twins);
	tcase_add_test(t, unreadable_tables);
	tcase_add_test(t, many_mounts);
	tcase_add_test(t, a_device_that_has_just_gone);
	tcase_add_test(t, hostile_tables);
	tcase_add_test(t, image_files);
	suite_add_tcase(s, t);
	return s;
}
