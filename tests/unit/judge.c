/* The judge on single blocks: every class by construction, both block sizes, neighbours and none. */
#include "integrity/judge.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/random.h"

enum { GENERATION = 3 };

static const uint64_t seed = 20261125;
static struct judge judge;
static struct stamp stamp;
static _Alignas(
	64) uint8_t wide[3 * STAMP_BLOCK_MAX]; /* the block and its neighbours, as written */
static _Alignas(64) uint8_t block[STAMP_BLOCK_MAX];
static uint32_t n;
static uint64_t offset;

/* The right block at block number `number` of blocks of `bytes` each. */
static void begin(uint32_t bytes, uint64_t number)
{
	n = bytes;
	offset = number * n;
	judge_init(&judge, seed, n);
	stamp_init(&stamp, seed, n);
	if (number)
		stamp_fill(&stamp, wide, offset - n, GENERATION);
	stamp_fill(&stamp, wide + n, offset, GENERATION);
	stamp_fill(&stamp, wide + 2 * (size_t)n, offset + n, GENERATION);
	memcpy(block, wide + n, n);
}

static struct verdict judged(void)
{
	struct verdict v;

	ck_assert_int_eq(judge_block(&judge, block, offset, GENERATION, &v), v.class);
	return v;
}

static void mend_crc(void)
{
	uint32_t crc = checksum_crc32(0, block, n - 4);

	memcpy(block + n - 4, &crc, 4);
}

static void fill_noise(uint8_t *bytes, size_t length, uint64_t noise_seed)
{
	for (size_t i = 0; i < length; i++)
		bytes[i] = (uint8_t)random_at(noise_seed, i + 1);
}

static const uint32_t sizes[] = { 512, 1024, 4096 };

START_TEST(right_block_is_right)
{
	for (uint64_t number = 0; number < 1000; number++) {
		begin(sizes[_i], number * number);
		ck_assert_int_eq(judged().class, DAMAGE_NONE);
	}
}
END_TEST

/* One flipped bit in every byte, stamp, payload and CRC alike: every bit, or in larger blocks one of each byte. */
START_TEST(one_bit_anywhere)
{
	begin(sizes[_i], 5);
	for (uint32_t byte = 0; byte < n; byte++) {
		for (uint32_t bit = n > 512 ? byte % 8 : 0; bit<8; bit += n> 512 ? 8 : 1) {
			struct verdict v;
			bool was = block[byte] >> bit & 1;

			block[byte] ^= (uint8_t)(1U << bit);
			v = judged();
			block[byte] ^= (uint8_t)(1U << bit);
			ck_assert_int_eq(v.class, DAMAGE_BIT_ERROR);
			ck_assert_uint_eq(v.flipped_bits, 1);
			ck_assert_uint_eq(v.first_bit, byte * 8 + bit);
			ck_assert_uint_eq(v.last_bit, byte * 8 + bit);
			ck_assert_uint_eq(v.set_at[bit], !was);
			ck_assert_uint_eq(v.cleared_at[bit], was);
		}
	}
}
END_TEST

START_TEST(mended_crc_is_found_by_content)
{
	for (uint32_t byte = 0; byte < sizes[_i] - 4; byte += byte < 64 ? 1 : sizes[_i] / 512) {
		struct verdict v;

		begin(sizes[_i], 5);
		block[byte] ^= 0x40;
		mend_crc();
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_BIT_ERROR);
		ck_assert_uint_eq(v.first_bit, byte * 8 + 6);
	}
	begin(sizes[_i], 5);
	fill_noise(block + 32, n - 36, 1); /* header kept, CRC made to fit */
	mend_crc();
	ck_assert_int_eq(judged().class, DAMAGE_FOREIGN);
}
END_TEST

START_TEST(blank)
{
	for (unsigned byte = 0; byte < 256; byte++) {
		struct verdict v;

		begin(sizes[_i], 5);
		memset(block, (int)byte, n);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_BLANK);
		ck_assert_uint_eq(v.blank_byte, byte);
	}
}
END_TEST

START_TEST(stale_generation_and_run)
{
	struct stamp old;
	struct verdict v;

	for (uint32_t g = 1; g <= 5; g++) {
		if (g == GENERATION)
			continue;
		begin(sizes[_i], 5);
		stamp_fill(&stamp, block, offset, g);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_STALE);
		ck_assert_uint_eq(v.found_generation, g);
		ck_assert(!v.other_run);
	}
	begin(sizes[_i], 5);
	stamp_init(&old, seed + 1, n);
	stamp_fill(&old, block, offset, GENERATION);
	v = judged();
	ck_assert_int_eq(v.class, DAMAGE_STALE);
	ck_assert(v.other_run);
	ck_assert_uint_eq(v.found_seed, seed + 1);
}
END_TEST

