/* Where a disk is on its bus, by sysfs (tests/data/usb-places.sysfs). */
#include "platform/usb_place.h"

#include <check.h>

#include "support/tree.h"

static struct usb_place place(unsigned minor)
{
	struct usb_place p;

	ck_assert_int_eq(usb_place_find(&p, tree_unpack("usb-places.sysfs"), 8, minor), 0);
	return p;
}

static void expect_unit(unsigned minor, unsigned lun)
{
	struct usb_place p = place(minor);

	ck_assert_int_eq(p.way, USB_WAY_BULK_ONLY);
	ck_assert_uint_eq(p.filter.bus, 3);
	ck_assert_uint_eq(p.filter.device, 17); /* not its hub's */
	ck_assert_uint_eq(p.filter.in, 0x81); /* not the interrupt endpoints */
	ck_assert_uint_eq(p.filter.out, 0x0a);
	ck_assert_uint_eq(p.filter.lun, lun);
}

START_TEST(slots_of_a_reader)
{
	expect_unit(16, 0);
	expect_unit(32, 1);
	expect_unit(33, 1); /* a partition */
}
END_TEST

START_TEST(other_ways)
{
	struct usb_place p;

	ck_assert_int_eq(place(48).way, USB_WAY_UAS);
	ck_assert_int_eq(place(0).way, USB_WAY_NONE);
	ck_assert_int_lt(usb_place_find(&p, tree_unpack("usb-places.sysfs"), 9, 9), 0);
}
END_TEST

Suite *usb_place_suite(void)
{
	Suite *s = suite_create("usb_place");
	TCase *t = tcase_create("places");

	tcase_add_checked_fixture(t, NULL, tree_remove);
	tcase_add_test(t, slots_of_a_reader);
	tcase_add_test(t, other_ways);
	suite_add_tcase(s, t);
	return s;
}
