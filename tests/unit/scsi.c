/* medium/scsi, medium/scsi_data: CDBs byte for byte, and answers, honest and hostile. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "medium/scsi.h"
#include "medium/scsi_data.h"

static void assert_cdb(const struct scsi_exchange *x, const void *want, size_t n)
{
	ck_assert_uint_eq(x->cdb_length, n);
	ck_assert_mem_eq(x->cdb, want, n);
	for (size_t i = n; i < sizeof x->cdb; i++)
		ck_assert_uint_eq(x->cdb[i], 0);
}

/* Frames after SPC-4 6.11, 6.12, SBC-3 5.22, 5.32. */
START_TEST(cdb_frames)
{
	struct scsi_exchange x;
	uint8_t data[4096];

	scsi_build_mode_sense_6(&x, SCSI_CURRENT, SCSI_PAGE_CACHING, data, 192);
	assert_cdb(&x, "\x1A\x00\x08\x00\xC0\x00", 6);
	ck_assert_uint_eq(x.data_length, 192);
	ck_assert_int_eq(x.direction, SCSI_DATA_IN);
	scsi_build_mode_sense_6(&x, SCSI_CURRENT, SCSI_PAGE_ALL, data, 192);
	assert_cdb(&x, "\x1A\x00\x3F\x00\xC0\x00", 6);
	scsi_build_mode_sense_6(&x, SCSI_CHANGEABLE, SCSI_PAGE_CACHING, data, 192);
	assert_cdb(&x, "\x1A\x00\x48\x00\xC0\x00", 6);
	scsi_build_mode_sense_10(&x, SCSI_CURRENT, SCSI_PAGE_CACHING, data, 192);
	assert_cdb(&x, "\x5A\x00\x08\x00\x00\x00\x00\x00\xC0\x00", 10);
	scsi_build_synchronize_cache(&x, 0, 0, false);
	assert_cdb(&x, "\x35\x00\x00\x00\x00\x00\x00\x00\x00\x00", 10);
	ck_assert_int_eq(x.direction, SCSI_NO_DATA);
	scsi_build_write(&x, 2048, 8, 512, data, SCSI_IO_FUA);
	assert_cdb(&x, "\x2A\x08\x00\x00\x08\x00\x00\x00\x08\x00", 10);
	ck_assert_uint_eq(x.data_length, 4096);
	ck_assert_int_eq(x.direction, SCSI_DATA_OUT);
	scsi_build_read(&x, UINT64_C(0x100000000), 1, 512, data, 0);
	assert_cdb(&x, "\x88\x00\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00", 16);
	scsi_build_read(&x, 5, 0, 512, data, 0);
	assert_cdb(&x, "\x28\x00\x00\x00\x00\x05\x00\x00\x00\x00", 10);
	ck_assert_int_eq(x.direction, SCSI_NO_DATA);
	scsi_build_start_stop(&x, true, false);
	assert_cdb(&x, "\x1B\x00\x00\x00\x02\x00", 6);
	scsi_build_start_stop(&x, true, true);
	assert_cdb(&x, "\x1B\x00\x00\x00\x03\x00", 6);
	scsi_build_prevent_removal(&x, true);
	assert_cdb(&x, "\x1E\x00\x00\x00\x01\x00", 6);
	scsi_build_read_capacity_16(&x, data);
	assert_cdb(&x, "\x9E\x10\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x20\x00\x00", 16);
}
END_TEST

START_TEST(big_endian_both_ways)
{
	uint8_t b[8];

	scsi_put_u64(b, UINT64_C(0x0102030405060708));
	ck_assert_mem_eq(b, "\1\2\3\4\5\6\7\10", 8);
	ck_assert_uint_eq(scsi_get_u64(b), UINT64_C(0x0102030405060708));
	ck_assert_uint_eq(scsi_get_u32(b), 0x01020304);
	b[0] = 0xFF;
	ck_assert_uint_eq(scsi_get_u16(b), 0xFF02);
	ck_assert_uint_eq(scsi_get_u32(b), 0xFF020304u);
}
END_TEST

/* SPC-4 7.5.6, SBC-3 6.5.5. */
START_TEST(mode_pages)
{
	uint8_t m6[24] = { 0x17, 0, 0x10, 0, 0x08, 0x12, 0x04 };
	uint8_t m10[28] = { 0, 0x1A, 0, 0x10, 0, 0, 0, 0, 0x08, 0x12, 0x04 };
	static const uint8_t none[4] = { 3, 0, 0, 0 };
	static const uint8_t protected[4] = { 3, 0, 0x80, 0 };
	struct scsi_mode m;

	ck_assert(scsi_mode_decode(&m, m6, sizeof m6, false));
	ck_assert(m.has_caching && m.write_cache && m.dpo_fua && !m.write_protected);
	ck_assert(!m.read_cache_disabled && !m.truncated);
	m6[6] = 0x01;
	ck_assert(scsi_mode_decode(&m, m6, sizeof m6, false));
	ck_assert(m.has_caching && !m.write_cache && m.read_cache_disabled);
	ck_assert(scsi_mode_decode(&m, m10, sizeof m10, true));
	ck_assert(m.has_caching && m.write_cache && m.dpo_fua);
	ck_assert(scsi_mode_decode(&m, none, sizeof none, false));
	ck_assert(!m.has_caching && !m.write_cache && !m.write_protected);
	ck_assert(scsi_mode_decode(&m, protected, sizeof protected, false));
	ck_assert(m.write_protected && !m.dpo_fua);
}
END_TEST