START_TEST(misplaced)
{
	struct verdict v;

	for (uint64_t number = 0; number < 50; number++) {
		if (number == 5)
			continue;
		begin(sizes[_i], 5);
		stamp_fill(&stamp, block, number * n, GENERATION);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_MISPLACED);
		ck_assert_uint_eq(v.found_offset, number * n);
	}
	/* Still known for what it is with a few bits flipped. */
	begin(sizes[_i], 5);
	stamp_fill(&stamp, block, UINT64_C(1) << 33, GENERATION);
	block[0] ^= 1;
	block[n / 2] ^= 0x11;
	v = judged();
	ck_assert_int_eq(v.class, DAMAGE_MISPLACED);
	ck_assert_uint_eq(v.found_offset, UINT64_C(1) << 33);
	ck_assert_uint_eq(v.flipped_bits, 3);
}
END_TEST

static void check_slip(uint32_t from, int32_t slip)
{
	struct verdict v = judged();

	ck_assert_msg(v.class == DAMAGE_SHIFTED && v.slip_bytes == slip,
		"block of %u, slip %d from byte %u: class %d, slip %d", n, slip, from, v.class,
		v.slip_bytes);
}

/* The whole stream slipped, so that the neighbours' bytes come in. */
START_TEST(slip_with_neighbours)
{
	begin(sizes[_i], 5);
	for (uint32_t slip = 1; slip < n; slip += slip < 512 ? 1 : 61) {
		memcpy(block, wide + n - slip, n);
		check_slip(0, (int32_t)slip);
		memcpy(block, wide + n + slip, n);
		check_slip(0, -(int32_t)slip);
	}
}
END_TEST

/* Only this block slipped: zeros or noise come in. 16 right bytes must be left as evidence. */
START_TEST(slip_alone)
{
	begin(sizes[_i], 0);
	for (uint32_t slip = 1; slip + 16 <= n; slip += slip < 512 ? 1 : 61) {
		memset(block, 0, n);
		memcpy(block + slip, wide + n, n - slip);
		check_slip(0, (int32_t)slip);
		fill_noise(block, n, 3);
		memcpy(block, wide + n + slip, n - slip);
		check_slip(0, -(int32_t)slip);
	}
}
END_TEST

/* A byte lost or doubled in the middle of the block, as by a clock glitch on a card bus. */
START_TEST(slip_from_the_middle)
{
	for (uint32_t from = 1; from + 40 < sizes[_i]; from += sizes[_i] / 512) {
		begin(sizes[_i], 5);
		memcpy(block + from, wide + n + from + 1, n - from);
		check_slip(from, -1);
		memcpy(block, wide + n, from);
		block[from] = (uint8_t)~wide[n + from];
		memcpy(block + from + 1, wide + n + from, n - from - 1);
		check_slip(from, 1);
	}
}
END_TEST

START_TEST(torn_inside)
{
	_Alignas(64) static uint8_t old[STAMP_BLOCK_MAX];

	for (uint32_t cut = 64; cut + 64 <= sizes[_i]; cut += 32) {
		struct verdict v;

		begin(sizes[_i], 5);
		stamp_fill(&stamp, old, offset, GENERATION - 1);
		memcpy(block + cut, old + cut, n - cut);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_TORN);
		ck_assert_int_eq(v.rest, TORN_REST_STAMPED);
		ck_assert_uint_eq(v.found_generation, GENERATION - 1);
		/* A byte of both may be the same by chance. */
		ck_assert_uint_ge(v.torn_from, cut);
		ck_assert_uint_le(v.torn_from, cut + 3);
		ck_assert_uint_eq(v.torn_to, n);

		memcpy(block, old, cut);
		memcpy(block + cut, wide + n + cut, n - cut);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_TORN);
		ck_assert_int_eq(v.rest, TORN_REST_STAMPED);
		ck_assert_uint_le(v.torn_to, cut);

		memset(block, 0xff, cut);
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_TORN);
		ck_assert_int_eq(v.rest, TORN_REST_BLANK);
		ck_assert_uint_eq(v.blank_byte, 0xff);
	}
}
END_TEST

/* 48 right bytes, at either end, make a block torn: more than the 32 of a header, which another block of this run shares in
 * part. With one byte less it is simply not ours. */
