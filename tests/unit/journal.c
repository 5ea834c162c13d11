/* journal: what its lines promise, and what it refuses. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "integrity/journal.h"

static char path[64];
static struct record_writer w;
static struct error err;

enum { BLOCK = 512, BLOCKS = 64 };

static void begin(enum journal_promise promise)
{
	struct journal_cycle c = { .number = 3,
		.seed = 9,
		.region_start = 8192,
		.region_bytes = BLOCKS * BLOCK,
		.block_bytes = BLOCK,
		.promise = promise };

	int fd;

	snprintf(path, sizeof path, "/tmp/blkassay-journal-XXXXXX");
	fd = mkstemp(path);
	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
	err = (struct error){ 0 };
	ck_assert_int_eq(record_create(&w, path, JOURNAL_KIND, &err), 0);
	ck_assert_int_eq(journal_write_cycle(&w, &c, 1000, &err), 0);
	ck_assert_int_eq(journal_write_ready(&w, 2000, &err), 0);
}

static void intend(uint32_t first, const uint64_t *blocks, const uint32_t *lengths, size_t count)
{
	struct cut_write list[8];

	for (size_t i = 0; i < count; i++)
		list[i] = (struct cut_write){ .number = first + (uint32_t)i,
			.at = 8192 + blocks[i] * BLOCK,
			.bytes = lengths[i] * BLOCK };
	ck_assert_int_eq(journal_write_intents(&w, list, count, 2500, &err), 0);
}

static int load(struct journal *j)
{
	ck_assert_int_eq(record_close(&w, &err), 0);
	return journal_load(j, path, &err);
}

static void refuse(const char *why)
{
	struct journal j;

	ck_assert_int_eq(load(&j), -1);
	ck_assert_msg(strstr(err.text, why) != NULL, "'%s' does not say '%s'", err.text, why);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	unlink(path);
}

static void expect(const struct journal *j, size_t block, uint32_t stored, uint32_t acknowledged,
	uint32_t announced)
{
	ck_assert_uint_eq(j->blocks[block].stored, stored);
	ck_assert_uint_eq(j->blocks[block].acknowledged, acknowledged);
	ck_assert_uint_eq(j->blocks[block].announced, announced);
}

START_TEST(each_line_moves_its_own_blocks)
{
	uint64_t at[] = { 0, 2, 3, 10 };
	uint32_t length[] = { 4, 1, 2, 1 };
	struct journal j;

	begin(PROMISE_FLUSHED);
	intend(2, at, length, 4);
	ck_assert_int_eq(journal_write_done(&w, 2, false, 3000, 3100, &err), 0);
	ck_assert_int_eq(journal_write_done(&w, 3, true, 3200, 3300, &err), 0);
	ck_assert_int_eq(journal_write_flush(&w, 3, 3400, &err), 0);
	ck_assert_int_eq(journal_write_stored(&w, 3, 3500, &err), 0);
	ck_assert_int_eq(journal_write_done(&w, 4, false, 3600, 3700, &err), 0);
	ck_assert_int_eq(journal_write_flush(&w, 4, 3800, &err), 0);
	ck_assert_int_eq(journal_write_stop(&w, "gone", 19, 0, 9999, &err), 0);
	ck_assert_msg(load(&j) == 0, "%s", err.text);
	expect(&j, 0, 2, 2, 2);
	expect(&j, 2, 3, 3, 3);
	expect(&j, 3, 2, 4, 4);
	expect(&j, 4, 1, 4, 4);
	expect(&j, 10, 1, 1, 5);
	expect(&j, 11, 1, 1, 1);
	ck_assert_uint_eq(j.cycle.number, 3);
	ck_assert_uint_eq(j.announced, 5);
	ck_assert_uint_eq(j.acknowledged, 4);
	ck_assert_uint_eq(j.stored, 3);
	ck_assert_uint_eq(j.stop_ns, 3800); /* not the late answer that told of the cut */
	journal_release(&j);
	unlink(path);
}
END_TEST

/* The flush's line alone carries its promise: answers' lines may be lost with the host. */
START_TEST(flush_covers_writes_without_their_lines)
{
	uint64_t at[] = { 5, 7 };
	uint32_t length[] = { 1, 1 };
	struct journal j;

	begin(PROMISE_FLUSHED);
	intend(2, at, length, 2);
	ck_assert_int_eq(journal_write_stored(&w, 2, 3500, &err), 0);
	ck_assert_int_eq(load(&j), 0);
	expect(&j, 5, 2, 2, 2);
	expect(&j, 7, 1, 1, 3);
	ck_assert_str_eq(j.stop, "");
	journal_release(&j);
	unlink(path);
}
END_TEST

