/* base: sizes, numbers, randomness, checksums. */
#include <check.h>
#include <stdlib.h>

#include "base/checksum.h"
#include "base/random.h"
#include "base/size.h"

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
		unsigned char *seen = calloc(count, 1);

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

Suite *base_suite(void)
{
	Suite *s = suite_create("base");
	TCase *c = tcase_create("base");

	tcase_add_test(c, crc32_known_answers);
	tcase_add_test(c, splitmix64_known_answers);
	tcase_add_test(c, permutation_visits_all_once);
	tcase_add_test(c, sizes_both_ways);
	suite_add_tcase(s, c);
	return s;
}
