/* The evidence of a damaged block in words. */
#include "integrity/verdict.h"

#include <check.h>
#include <errno.h>
#include <string.h>

static char words[128]; /* as much as a range has room for */

static const char *said(const struct verdict *v, uint64_t offset)
{
	return verdict_detail(words, sizeof words, v, offset);
}

START_TEST(bits_in_words)
{
	struct verdict v = { .class = DAMAGE_BIT_ERROR,
		.flipped_bits = 1,
		.set_at = { [2] = 1 },
		.first_bit = 511 * 8 + 2,
		.last_bit = 511 * 8 + 2 };

	ck_assert_str_eq(said(&v, 0), "bit 2 of byte 511 read 1, expected 0");
	v.set_at[2] = 0;
	v.cleared_at[2] = 1;
	ck_assert_str_eq(said(&v, 0), "bit 2 of byte 511 read 0, expected 1");
	v.cleared_at[2] = 3;
	v.flipped_bits = 3;
	v.first_bit = 8 + 2;
	ck_assert_str_eq(said(&v, 0), "3 bits read 0, expected 1: bit 2 of bytes 1 to 511");
	v.stuck_low = 4;
	ck_assert_str_eq(
		said(&v, 0), "3 bits read 0, expected 1: bit 2 of bytes 1 to 511, stuck at 0");
	v.set_at[7] = 2;
	v.flipped_bits = 5;
	v.stuck_high = 128;
	ck_assert_str_eq(said(&v, 0), "5 bits wrong, 2 read 1 and 3 read 0: bits 2 7 of bytes 1 to "
				      "511, some stuck at 0 and some at 1");
}
END_TEST

/* All eight bits are not listed; the longest sentence fits. */
START_TEST(many_bits_in_words)
{
	struct verdict v = { .class = DAMAGE_BIT_ERROR,
		.flipped_bits = 32768,
		.first_bit = 0,
		.last_bit = 4096 * 8 - 1,
		.stuck_low = 1,
		.stuck_high = 2 };

	for (int i = 0; i < 8; i++)
		v.set_at[i] = v.cleared_at[i] = 2048;
	ck_assert_str_eq(said(&v, 0),
		"32768 bits wrong, 16384 read 1 and 16384 read 0: in bytes 0 to "
		"4095, some stuck at 0 and some at 1");
	v.set_at[7] = v.cleared_at[7] = 0;
	said(&v, 0);
	ck_assert_str_eq(words + strlen(words) - 9, "some at 1");
}
END_TEST

START_TEST(other_evidence_in_words)
{
	const struct {
		struct verdict v;
		const char *said;
	} cases[] = {
		{ { .class = DAMAGE_UNREADABLE }, "the target ended early" },
		{ { .class = DAMAGE_UNREADABLE, .read_errno = EIO }, "Input/output error" },
		{ { .class = DAMAGE_BLANK, .blank_byte = 0xff }, "all 0xFF" },
		{ { .class = DAMAGE_STALE, .found_offset = 512, .found_generation = 2 },
			"generation 2" },
		{ { .class = DAMAGE_STALE,
			  .found_offset = 512,
			  .found_generation = 1,
			  .other_run = true,
			  .found_seed = 11 },
			"generation 1 of the run with seed 11" },
		{ { .class = DAMAGE_MISPLACED, .found_offset = 1536, .found_generation = 1 },
			"generation 1 of offset 1536 (+1024)" },
		{ { .class = DAMAGE_MISPLACED, .found_generation = 1, .flipped_bits = 1 },
			"generation 1 of offset 0 (-512), with 1 bit flipped" },
		{ { .class = DAMAGE_TORN, .torn_from = 64, .torn_to = 512 },
			"bytes 64 to 511: other data" },
		{ { .class = DAMAGE_TORN,
			  .torn_from = 64,
			  .torn_to = 512,
			  .rest = TORN_REST_BLANK },
			"bytes 64 to 511: all 0x00" },
		{ { .class = DAMAGE_SHIFTED, .slip_bytes = 1 }, "1 byte inserted" },
		{ { .class = DAMAGE_SHIFTED, .slip_bytes = -7 }, "7 bytes lost" },
		{ { .class = DAMAGE_FOREIGN }, "" },
		{ { .class = DAMAGE_NONE }, "" },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
		ck_assert_str_eq(said(&cases[i].v, 512), cases[i].said);
}
END_TEST

Suite *verdict_suite(void)
{
	Suite *s = suite_create("verdict");
	TCase *c = tcase_create("verdict");

	tcase_add_test(c, bits_in_words);
	tcase_add_test(c, many_bits_in_words);
	tcase_add_test(c, other_evidence_in_words);
	suite_add_tcase(s, c);
	return s;
}
