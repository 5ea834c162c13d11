/* base: sizes, numbers, randomness, checksums. */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "base/checksum.h"
#include "base/clean.h"
#include "base/error.h"
#include "base/number.h"
#include "base/random.h"
#include "base/size.h"
#include "base/text.h"

START_TEST(crc32_known_answers)
{
	static const unsigned char zeros[512];

	/* Catalogue check value of CRC-32/ISO-HDLC. */
	ck_assert_uint_eq(checksum_crc32(0, "123456789", 9), 0xCBF43926);
	ck_assert_uint_eq(checksum_crc32(0, zeros, 512), 0xB2AA7578);
	/* Incremental: RFC 1952 section 8. */
	ck_assert_uint_eq(checksum_crc32(0xCBF53A1C, "6789", 4), 0xCBF43926);
}
END_TEST

START_TEST(splitmix64_known_answers)
{
	struct random r = { 1234567 };

	/* The published sequence for seed 1234567 (Rosetta Code task "Splitmix64"). */
	ck_assert_uint_eq(random_next(&r), UINT64_C(6457827717110365317));
	ck_assert_uint_eq(random_next(&r), UINT64_C(3203168211198807973));
	ck_assert_uint_eq(random_at(1234567, 5), UINT64_C(16408922859458223821));
	ck_assert_uint_eq(random_at(0, UINT64_C(1) << 40), UINT64_C(0xE90201BAECC3EB77));
}
END_TEST

START_TEST(permutation_visits_all_once)
{
	for (uint64_t count = 1; count < 600; count += 7) {
		struct permutation p;
		unsigned char *seen = calloc((size_t)count, 1);

		permutation_init(&p, count, count * 31);
		for (uint64_t i = 0; i < count; i++) {
			uint64_t at = permutation_at(&p, i);

			ck_assert_uint_lt(at, count);
			ck_assert_uint_eq(seen[at], 0);
			seen[at] = 1;
		}
		free(seen);
	}
}
END_TEST

START_TEST(sizes_both_ways)
{
	char buf[SIZE_TEXT_MAX];
	uint64_t n;

	/* IEC 80000-13. */
	ck_assert_int_eq(size_parse("4Ki", &n), 0);
	ck_assert_uint_eq(n, 4096);
	ck_assert_int_eq(size_parse("50MB", &n), 0);
	ck_assert_uint_eq(n, 50000000);
	ck_assert_int_lt(size_parse("", &n), 0);
	ck_assert_int_lt(size_parse("-1", &n), 0);
	ck_assert_int_lt(size_parse("4K", &n), 0);
	ck_assert_int_lt(size_parse("18446744073709551616", &n), 0);
	ck_assert_str_eq(size_format(buf, 122880), "120 KiB");
	ck_assert_str_eq(rate_format(buf, 1216000), "1.22 MB/s");
}
END_TEST

/* What Unicode 14 has in categories Cc, Cf, Zl and Zp or as Default_Ignorable_Code_Point, asked of perl 5.36 and its
 * tables (\p{Cf} and so on). */
static const struct {
	uint32_t first, last;
} invisible[] = { { 0x1, 0x1F }, { 0x7F, 0x9F }, { 0xAD, 0xAD }, { 0x34F, 0x34F }, { 0x600, 0x605 },
	{ 0x61C, 0x61C }, { 0x6DD, 0x6DD }, { 0x70F, 0x70F }, { 0x890, 0x891 }, { 0x8E2, 0x8E2 },
	{ 0x115F, 0x1160 }, { 0x17B4, 0x17B5 }, { 0x180B, 0x180F }, { 0x200B, 0x200F },
	{ 0x2028, 0x202E }, { 0x2060, 0x206F }, { 0x3164, 0x3164 }, { 0xFE00, 0xFE0F },
	{ 0xFEFF, 0xFEFF }, { 0xFFA0, 0xFFA0 }, { 0xFFF0, 0xFFFB }, { 0x110BD, 0x110BD },
	{ 0x110CD, 0x110CD }, { 0x13430, 0x13438 }, { 0x1BCA0, 0x1BCA3 }, { 0x1D173, 0x1D17A },
	{ 0xE0000, 0xE0FFF } };

