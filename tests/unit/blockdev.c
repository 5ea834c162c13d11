/* platform/blockdev: a recorded tree, read by name, by number and as a list. */
#include "platform/blockdev.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/error.h"
#include "platform/sysfs.h"
#include "support/tree.h"

static const char *sysfs;

static void setup(void)
{
	sysfs = tree_unpack("laptop.sysfs");
}

static struct blockdev device(const char *name)
{
	struct error err;
	struct blockdev d;

	ck_assert_msg(blockdev_read(&d, sysfs, name, &err) == 0, "%s", err.text);
	return d;
}

START_TEST(full_speed_gadget)
{
	struct blockdev d = device("sdb");

	ck_assert_str_eq(d.node, "/dev/sdb");
	ck_assert_uint_eq(d.major, 8);
	ck_assert_uint_eq(d.minor, 16);
	/* ABI sysfs-block: size counts sectors of 512 bytes whatever the logical block. */
	ck_assert_uint_eq(d.size_bytes, UINT64_C(15523840) * 512);
	ck_assert_str_eq(d.transport, "usb");
	/* `speed` 12 is 12 Mb/s; the hub above it runs at 480. */
	ck_assert_uint_eq(d.link_bits_per_second, 12000000);
	ck_assert_str_eq(d.vendor, "FIELDLOG");
	/* The escape sequence and the bell of a hostile device are gone. */
	ck_assert_str_eq(d.model, "Card bay [31m one");
	/* The USB serial, neither the hub's nor the one in the SCSI page. */
	ck_assert_str_eq(d.serial, "A0031");
	/* INQUIRY's four characters, and the device's own bcdDevice, not the hub's. */
	ck_assert_str_eq(d.revision, "1.4");
	ck_assert_str_eq(d.usb_release, "0104");
	ck_assert(d.removable && !d.read_only && !d.partition);
	ck_assert_uint_eq(d.request_limit_bytes, 120 * 1024);
	ck_assert(d.write_cache_known && !d.write_back && !d.fua);
	ck_assert_uint_eq(d.disk_sequence, 7);
}
END_TEST

START_TEST(high_speed_stick_without_inquiry)
{
	struct blockdev d = device("sdc");

	ck_assert_uint_eq(d.link_bits_per_second, 480000000);
	ck_assert_str_eq(d.revision, "");
	ck_assert_str_eq(d.usb_release, "");
	ck_assert_str_eq(d.vendor, "Fieldlog");
	ck_assert_str_eq(d.model, "Stick");
	ck_assert_str_eq(d.serial, "B 77"); /* unit serial number page, SPC-4 */
	ck_assert(d.removable && d.read_only && !d.write_cache_known);
}
END_TEST

static void put_bytes(const char *path, const void *bytes, size_t n)
{
	char whole[SYSFS_PATH_MAX];
	FILE *f;

	ck_assert_int_eq(sysfs_path(whole, "%s/%s", sysfs, path), 0);
	f = fopen(whole, "w");
	ck_assert_ptr_nonnull(f);
	ck_assert_uint_eq(fwrite(bytes, 1, n, f), n);
	ck_assert_int_eq(fclose(f), 0);
}

/* Standard INQUIRY data (SPC-4 6.4.2) in place of the serial number: RMB is the code of that page. All gadgets of a kind would
 * bear one serial number, and one token. */
START_TEST(standard_data_are_no_serial_number)
{
#define UNIT "devices/pci0/usb1/1-1/1-1.2/1-1.2:1.0/host3/target3:0:0/3:0:0:0/"
	unsigned char data[1542] = "\0\x80\6\2\x1F\0\0\0FIELDLOGStick           1.00";

	/* As long as bytes 2 and 3 say, with or without what the kernel has of INQUIRY. */
	put_bytes(UNIT "vpd_pg80", data, sizeof data);
	ck_assert_str_eq(device("sdc").serial, "");
	put_bytes(UNIT "inquiry", data, 36);
	ck_assert_str_eq(device("sdc").serial, "");
	/* A version of 0, and more behind it: one byte, which is a character. */
	data[2] = 0;
	data[3] = 1;
	data[4] = '[';
	put_bytes(UNIT "inquiry", data, 96);
	put_bytes(UNIT "vpd_pg80", data, 5);
	ck_assert_str_eq(device("sdc").serial, "");
	/* And a serial number beside it is one. */
	put_bytes(UNIT "vpd_pg80", "\0\x80\0\2B7", 6);
	ck_assert_str_eq(device("sdc").serial, "B7");
#undef UNIT
}
END_TEST