START_TEST(torn_threshold)
{
	enum { ENOUGH = 48 };

	for (uint32_t right = 0; right <= 80; right++) {
		for (int at_end = 0; at_end < 2; at_end++) {
			struct verdict v;
			uint8_t *edge;

			begin(sizes[_i], 5);
			fill_noise(block + (at_end ? 0 : right), n - right, 99 + right);
			/* The first wrong byte beside the right ones is wrong for sure. */
			edge = block + (at_end ? n - right - 1 : right);
			*edge = (uint8_t)~wide[n + (size_t)(edge - block)];
			v = judged();
			ck_assert_msg(v.class == (right >= ENOUGH ? DAMAGE_TORN : DAMAGE_FOREIGN),
				"%u right bytes at the %s: %s", right, at_end ? "end" : "start",
				damage_class_name(v.class));
			if (v.class == DAMAGE_TORN)
				ck_assert_uint_eq(at_end ? n - v.torn_to : v.torn_from, right);
		}
	}
}
END_TEST

/* A data line of a 4-bit card bus carries two bits of each byte, one of an 8-bit bus a single one. */
START_TEST(stuck_lines)
{
	for (int line = 0; line < 4; line++) {
		struct verdict v;
		uint8_t mask = (uint8_t)(0x11 << line);

		begin(sizes[_i], 5);
		for (uint32_t i = 0; i < n; i++)
			block[i] &= (uint8_t)~mask;
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_BIT_ERROR);
		ck_assert_uint_eq(v.stuck_low, mask);
		ck_assert_uint_eq(v.stuck_high, 0);
		for (int bit = 0; bit < 8; bit++) {
			ck_assert_uint_eq(v.set_at[bit], 0);
			ck_assert_int_eq(v.cleared_at[bit] > 0, mask >> bit & 1);
		}
		begin(sizes[_i], 5);
		for (uint32_t i = 0; i < n; i++)
			block[i] |= mask;
		v = judged();
		ck_assert_int_eq(v.class, DAMAGE_BIT_ERROR);
		ck_assert_uint_eq(v.stuck_high, mask);
	}
}
END_TEST

START_TEST(foreign)
{
	for (uint64_t s = 0; s < 200; s++) {
		begin(sizes[_i], 5);
		fill_noise(block, n, s);
		ck_assert_int_eq(judged().class, DAMAGE_FOREIGN);
	}
	begin(sizes[_i], 5);
	for (uint32_t i = 0; i < n; i++)
		block[i] = (uint8_t) "What was here before. "[i % 22];
	ck_assert_int_eq(judged().class, DAMAGE_FOREIGN);
}
END_TEST

START_TEST(requests_tear)
{
	struct verdict v[4] = { { .class = DAMAGE_NONE }, { .class = DAMAGE_STALE },
		{ .class = DAMAGE_BLANK }, { .class = DAMAGE_STALE } };

	judge_request(v + 1, 3);
	ck_assert_int_eq(v[1].class, DAMAGE_STALE); /* nothing new in it: all of it was lost */
	judge_request(v, 4);
	ck_assert_int_eq(v[0].class, DAMAGE_NONE);
	ck_assert_int_eq(v[1].class, DAMAGE_TORN);
	ck_assert_int_eq(v[2].class, DAMAGE_BLANK);
	ck_assert_int_eq(v[3].class, DAMAGE_TORN);
}
END_TEST

Suite *judge_suite(void)
{
	Suite *suite = suite_create("judge");
	TCase *c = tcase_create("judge");

	tcase_add_loop_test(c, right_block_is_right, 0, 3);
	tcase_add_loop_test(c, one_bit_anywhere, 0, 3);
	tcase_add_loop_test(c, mended_crc_is_found_by_content, 0, 3);
	tcase_add_loop_test(c, blank, 0, 3);
	tcase_add_loop_test(c, stale_generation_and_run, 0, 3);
	tcase_add_loop_test(c, misplaced, 0, 3);
	tcase_add_loop_test(c, slip_with_neighbours, 0, 3);
	tcase_add_loop_test(c, slip_alone, 0, 3);
	tcase_add_loop_test(c, slip_from_the_middle, 0, 3);
	tcase_add_loop_test(c, torn_inside, 0, 3);
	tcase_add_loop_test(c, torn_threshold, 0, 3);
	tcase_add_loop_test(c, stuck_lines, 0, 3);
	tcase_add_loop_test(c, foreign, 0, 3);
	tcase_add_test(c, requests_tear);
	suite_add_tcase(suite, c);
	return suite;
}
