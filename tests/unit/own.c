/* integrity/own and base/imprint: what a run wrote is known by its content, and nothing else is. */
#include "integrity/own.h"

#include <check.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/imprint.h"
#include "base/random.h"
#include "integrity/stamp.h"
#include "measure/payload.h"

enum { SEED = 1234567, BLOCK = 4096, SECTORS = BLOCK / 512 };

static struct own own, other;
static _Alignas(8) uint8_t block[BLOCK];

static void setup(void)
{
	own_init(&own, SEED);
	own_init(&other, SEED + 1);
}

static void fill_stamps(uint32_t length, uint64_t offset, uint32_t generation)
{
	struct stamp s;

	stamp_init(&s, SEED, length);
	stamp_fill_range(&s, block, BLOCK, offset, generation);
}

static void fill_timed(uint64_t seed)
{
	payload_fill(block, BLOCK, 42);
	imprint_put(block, BLOCK, seed);
	payload_renew(block, BLOCK, 17);
}

static const uint32_t lengths[] = { 512, 1024, 2048, 4096 };

START_TEST(every_sector_of_a_stamp)
{
	for (uint64_t offset = 0; offset < UINT64_C(1) << 50; offset = offset * 3 + 4096) {
		fill_stamps(lengths[_i], offset, (uint32_t)offset + 1);
		for (int i = 0; i < SECTORS; i++) {
			ck_assert(own_fits(&own, block + i * 512));
			ck_assert(own_wrote(&own, block + i * 512));
			ck_assert(!own_fits(&other, block + i * 512));
			ck_assert(!own_wrote(&other, block + i * 512));
		}
	}
}
END_TEST

/* But for the CRC of a longer block, which is that of its sectors together, and is looked for wherever one may end. */
START_TEST(every_bit_of_a_stamp_counts)
{
	uint32_t length = lengths[_i];

	fill_stamps(length, 81920, 3);
	for (size_t i = 0; i < length; i++) {
		size_t sector = i / 512;
		bool crc = i % 512 >= 508 && (sector == 1 || sector == 3 || sector == 7);

		block[i] ^= (uint8_t)(1 << i % 8);
		ck_assert_msg(own_fits(&own, block + i / 512 * 512) == crc, "byte %zu", i);
		ck_assert(own_wrote(&own, block + i / 512 * 512));
		block[i] ^= (uint8_t)(1 << i % 8);
	}
}
END_TEST

START_TEST(timed_data)
{
	fill_timed(SEED);
	for (size_t i = 0; i < BLOCK; i++) {
		uint8_t *sector = block + i / 512 * 512;

		ck_assert(own_fits(&own, sector));
		ck_assert(!own_fits(&other, sector));
		ck_assert(!own_wrote(&other, sector));
		ck_assert(imprint_is_timed_data(sector));
		block[i] ^= (uint8_t)(1 << i % 8);
		ck_assert_msg(!own_fits(&own, sector), "byte %zu", i);
		ck_assert(own_wrote(&own, sector));
		block[i] ^= (uint8_t)(1 << i % 8);
	}
}
END_TEST

/* As versions wrote it that left no marks. */
START_TEST(unmarked_timed_data)
{
	payload_fill(block, BLOCK, 42);
	payload_renew(block, BLOCK, UINT64_C(5) << 48 | 1000000);
	for (size_t i = 0; i < BLOCK; i++) {
		uint8_t *sector = block + i / 512 * 512;

		ck_assert(imprint_fits_unmarked(sector));
		ck_assert(imprint_is_timed_data(sector));
		ck_assert(!own_fits(&own, sector));
		block[i] ^= (uint8_t)(1 << i % 8);
		ck_assert_msg(!imprint_fits_unmarked(sector), "byte %zu", i);
		block[i] ^= (uint8_t)(1 << i % 8);
	}
}
END_TEST

START_TEST(other_data_is_not_taken_for_it)
{
	struct own_trace trace;

	for (uint64_t round = 0; round < 2000; round++) {
		for (size_t i = 0; i < BLOCK; i++)
			block[i] =
				(uint8_t)(round < 256 ? round
						      : random_at(round, i / 8 + 1) >> i % 8 * 8);
		/* Numbers in a row look like timed data, and are not this run's. */
		for (int i = 0; i < SECTORS; i++) {
			ck_assert(!own_fits(&own, block + i * 512));
			ck_assert(!own_wrote(&own, block + i * 512));
			ck_assert(own_find(&trace, block + i * 512, 512) == 0 || round >= 256);
		}
	}
}
END_TEST

START_TEST(found_whatever_the_run)
{
	struct own_trace trace;

	fill_stamps(2048, 0, 1);
	ck_assert_uint_eq(own_find(&trace, block, BLOCK), 2048);
	ck_assert(trace.stamped);
	ck_assert_uint_eq(trace.seed, SEED);
	ck_assert_uint_eq(own_find(&trace, block, 1024), 0); /* not all of it */
	ck_assert_uint_eq(own_find(&trace, block + 512, 1536), 0);
	block[2047] ^= 1;
	ck_assert_uint_eq(own_find(&trace, block, BLOCK), 0);
	fill_timed(99);
	ck_assert_uint_eq(own_find(&trace, block, BLOCK), 512);
	ck_assert(!trace.stamped);
	ck_assert_uint_eq(own_find(&trace, block, 511), 0);
}
END_TEST

Suite *own_suite(void)
{
	Suite *s = suite_create("own");
	TCase *t = tcase_create("own");

	tcase_add_checked_fixture(t, setup, NULL);
	tcase_add_loop_test(t, every_sector_of_a_stamp, 0, 4);
	tcase_add_loop_test(t, every_bit_of_a_stamp_counts, 0, 4);
	tcase_add_test(t, timed_data);
	tcase_add_test(t, unmarked_timed_data);
	tcase_add_test(t, other_data_is_not_taken_for_it);
	tcase_add_test(t, found_whatever_the_run);
	suite_add_tcase(s, t);
	return s;
}