START_TEST(unknown_speed_is_not_the_hubs)
{
	struct blockdev d = device("sdd");

	ck_assert_str_eq(d.transport, "usb");
	ck_assert_uint_eq(d.link_bits_per_second, 0);
	ck_assert_str_eq(d.serial, "");
	ck_assert_str_eq(d.vendor, "");
}
END_TEST

/* Every string of `speed` in drivers/usb/core/sysfs.c. */
START_TEST(every_speed)
{
	static const struct {
		const char *text;
		uint64_t bits;
	} speeds[] = { { "1.5\n", 1500000 }, { "12\n", 12000000 }, { "480\n", 480000000 },
		{ "5000\n", 5000000000 }, { "10000\n", 10000000000 }, { "20000\n", 20000000000 },
		{ "unknown\n", 0 }, { "", 0 }, { "-12\n", 0 }, { "1e99\n", 0 } };

	for (size_t i = 0; i < sizeof speeds / sizeof *speeds; i++) {
		tree_put("devices/pci0/usb1/1-1/1-1.1/speed", speeds[i].text);
		ck_assert_uint_eq(device("sdb").link_bits_per_second, speeds[i].bits);
	}
}
END_TEST

START_TEST(partition_names_its_disk)
{
	struct blockdev d = device("sdb1");

	ck_assert(d.partition && d.removable);
	ck_assert_str_eq(d.disk, "sdb");
	ck_assert_str_eq(d.serial, "A0031");
	ck_assert_uint_eq(d.size_bytes, UINT64_C(15521792) * 512);
	ck_assert_uint_eq(d.logical_block_bytes, 512);
	ck_assert_uint_eq(d.disk_sequence, 7);
}
END_TEST

START_TEST(other_transports)
{
	struct blockdev d = device("vda");

	ck_assert_str_eq(d.transport, "virtio");
	ck_assert_str_eq(d.serial, "ROOT-0001");
	ck_assert_str_eq(d.vendor, ""); /* 0x1af4 there is a number, not a name */
	ck_assert(!d.removable && d.write_back && d.fua);
	d = device("mmcblk0");
	ck_assert_str_eq(d.transport, "mmc");
	ck_assert_str_eq(d.model, "CARD8");
	ck_assert_str_eq(d.serial, "0x00c0ffee");
	ck_assert(d.removable && !d.marked_removable); /* by its transport */
	d = device("mmcblk1");
	ck_assert_str_eq(d.transport, "mmc");
	ck_assert(!d.removable); /* a soldered chip */
	d = device("sda");
	ck_assert_str_eq(d.transport, "ata");
	ck_assert_str_eq(d.serial, "D42");
	ck_assert_uint_eq(
		d.size_bytes, UINT64_C(2000398934016)); /* the usual 2 TB capacity, IDEMA LBA1-03 */
	d = device("loop0");
	ck_assert_str_eq(d.transport, "loop");
	ck_assert_str_eq(d.backing_file, "/srv/images/card one.img");
	d = device("dm-0");
	ck_assert_str_eq(d.transport, "dm");
	ck_assert_str_eq(d.model, "home");
}
END_TEST

