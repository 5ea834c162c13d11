/* analysis/usb, analysis/card_bus: ceilings. */
#include <check.h>
#include <math.h>
#include <string.h>

#include "analysis/card_bus.h"
#include "analysis/usb.h"
#include "base/error.h"

static void same(double got, double wanted, double relative)
{
	ck_assert_double_eq_tol(got, wanted, relative * fabs(wanted));
}

/* USB 2.0 tables 5-9 and 5-10: packets a frame and B/s by payload. */
START_TEST(bulk_tables)
{
	static const unsigned full[][3] = { { 1, 107, 107000 }, { 2, 100, 200000 },
		{ 4, 88, 352000 }, { 8, 71, 568000 }, { 16, 51, 816000 }, { 32, 33, 1056000 },
		{ 64, 19, 1216000 } };
	static const unsigned high[][3] = { { 1, 133, 1064000 }, { 2, 131, 2096000 },
		{ 4, 127, 4064000 }, { 8, 119, 7616000 }, { 16, 105, 13440000 },
		{ 32, 86, 22016000 }, { 64, 63, 32256000 }, { 128, 40, 40960000 },
		{ 256, 24, 49152000 }, { 512, 13, 53248000 } };
	const struct usb_link *f = usb_link_at(12000000), *h = usb_link_at(480000000);

	for (int i = 0; i < 7; i++) {
		ck_assert_uint_eq(usb_packets_in_frame(f, full[i][0]), full[i][1]);
		ck_assert_uint_eq(full[i][1] * full[i][0] * 1000, full[i][2]);
	}
	for (int i = 0; i < 10; i++) {
		ck_assert_uint_eq(usb_packets_in_frame(h, high[i][0]), high[i][1]);
		ck_assert_uint_eq(high[i][1] * high[i][0] * 8000, high[i][2]);
	}
	ck_assert_double_eq(f->ceiling, 1216000);
	ck_assert_double_eq(h->ceiling, 53248000);
	same(usb_link_at(5000000000)->ceiling, 477611940, 1e-8);
	ck_assert_ptr_null(usb_link_at(1500000)); /* low speed has no bulk transfers */
	ck_assert_ptr_null(usb_link_at(0));
	ck_assert_uint_eq(usb_packets_in_frame(usb_link_at(5000000000), 64), 0);
}
END_TEST

/* Bulk-only transport: packets back to back, and one phase a frame; computed from the tables. */
START_TEST(command_bounds)
{
	static const struct {
		uint64_t link, n;
		double packed, phased; /* B/s */
	} table[] = {
		{ 12000000, 512, 972800, 170667 },
		{ 12000000, 4096, 1179151.5, 682667 },
		{ 12000000, 65536, 1213629.6, 1170286 },
		{ 12000000, 122880, 1214734.7, 1181538 },
		{ 480000000, 512, 17749333, 1365333 },
		{ 480000000, 4096, 42598400, 10922667 },
		{ 480000000, 65536, 52428800, 43690667 },
		{ 480000000, 122880, 52807934, 46811429 },
	};

	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		const struct usb_link *l = usb_link_at(table[i].link);
		double n = (double)table[i].n;

		/* The table is rounded to whole B/s. */
		ck_assert_double_eq_tol(
			n / usb_command_packed_s(l, table[i].n), table[i].packed, 0.51);
		ck_assert_double_eq_tol(
			n / usb_command_phased_s(l, table[i].n), table[i].phased, 0.51);
	}
	same(usb_command_phased_s(usb_link_at(12000000), 4096), 6e-3, 1e-14);
}
END_TEST

/* SD Physical Layer Simplified Specification: 512 data bytes in 515 or 516 on SPI, 1042 clocks on four lines. */
START_TEST(card_buses)
{
	struct card_bus b;

	ck_assert_int_eq(card_bus_parse(&b, "spi:20MHz", NULL), 0);
	same(b.read, 2485437, 1e-6);
	same(b.write, 2480620, 1e-6);
	ck_assert_int_eq(card_bus_parse(&b, "spi:50MHz", NULL), 0);
	same(b.read, 6213592, 1e-6);
	ck_assert_int_eq(card_bus_parse(&b, "sd4:25MHz", NULL), 0);
	same(b.write, 12284069, 1e-7);
	ck_assert_int_eq(card_bus_parse(&b, "sd1:25MHz", NULL), 0);
	same(b.read, 3.125e6 * 0.995624696, 1e-8);
	ck_assert_int_eq(card_bus_parse(&b, "spi:400kHz", NULL), 0);
	same(b.read, 50e3 * 512 / 515, 1e-12);
	ck_assert_int_eq(card_bus_parse(&b, "sd4ddr:50MHz", NULL), 0);
	ck_assert_double_gt(b.read, 45e6);
	ck_assert_double_lt(b.read, 50e6);
}
END_TEST

START_TEST(card_bus_nonsense)
{
	static const char *const bad[] = { "", "spi", "spi:", "spi:20", "spi:MHz", "spi:-1MHz",
		"spi:0MHz", "usb:20MHz", "sd4:25mhz", "sd4:2.5.5MHz", ":20MHz",
		"spi:99999999999999999999999999MHz" };

	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct error err = { 0 };
		struct card_bus b;

		ck_assert_int_eq(card_bus_parse(&b, bad[i], &err), -1);
		ck_assert_int_eq(err.kind, ERROR_USAGE);
		ck_assert_ptr_nonnull(strstr(err.text, "spi:20MHz"));
	}
}
END_TEST

Suite *links_suite(void)
{
	Suite *s = suite_create("links");
	TCase *c = tcase_create("links");

	tcase_add_test(c, bulk_tables);
	tcase_add_test(c, command_bounds);
	tcase_add_test(c, card_buses);
	tcase_add_test(c, card_bus_nonsense);
	suite_add_tcase(s, c);
	return s;
}