START_TEST(ages_count_back_from_the_last_sign_of_life)
{
	uint64_t at[] = { 0, 4, 8 };
	uint32_t length[] = { 4, 2, 1 };
	struct journal_age ages[] = { { .number = 2 }, { .number = 4 }, { .number = 7 } };
	struct journal j;

	begin(PROMISE_FLUSHED);
	intend(2, at, length, 3);
	ck_assert_int_eq(journal_write_done(&w, 2, false, 3000, 3100, &err), 0);
	ck_assert_int_eq(journal_write_done(&w, 3, false, 3200, 3300, &err), 0);
	ck_assert_int_eq(journal_write_done(&w, 4, false, 3400, 5000, &err), 0);
	ck_assert_int_eq(load(&j), 0);
	ck_assert_int_eq(journal_ages(&j, ages, 3, &err), 0);
	ck_assert_uint_eq(ages[0].ns_before, 1900);
	ck_assert_uint_eq(ages[0].bytes_before, 3 * BLOCK);
	ck_assert_uint_eq(ages[1].ns_before, 0);
	ck_assert_uint_eq(ages[1].bytes_before, 0);
	ck_assert_uint_eq(ages[2].ns_before, UINT64_MAX);
	journal_release(&j);
	unlink(path);
}
END_TEST

START_TEST(later_cycle_starts_afresh)
{
	uint64_t at[] = { 0 };
	uint32_t length[] = { 4 };
	struct journal_cycle next = { .number = 4,
		.seed = 10,
		.region_start = 0,
		.region_bytes = 8 * BLOCK,
		.block_bytes = BLOCK };
	struct journal j;

	begin(PROMISE_FLUSHED);
	intend(2, at, length, 1);
	ck_assert_int_eq(journal_write_cycle(&w, &next, 4000, &err), 0);
	ck_assert_int_eq(journal_write_ready(&w, 4100, &err), 0);
	ck_assert_int_eq(load(&j), 0);
	ck_assert_uint_eq(j.block_count, 8);
	ck_assert_uint_eq(j.cycle.seed, 10);
	expect(&j, 0, 1, 1, 1);
	journal_release(&j);
	unlink(path);
}
END_TEST

START_TEST(nonsense_is_refused)
{
	uint64_t at[] = { 0, BLOCKS };
	uint32_t length[] = { 1, 1 };

	begin(PROMISE_FLUSHED);
	ck_assert_int_eq(journal_write_done(&w, 2, false, 1, 2, &err), 0);
	refuse("never announced");
	begin(PROMISE_FLUSHED);
	intend(3, at, length, 1);
	refuse("missing");
	begin(PROMISE_FLUSHED);
	intend(2, at, length, 2);
	refuse("outside the region");
	begin(PROMISE_FLUSHED);
	intend(2, at, length, 1);
	ck_assert_int_eq(journal_write_stored(&w, 3, 3500, &err), 0);
	refuse("never announced");
}
END_TEST

START_TEST(journal_without_a_baseline_is_refused)
{
	struct journal_cycle c = { .number = 1, .region_bytes = 4096, .block_bytes = 512 };

	begin(PROMISE_FLUSHED);
	ck_assert_int_eq(journal_write_cycle(&w, &c, 5000, &err), 0);
	refuse("before the baseline");
	begin(PROMISE_FLUSHED);
	c.block_bytes = 513;
	ck_assert_int_eq(journal_write_cycle(&w, &c, 5000, &err), 0);
	refuse("no block size");
	begin(PROMISE_FLUSHED);
	c = (struct journal_cycle){ .region_bytes = UINT64_C(1) << 40, .block_bytes = 512 };
	ck_assert_int_eq(journal_write_cycle(&w, &c, 5000, &err), 0);
	refuse("no whole number of blocks");
}
END_TEST

/* Each byte of a journal flipped in turn: refused, or the same promises as before. */
START_TEST(no_flipped_bit_adds_a_promise)
{
	uint64_t at[] = { 5, 7 };
	uint32_t length[] = { 2, 1 };
	struct journal j;
	FILE *f;
	long size;

	begin(PROMISE_FLUSHED);
	intend(2, at, length, 2);
	ck_assert_int_eq(journal_write_done(&w, 2, false, 3000, 3100, &err), 0);
	ck_assert_int_eq(journal_write_stored(&w, 2, 3500, &err), 0);
	ck_assert_int_eq(load(&j), 0);
	journal_release(&j);
	f = fopen(path, "r+");
	ck_assert_ptr_nonnull(f);
	fseek(f, 0, SEEK_END);
	size = ftell(f);
	for (long i = 0; i < size; i++) {
		int byte;

		fseek(f, i, SEEK_SET);
		byte = fgetc(f);
		fseek(f, i, SEEK_SET);
		fputc(byte ^ 4, f);
		fflush(f);
		if (journal_load(&j, path, &err) == 0) {
			ck_assert_uint_le(j.stored, 2);
			ck_assert_uint_le(j.blocks[7].acknowledged, 1);
			journal_release(&j);
		}
		fseek(f, i, SEEK_SET);
		fputc(byte, f);
		fflush(f);
	}
	fclose(f);
	unlink(path);
}
END_TEST

Suite *journal_suite(void)
{
	Suite *s = suite_create("journal");
	TCase *t = tcase_create("journal");

	tcase_add_test(t, each_line_moves_its_own_blocks);
	tcase_add_test(t, flush_covers_writes_without_their_lines);
	tcase_add_test(t, ages_count_back_from_the_last_sign_of_life);
	tcase_add_test(t, later_cycle_starts_afresh);
	tcase_add_test(t, nonsense_is_refused);
	tcase_add_test(t, journal_without_a_baseline_is_refused);
	tcase_add_test(t, no_flipped_bit_adds_a_promise);
	suite_add_tcase(s, t);
	return s;
}