START_TEST(listed_in_natural_order)
{
	static const char *const names[] = { "dm-0", "loop0", "loop10", "mmcblk0", "mmcblk1", "sda",
		"sdb", "sdc", "sdd", "vda" };
	struct blockdev *list;
	struct error err;
	size_t count;

	ck_assert_int_eq(blockdev_list(&list, &count, sysfs, &err), 0);
	ck_assert_uint_eq(count, sizeof names / sizeof *names);
	for (size_t i = 0; i < count; i++)
		ck_assert_str_eq(list[i].name, names[i]);
	free(list);
	ck_assert_int_eq(blockdev_list(&list, &count, "/nowhere", &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
}
END_TEST

START_TEST(by_number_and_missing)
{
	struct blockdev d;
	struct error err;

	ck_assert_int_eq(blockdev_read_by_number(&d, sysfs, 8, 17, &err), 0);
	ck_assert_str_eq(d.name, "sdb1");
	ck_assert_int_eq(blockdev_read_by_number(&d, sysfs, 8, 99, &err), -1);
	ck_assert_int_eq(err.sys_errno, ENOENT);
	ck_assert_int_eq(blockdev_read(&d, sysfs, "../../etc", &err), -1);
	ck_assert_int_eq(blockdev_read(&d, sysfs, "", &err), -1);
}
END_TEST

/* Field order: Documentation/admin-guide/iostats.rst. */
START_TEST(counters)
{
	struct blockdev_stat s;
	int fd = blockdev_stat_open(sysfs, 254, 0);

	ck_assert_int_ge(fd, 0);
	for (int i = 0; i < 2; i++) {
		ck_assert_int_eq(blockdev_stat_read(fd, &s), 0);
		ck_assert_uint_eq(s.reads, 3024);
		ck_assert_uint_eq(s.reads_merged, 11);
		ck_assert_uint_eq(s.read_sectors, 202146);
		ck_assert_uint_eq(s.read_ms, 977);
		ck_assert_uint_eq(s.writes, 1202);
		ck_assert_uint_eq(s.written_sectors, 63080);
		ck_assert_uint_eq(s.in_flight, 2);
		ck_assert_uint_eq(s.busy_ms, 1208);
		ck_assert_uint_eq(s.discards, 17);
		ck_assert_uint_eq(s.flushes, 119);
		ck_assert_uint_eq(s.flush_ms, 133);
	}
	close(fd);
	/* An old kernel's eleven fields, then too few. */
	tree_put("devices/pci0/virtio1/block/vda/stat", " 1 2 3 4 5 6 7 8 9 10 11\n");
	fd = blockdev_stat_open(sysfs, 254, 0);
	ck_assert_int_eq(blockdev_stat_read(fd, &s), 0);
	ck_assert_uint_eq(s.weighted_ms, 11);
	ck_assert_uint_eq(s.flushes, 0);
	close(fd);
	tree_put("devices/pci0/virtio1/block/vda/stat", " 1 2 3 4 5 6 7 8 9 10\n");
	fd = blockdev_stat_open(sysfs, 254, 0);
	ck_assert_int_eq(blockdev_stat_read(fd, &s), -EBADMSG);
	close(fd);
	ck_assert_int_eq(blockdev_stat_open(sysfs, 8, 99), -ENOENT);
}
END_TEST

/* In hexadecimal, of the disk, for its partitions too (drivers/scsi/scsi_sysfs.c). */
START_TEST(errors_and_timeouts)
{
	static const char scsi[] =
		"devices/pci0/usb1/1-1/1-1.1/1-1.1:1.0/host2/target2:0:0/2:0:0:0/";
	static const char *const bad[] = { "", "nonsense\n" };
	char path[200];
	uint64_t sum;
	int fds[2];

	blockdev_errors_open(fds, sysfs, 254, 0);
	ck_assert_int_eq(fds[0] & fds[1], -1);
	ck_assert_int_eq(blockdev_errors_read(fds, &sum), -ENOTSUP);
	snprintf(path, sizeof path, "%sioerr_cnt", scsi);
	tree_put(path, "0x1f\n");
	snprintf(path, sizeof path, "%siotmo_cnt", scsi);
	tree_put(path, "0x2\n");
	snprintf(path, sizeof path, "%sblock/sdb/device", scsi);
	tree_link(path, "../..");
	for (unsigned minor = 16; minor <= 17; minor++) {
		blockdev_errors_open(fds, sysfs, 8, minor);
		ck_assert_int_ge(fds[0], 0);
		for (int i = 0; i < 2; i++) {
			ck_assert_int_eq(blockdev_errors_read(fds, &sum), 0);
			ck_assert_uint_eq(sum, 33);
		}
		close(fds[0]);
		close(fds[1]);
	}
	for (size_t i = 0; i < 2; i++) {
		snprintf(path, sizeof path, "%siotmo_cnt", scsi);
		tree_put(path, bad[i]);
		blockdev_errors_open(fds, sysfs, 8, 16);
		ck_assert_int_eq(blockdev_errors_read(fds, &sum), -EBADMSG);
		close(fds[0]);
		close(fds[1]);
	}
	ck_assert(blockdev_exists(sysfs, 8, 16));
	ck_assert(!blockdev_exists(sysfs, 8, 99));
}
END_TEST

START_TEST(hostile_text)
{
	char text[] = "  \x01gr\xc3\xbcn\x1b]0;x\x07 \x7f\n end \n";

	sysfs_clean_text(text);
	ck_assert_str_eq(text, "gr?n]0;x end");
}
END_TEST

Suite *blockdev_suite(void)
{
	Suite *s = suite_create("blockdev");
	TCase *t = tcase_create("recorded tree");

	tcase_add_checked_fixture(t, setup, tree_remove);
	tcase_add_test(t, full_speed_gadget);
	tcase_add_test(t, high_speed_stick_without_inquiry);
	tcase_add_test(t, standard_data_are_no_serial_number);
	tcase_add_test(t, unknown_speed_is_not_the_hubs);
	tcase_add_test(t, every_speed);
	tcase_add_test(t, partition_names_its_disk);
	tcase_add_test(t, other_transports);
	tcase_add_test(t, listed_in_natural_order);
	tcase_add_test(t, by_number_and_missing);
	tcase_add_test(t, counters);
	tcase_add_test(t, errors_and_timeouts);
	tcase_add_test(t, hostile_text);
	suite_add_tcase(s, t);
	return s;
}
