/* The stamp's bytes against a second implementation written from blkassay-stamp(5), and every bit of it checked. */
#include "integrity/stamp.h"

#include <check.h>
#include <endian.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"

/* Bytes 32..47 and the CRC field as a Python script made from the format's description computes them. */
static const struct {
	uint64_t seed, offset;
	uint32_t generation, block_bytes;
	uint8_t bytes_32[16], crc[4];
} known[] = {
	{ 0, 0, 1, 512,
		{ 0xa7, 0x15, 0xc9, 0x2a, 0xc6, 0x3b, 0x34, 0x59, 0x66, 0xee, 0x28, 0xec, 0x27,
			0x0f, 0x56, 0x9b },
		{ 0x7f, 0xea, 0x49, 0x19 } },
	{ 42, 3584, 3, 512,
		{ 0x48, 0xc3, 0xb1, 0x88, 0xb8, 0x48, 0x40, 0x40, 0xfb, 0xda, 0x04, 0xee, 0x63,
			0xb0, 0x5e, 0xc7 },
		{ 0x1c, 0x89, 0xe3, 0x10 } },
	{ 1234567, 36864, 2, 4096,
		{ 0xfd, 0xfa, 0x4a, 0x72, 0x0a, 0x25, 0x46, 0x3d, 0xef, 0xd8, 0xea, 0x20, 0xc0,
			0xcb, 0x5c, 0xed },
		{ 0x83, 0xcd, 0x3d, 0xf5 } },
	{ UINT64_MAX, UINT64_C(1) << 40, UINT32_MAX, 4096,
		{ 0x1d, 0xf9, 0xca, 0x5e, 0x12, 0x4d, 0x71, 0xf2, 0xac, 0xbb, 0x5c, 0xf7, 0x7a,
			0x5d, 0x85, 0x26 },
		{ 0xec, 0x98, 0xbb, 0x5d } },
};

enum { KNOWN = sizeof known / sizeof *known };

static _Alignas(64) uint8_t block[STAMP_BLOCK_MAX];
static struct stamp stamp;

START_TEST(bytes_are_as_documented)
{
	static const uint8_t magic[8] = { 0x9e, 'b', 'k', 'a', 's', 's', 'a', 'y' };
	struct stamp_header h;

	for (size_t i = 0; i < KNOWN; i++) {
		uint32_t n = known[i].block_bytes;

		stamp_init(&stamp, known[i].seed, n);
		stamp_fill(&stamp, block, known[i].offset, known[i].generation);
		ck_assert_mem_eq(block, magic, 8);
		ck_assert_mem_eq(block + 32, known[i].bytes_32, 16);
		ck_assert_mem_eq(block + n - 4, known[i].crc, 4);
		/* The residue every message with its own CRC behind it has. */
		ck_assert_uint_eq(checksum_crc32(0, block, n), 0x2144DF1C);
		ck_assert(stamp_read(block, &h));
		ck_assert_uint_eq(h.seed, known[i].seed);
		ck_assert_uint_eq(h.offset, known[i].offset);
		ck_assert_uint_eq(h.generation, known[i].generation);
		ck_assert_uint_eq(h.block_bytes, n);
		ck_assert(stamp_holds(&stamp, block, known[i].offset, known[i].generation));
	}
}
END_TEST

START_TEST(every_flipped_bit_is_seen)
{
	for (uint32_t n = 512; n <= 4096; n *= 2) {
		stamp_init(&stamp, 99, n);
		stamp_fill(&stamp, block, 8 * n, 1);
		for (uint32_t bit = 0; bit < n * 8; bit++) {
			block[bit / 8] ^= (uint8_t)(1U << bit % 8);
			ck_assert_msg(
				!stamp_holds(&stamp, block, 8 * n, 1), "bit %u of %u", bit, n);
			block[bit / 8] ^= (uint8_t)(1U << bit % 8);
		}
		ck_assert(stamp_holds(&stamp, block, 8 * n, 1));
	}
}
END_TEST

/* Damage by something that also mends the CRC: the content alone must tell. */
START_TEST(mended_crc_does_not_help)
{
	for (uint32_t n = 512; n <= 4096; n *= 8) {
		stamp_init(&stamp, 99, n);
		for (uint32_t byte = 0; byte < n - 4; byte++) {
			uint32_t crc;

			stamp_fill(&stamp, block, 0, 1);
			block[byte] ^= 0x10;
			crc = htole32(checksum_crc32(0, block, n - 4));
			memcpy(block + n - 4, &crc, 4);
			ck_assert(stamp_crc_holds(block, n));
			ck_assert_msg(!stamp_holds(&stamp, block, 0, 1), "byte %u of %u", byte, n);
		}
	}
}
END_TEST

START_TEST(other_identity_does_not_hold)
{
	stamp_init(&stamp, 5, 512);
	stamp_fill(&stamp, block, 1024, 2);
	ck_assert(stamp_holds(&stamp, block, 1024, 2));
	ck_assert(!stamp_holds(&stamp, block, 1536, 2));
	ck_assert(!stamp_holds(&stamp, block, 1024, 3));
	stamp_init(&stamp, 6, 512);
	ck_assert(!stamp_holds(&stamp, block, 1024, 2));
}
END_TEST

START_TEST(blank_blocks_are_no_stamps)
{
	struct stamp_header h;

	memset(block, 0, sizeof block);
	ck_assert(!stamp_read(block, &h));
	memset(block, 0xff, sizeof block);
	ck_assert(!stamp_read(block, &h));
}
END_TEST

START_TEST(range_is_block_by_block)
{
	static _Alignas(64) uint8_t range[8192];

	stamp_init(&stamp, 5, 1024);
	stamp_fill_range(&stamp, range, sizeof range, 4096, 7);
	for (size_t at = 0; at < sizeof range; at += 1024) {
		stamp_fill(&stamp, block, 4096 + at, 7);
		ck_assert_mem_eq(range + at, block, 1024);
	}
	ck_assert_uint_eq(stamp_block_bytes(512), 512);
	ck_assert_uint_eq(stamp_block_bytes(16384), 4096);
}
END_TEST

Suite *stamp_suite(void)
{
	Suite *suite = suite_create("stamp");
	TCase *c = tcase_create("stamp");

	tcase_add_test(c, bytes_are_as_documented);
	tcase_add_test(c, every_flipped_bit_is_seen);
	tcase_add_test(c, mended_crc_does_not_help);
	tcase_add_test(c, other_identity_does_not_hold);
	tcase_add_test(c, blank_blocks_are_no_stamps);
	tcase_add_test(c, range_is_block_by_block);
	suite_add_tcase(suite, c);
	return suite;
}
