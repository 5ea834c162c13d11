/* platform/blockdev against a tree recorded from a running kernel, not one made up: tests/data/rig.sysfs. */
#include "platform/blockdev.h"

#include <check.h>
#include <stdlib.h>

#include "base/error.h"
#include "support/tree.h"

static struct blockdev device(const char *name)
{
	const char *sysfs = tree_unpack("rig.sysfs");
	struct error err;
	struct blockdev d;

	ck_assert_msg(blockdev_read(&d, sysfs, name, &err) == 0, "%s", err.text);
	return d;
}

START_TEST(gadget_on_a_full_speed_port_of_a_high_speed_hub)
{
	struct blockdev d = device("sdb");

	/* The gadget's own speed, not the 480 of the root hub above it. */
	ck_assert_uint_eq(d.link_bits_per_second, 12000000);
	ck_assert_str_eq(d.transport, "usb");
	ck_assert_str_eq(d.vendor, "Tidepool");
	ck_assert_str_eq(d.model, "Logger");
	/* Its own serial, not that of the root hub. */
	ck_assert_str_eq(d.serial, "GADGET-0002");
	ck_assert_uint_eq(d.size_bytes, 8 << 20);
	ck_assert_uint_eq(d.request_limit_bytes, 120 * 1024);
	ck_assert(d.removable && !d.read_only && !d.partition);
	ck_assert(d.write_cache_known && d.write_back && !d.fua);
	ck_assert_uint_gt(d.disk_sequence, 0);
}
END_TEST

START_TEST(stick_on_a_full_speed_bus)
{
	struct blockdev d = device("sda");

	ck_assert_uint_eq(d.link_bits_per_second, 12000000);
	ck_assert_str_eq(d.serial, "STICK-0001");
	ck_assert_uint_eq(d.size_bytes, 32 << 20);
	ck_assert(d.removable);
}
END_TEST

START_TEST(virtio_disk_next_to_them)
{
	struct blockdev d = device("vdb");

	ck_assert_str_eq(d.transport, "virtio");
	ck_assert_str_eq(d.serial, "rig-disk");
	ck_assert_uint_eq(d.link_bits_per_second, 0);
	ck_assert(!d.removable);
}
END_TEST

START_TEST(all_four_and_no_hub)
{
	static const char *const names[] = { "sda", "sdb", "vda", "vdb" };
	const char *sysfs = tree_unpack("rig.sysfs");
	struct blockdev *list;
	struct error err;
	size_t count;

	ck_assert_int_eq(blockdev_list(&list, &count, sysfs, &err), 0);
	ck_assert_uint_eq(count, 4);
	for (size_t i = 0; i < count; i++)
		ck_assert_str_eq(list[i].name, names[i]);
	free(list);
}
END_TEST

Suite *blockdev_recorded_suite(void)
{
	Suite *s = suite_create("blockdev_recorded");
	TCase *t = tcase_create("rig");

	tcase_add_checked_fixture(t, NULL, tree_remove);
	tcase_add_test(t, gadget_on_a_full_speed_port_of_a_high_speed_hub);
	tcase_add_test(t, stick_on_a_full_speed_bus);
	tcase_add_test(t, virtio_disk_next_to_them);
	tcase_add_test(t, all_four_and_no_hub);
	suite_add_tcase(s, t);
	return s;
}