START_TEST(nothing_invisible_is_shown)
{
	for (size_t i = 0; i < sizeof invisible / sizeof *invisible; i++)
		for (uint32_t c = invisible[i].first; c <= invisible[i].last; c++)
			ck_assert_msg(!clean_is_printable(c), "U+%04X is shown", c);
	/* Letters, accents, signs and pictures of all planes are. */
	for (const char *s = "A~\u00e4\u0301\u03a9\u05d0\u0627\u20ac\u4e2d\uac00\U0001F4BE"; *s;) {
		uint32_t c = 0;
		size_t n = clean_utf8_next(s, &c);

		ck_assert_uint_gt(n, 0);
		ck_assert_msg(clean_is_printable(c), "U+%04X is not shown", c);
		s += n;
	}
}
END_TEST

/* In place and into a text: one '?' for each hidden character and each byte that is none. */
START_TEST(cleaning_both_ways)
{
	char bytes[] = "a\u202eb\xff\033[1m\xc2\u00e4\U000e0041.";
	struct error err = { 0 };
	struct text t;

	text_init(&t);
	clean_add(&t, bytes, false);
	ck_assert_str_eq(t.bytes, "a?b??[1m?\u00e4?.");
	text_reset(&t);
	clean_add(&t, bytes, true);
	ck_assert_str_eq(t.bytes, "a?b??[1m???.");
	text_release(&t);
	(void)error_set(&err, ERROR_USAGE, "'%s'", bytes);
	ck_assert_str_eq(err.text, "'a?b??[1m?\u00e4?.'");
	clean_in_place(bytes);
	ck_assert_str_eq(bytes, "a?b??[1m?\u00e4?.");
}
END_TEST

/* A rate needs its unit: --link 10 may have been meant in MB/s. */
START_TEST(rates_have_units)
{
	static const char *const none[] = { "10", "1.0", "1216000", "10/s", "/s", "B/s", "", "1e6",
		"1.7 MB/s", "-1MB/s" };
	double rate;

	for (size_t i = 0; i < sizeof none / sizeof *none; i++)
		ck_assert_msg(rate_parse(none[i], &rate) < 0, "%s", none[i]);
	ck_assert_int_eq(rate_parse("1.7MB/s", &rate), 0);
	ck_assert_double_eq_tol(rate, 1.7e6, 1e-6);
	ck_assert_int_eq(rate_parse("480kB", &rate), 0);
	ck_assert_double_eq_tol(rate, 480e3, 1e-6);
	ck_assert_int_eq(rate_parse("1216000B/s", &rate), 0);
	ck_assert_double_eq_tol(rate, 1216000, 1e-6);
}
END_TEST

/* Figures of a damaged record: converting them as they are is undefined beyond the type (C17 6.3.1.4). */
START_TEST(whole_numbers_of_anything)
{
	ck_assert_uint_eq(number_whole(2.5), 3);
	ck_assert_uint_eq(number_whole(0), 0);
	ck_assert_uint_eq(number_whole(-7), 0);
	ck_assert_uint_eq(number_whole(NAN), 0);
	ck_assert_uint_eq(number_whole(INFINITY), UINT64_C(1) << 63);
	ck_assert_uint_eq(number_whole(1e300), UINT64_C(1) << 63);
}
END_TEST

Suite *base_suite(void)
{
	Suite *s = suite_create("base");
	TCase *c = tcase_create("base");

	tcase_add_test(c, whole_numbers_of_anything);
	tcase_add_test(c, crc32_known_answers);
	tcase_add_test(c, splitmix64_known_answers);
	tcase_add_test(c, permutation_visits_all_once);
	tcase_add_test(c, sizes_both_ways);
	tcase_add_test(c, nothing_invisible_is_shown);
	tcase_add_test(c, cleaning_both_ways);
	tcase_add_test(c, rates_have_units);
	suite_add_tcase(s, c);
	return s;
}