START_TEST(mode_pages_after_others)
{
	/* 8-byte block descriptor, page 01h, a page in sub-page format, then RBC page 06h with WCD = 1 (no cache). */
	uint8_t b[] = { 0, 0, 0, 8, 0, 0, 0, 0, 0, 0, 2, 0, /* header, descriptor */
		0x01, 2, 0, 0, /* page 01h */
		0x40 | 0x1C, 1, 0, 1, 0xAA, /* sub-page format */
		0x06, 2, 0x01, 0 };
	struct scsi_mode m;

	b[0] = sizeof b - 1;
	ck_assert(scsi_mode_decode(&m, b, sizeof b, false));
	ck_assert(m.has_caching && m.caching_rbc && !m.write_cache);
	b[sizeof b - 2] = 0;
	ck_assert(scsi_mode_decode(&m, b, sizeof b, false));
	ck_assert(m.write_cache);
	/* Cut before the byte that matters: there is no page then. */
	ck_assert(scsi_mode_decode(&m, b, sizeof b - 2, false));
	ck_assert(!m.has_caching && m.truncated);
	/* Descriptors said to be longer than the answer. */
	b[3] = 0xFF;
	ck_assert(scsi_mode_decode(&m, b, sizeof b, false));
	ck_assert(!m.has_caching);
}
END_TEST

START_TEST(capacity)
{
	static const uint8_t c10[8] = { 0, 0, 0x1F, 0xFF, 0, 0, 2, 0 };
	static const uint8_t big[8] = { 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 2, 0 };
	static const uint8_t odd[8] = { 0, 0, 0x1F, 0xFF, 0, 0, 2, 1 };
	uint8_t c16[32] = { 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0x10, 0 };
	struct scsi_capacity c;

	ck_assert(scsi_capacity_10_decode(&c, c10, sizeof c10));
	ck_assert_uint_eq(c.blocks, 8192);
	ck_assert_uint_eq(c.block_bytes, 512);
	ck_assert(scsi_capacity_10_decode(&c, big, sizeof big) && c.needs_16);
	ck_assert(!scsi_capacity_10_decode(&c, odd, sizeof odd));
	ck_assert(!scsi_capacity_10_decode(&c, c10, 7));
	ck_assert(scsi_capacity_16_decode(&c, c16, sizeof c16));
	ck_assert_uint_eq(c.blocks, (UINT64_C(1) << 32) + 1);
	ck_assert_uint_eq(c.block_bytes, 4096);
	memset(c16, 0xFF, 8);
	ck_assert(!scsi_capacity_16_decode(&c, c16, sizeof c16));
}
END_TEST

START_TEST(inquiry)
{
	uint8_t b[36] = { 0, 0x80, 4, 2, 31 };
	struct scsi_inquiry q;

	memcpy(b + 8, "Brightly", 8);
	memcpy(b + 16, "Card Porter     ", 16);
	memcpy(b + 32, "1\x01 2", 4);
	ck_assert(scsi_inquiry_decode(&q, b, sizeof b));
	ck_assert(q.removable);
	ck_assert_str_eq(q.vendor, "Brightly");
	ck_assert_str_eq(q.product, "Card Porter");
	ck_assert_str_eq(q.revision, "1? 2");
	ck_assert(!scsi_inquiry_decode(&q, b, 35));
	b[4] = 0;
	ck_assert(!scsi_inquiry_decode(&q, b, sizeof b));
}
END_TEST

/* Every length in exact heap blocks: the sanitizer build sees any byte read too many. */
START_TEST(noise_never_overruns)
{
	struct random r = { 11 };

	for (int round = 0; round < 30000; round++) {
		size_t n = (size_t)random_below(&r, 80);
		uint8_t *b = malloc(n ? n : 1);
		struct scsi_inquiry q;
		struct scsi_capacity c;
		struct scsi_mode m;

		for (size_t i = 0; i < n; i++)
			b[i] = (uint8_t)(round % 2 ? random_below(&r, 24) : random_next(&r));
		scsi_inquiry_decode(&q, b, n);
		ck_assert_uint_le(strlen(q.vendor), 8);
		if (scsi_capacity_10_decode(&c, b, n))
			ck_assert_uint_ge(c.block_bytes, 256);
		scsi_capacity_16_decode(&c, b, n);
		scsi_mode_decode(&m, b, n, round % 3 == 0);
		ck_assert(n >= 4 || !m.has_caching);
		free(b);
	}
}
END_TEST

START_TEST(residual_is_bounded)
{
	struct scsi_exchange x = { .data_length = 36, .residual = 4 };

	ck_assert_uint_eq(scsi_transferred(&x), 32);
	x.residual = 99;
	ck_assert_uint_eq(scsi_transferred(&x), 0);
	ck_assert(scsi_succeeded(&x));
	x.host_status = 1;
	ck_assert(!scsi_succeeded(&x));
}
END_TEST

Suite *scsi_suite(void)
{
	Suite *s = suite_create("scsi");
	TCase *c = tcase_create("scsi");

	tcase_add_test(c, cdb_frames);
	tcase_add_test(c, big_endian_both_ways);
	tcase_add_test(c, mode_pages);
	tcase_add_test(c, mode_pages_after_others);
	tcase_add_test(c, capacity);
	tcase_add_test(c, inquiry);
	tcase_add_test(c, noise_never_overruns);
	tcase_add_test(c, residual_is_bounded);
	suite_add_tcase(s, c);
	return s;
}
