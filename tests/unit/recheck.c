/* recheck: every kind of broken promise is found where it is, and nothing else. */
#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "integrity/recheck.h"
#include "integrity/stamp.h"
#include "support/cut_run.h"

static struct cut_run c;
static struct journal j;
static struct error err;

static void cut_once(enum journal_promise promise)
{
	err = (struct error){ 0 };
	cut_run_begin(&c, 31, 150, promise, 0);
	ck_assert_msg(journal_load(&j, c.path, &err) == 0, "%s", err.text);
}

static void done(void)
{
	journal_release(&j);
	cut_run_end(&c);
}

enum pick { FLUSHED, ACKNOWLEDGED, IN_FLIGHT, UNTOUCHED };

/* The first block of that kind. */
static size_t find(enum pick p)
{
	for (size_t i = 1; i + 1 < j.block_count; i++) {
		const struct journal_block *b = &j.blocks[i];
		bool settled = b->announced == b->acknowledged;

		if ((p == FLUSHED && settled && b->stored == b->announced && b->stored > 2) ||
			(p == ACKNOWLEDGED && settled && b->acknowledged > b->stored) ||
			(p == IN_FLIGHT && b->announced > b->acknowledged) ||
			(p == UNTOUCHED && b->announced == CUT_BASELINE))
			return i;
	}
	ck_abort_msg("no such block in this run");
	return 0;
}

static struct recheck_result check(void)
{
	struct recheck_result r;

	ck_assert_msg(recheck_run(&c.ram->medium, &j, NULL, &r, &err) == 0, "%s", err.text);
	return r;
}

static void write_stamp(size_t block, uint64_t as_offset, uint32_t generation)
{
	struct stamp s;

	stamp_init(&s, j.cycle.seed, CUT_RUN_BLOCK);
	stamp_fill(&s, c.ram->bytes + block * CUT_RUN_BLOCK, as_offset, generation);
}

static void expect_one(enum recheck_duty duty, const char *kind, size_t block)
{
	struct recheck_result r = check();

	ck_assert_uint_eq(recheck_broken(&r), 1);
	ck_assert_uint_eq(r.broken[duty], 1);
	ck_assert_uint_eq(r.damage_count, 1);
	ck_assert_str_eq(r.damages[0].kind, kind);
	ck_assert_uint_eq(r.damages[0].at, block * CUT_RUN_BLOCK);
	ck_assert_uint_eq(r.damages[0].bytes, CUT_RUN_BLOCK);
	ck_assert_int_eq(r.damages[0].duty, duty);
	ck_assert_uint_eq(
		r.promises_broken, j.blocks[block].stored > 1 || duty == RECHECK_ACKNOWLEDGED);
	recheck_result_release(&r);
}

START_TEST(lost_promise)
{
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(FLUSHED);
	write_stamp(b, b * CUT_RUN_BLOCK, j.blocks[b].stored - 1);
	expect_one(RECHECK_FLUSHED, "lost", b);
	done();
}
END_TEST

START_TEST(lost_answer_counts_only_without_a_write_cache)
{
	struct recheck_result r;
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(ACKNOWLEDGED);
	write_stamp(b, b * CUT_RUN_BLOCK, CUT_BASELINE);
	if (j.blocks[b].stored == CUT_BASELINE) {
		r = check();
		ck_assert_uint_eq(recheck_broken(&r), 0);
		ck_assert_uint_eq(r.forgotten, 1);
		recheck_result_release(&r);
	}
	j.cycle.promise = PROMISE_ACKNOWLEDGED;
	expect_one(RECHECK_ACKNOWLEDGED, "lost", b);
	done();
}
END_TEST

START_TEST(torn_block_under_way)
{
	unsigned char old[CUT_RUN_BLOCK];
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(IN_FLIGHT);
	memcpy(old, c.ram->bytes + b * CUT_RUN_BLOCK, sizeof old);
	write_stamp(b, b * CUT_RUN_BLOCK, j.blocks[b].announced);
	memcpy(c.ram->bytes + b * CUT_RUN_BLOCK + 200, old + 200, CUT_RUN_BLOCK - 200);
	expect_one(RECHECK_IN_FLIGHT, "torn", b);
	done();
}
END_TEST

START_TEST(new_block_under_way_is_fine)
{
	struct recheck_result r;
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(IN_FLIGHT);
	write_stamp(b, b * CUT_RUN_BLOCK, j.blocks[b].announced);
	r = check();
	ck_assert_uint_eq(recheck_broken(&r), 0);
	ck_assert_uint_ge(r.in_flight_new, 1);
	recheck_result_release(&r);
	/* One that was never announced is not. */
	write_stamp(b, b * CUT_RUN_BLOCK, j.blocks[b].announced + 1);
	r = check();
	ck_assert_uint_eq(recheck_broken(&r), 1);
	recheck_result_release(&r);
	done();
}
END_TEST

START_TEST(damaged_neighbour)
{
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(UNTOUCHED);
	memset(c.ram->bytes + b * CUT_RUN_BLOCK, 0xff, CUT_RUN_BLOCK);
	expect_one(RECHECK_UNTOUCHED, "blank", b);
	write_stamp(b, (b - 1) * CUT_RUN_BLOCK, CUT_BASELINE);
	expect_one(RECHECK_UNTOUCHED, "misplaced", b);
	write_stamp(b, b * CUT_RUN_BLOCK, CUT_BASELINE);
	c.ram->bytes[b * CUT_RUN_BLOCK + 300] ^= 16;
	expect_one(RECHECK_UNTOUCHED, "bit-error", b);
	done();
}
END_TEST

START_TEST(unreadable_promise)
{
	size_t b;

	cut_once(PROMISE_FLUSHED);
	b = find(FLUSHED);
	c.ram->bad_from = b * CUT_RUN_BLOCK;
	c.ram->bad_to = (b + 1) * CUT_RUN_BLOCK;
	expect_one(RECHECK_FLUSHED, "unreadable", b);
	done();
}
END_TEST

START_TEST(target_that_answers_nothing_gets_no_verdict)
{
	struct recheck_result r;

	cut_once(PROMISE_FLUSHED);
	c.ram->bad_to = CUT_RUN_BYTES;
	ck_assert_int_eq(recheck_run(&c.ram->medium, &j, NULL, &r, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	done();
}
END_TEST

/* At the last but one of the blocks that are read one by one; nobody notices in so many looks, and it lasts so many calls (0: for
 * good). */
static void silence(uint64_t checks, uint64_t calls)
{
	c.ram->gone_after = c.ram->reads + c.ram->writes + c.ram->flushes + 8 +
			    CUT_RUN_BYTES / CUT_RUN_BLOCK / 8 - 1;
	c.ram->back_after = calls ? c.ram->gone_after + calls : 0;
	c.ram->gone_checks = checks;
}

/* Which refuses to read for a moment before the kernel knows that it is gone. */
START_TEST(target_that_goes_away_gets_no_verdict)
{
	struct recheck_result r;

	cut_once(PROMISE_FLUSHED);
	c.ram->medium.traits.kind = MEDIUM_BLOCK_DEVICE;
	/* The last block makes it read the last of 8 chunks one by one; at the last but one it goes silent, ... */
	c.ram->bad_from = CUT_RUN_BYTES - CUT_RUN_BLOCK;
	c.ram->bad_to = CUT_RUN_BYTES;
	c.ram->gone_errno = EIO;
	silence(UINT64_MAX, 0);
	ck_assert_int_eq(recheck_run(&c.ram->medium, &j, NULL, &r, &err), -1);
	ck_assert_msg(
		strstr(err.text, "refused even what it served before") != NULL, "%s", err.text);
	/* ... for a while: then only the last block is unreadable, ... */
	silence(UINT64_MAX, 60);
	ck_assert_msg(recheck_run(&c.ram->medium, &j, NULL, &r, &err) == 0, "%s", err.text);
	ck_assert_uint_eq(r.damage_count, 1);
	recheck_result_release(&r);
	/* ... or, after 9 s of it, is gone. */
	silence(180, 0);
	ck_assert_int_eq(recheck_run(&c.ram->medium, &j, NULL, &r, &err), -1);
	ck_assert_msg(strstr(err.text, "is gone") != NULL, "%s", err.text);
	done();
}
END_TEST

/* ---- a journal that lost lines ---- */

enum { JOURNAL_MAX = 1 << 20 };

static char journal_bytes[JOURNAL_MAX];
static size_t journal_length;

static void read_journal(void)
{
	FILE *f = fopen(c.path, "r");

	ck_assert_ptr_nonnull(f);
	journal_length = fread(journal_bytes, 1, JOURNAL_MAX - 1, f);
	ck_assert_uint_lt(journal_length, JOURNAL_MAX - 1);
	journal_bytes[journal_length] = 0;
	fclose(f);
}

/* Without the lines of one kind, or all from line `first` to before line `end` (from 1). */
static void write_journal_without(const char *kind, size_t first, size_t end)
{
	FILE *f = fopen(c.path, "w");
	size_t number = 1;

	ck_assert_ptr_nonnull(f);
	for (const char *at = journal_bytes; *at; number++) {
		size_t length = strcspn(at, "\n") + 1;
		const char *word = strchr(at, ' ') + 1;
		bool gone = kind ? !strncmp(word, kind, strlen(kind)) && word[strlen(kind)] == ' '
				 : number >= first && number < end;

		if (!gone)
			fwrite(at, 1, length, f);
		at += length;
	}
	ck_assert_int_eq(fclose(f), 0);
}

static size_t count_lines(void)
{
	size_t lines = 0;

	for (const char *at = journal_bytes; *at; lines++)
		at = strchr(at, '\n') + 1;
	return lines;
}

/* Refused, or a verdict other than kept. */
static void expect_no_kept(const char *what)
{
	struct recheck_result r;

	journal_release(&j);
	if (journal_load(&j, c.path, &err) < 0)
		return;
	r = check();
	ck_assert_msg(recheck_conclude(&r) != RECHECK_KEPT, "kept, without %s", what);
	recheck_result_release(&r);
}

/* The flushed data is gone. Whatever lines are missing, nobody hears that it was kept. */
START_TEST(no_missing_line_makes_a_broken_promise_kept)
{
	static const char *const kinds[] = { "stored", "flush", "done", "intend", "ready", "stop" };
	size_t lines;

	cut_once(PROMISE_FLUSHED);
	for (size_t b = 0; b < j.block_count; b++)
		if (j.blocks[b].stored > CUT_BASELINE)
			write_stamp(b, b * CUT_RUN_BLOCK, CUT_BASELINE);
	read_journal();
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		write_journal_without(kinds[i], 0, 0);
		expect_no_kept(kinds[i]);
	}
	lines = count_lines();
	ck_assert_uint_gt(lines, 100);
	for (size_t n = 1; n <= lines; n++) {
		char what[64];

		snprintf(what, sizeof what, "line %zu", n);
		write_journal_without(NULL, n, n + 1);
		expect_no_kept(what);
		snprintf(what, sizeof what, "lines from %zu on", n);
		write_journal_without(NULL, n, lines + 1);
		expect_no_kept(what);
	}
	done();
}
END_TEST

/* Nothing is lost here: a journal without its end accuses nobody either. */
START_TEST(no_missing_end_accuses_a_target_that_kept_all)
{
	struct recheck_result r;
	size_t judged = 0, beyond = 0;

	cut_once(PROMISE_FLUSHED);
	read_journal();
	for (size_t from = count_lines(); from > 3; from--) {
		write_journal_without(NULL, from, SIZE_MAX);
		journal_release(&j);
		if (journal_load(&j, c.path, &err) < 0)
			continue;
		r = check();
		ck_assert(r.unended);
		ck_assert_uint_eq(recheck_broken(&r), 0);
		ck_assert_int_eq(recheck_conclude(&r), RECHECK_NOT_SHOWN);
		judged++;
		beyond += r.beyond > 0;
		recheck_result_release(&r);
	}
	ck_assert_uint_gt(judged, 100);
	ck_assert_uint_gt(beyond, 20);
	done();
}
END_TEST

/* Not one of what was written and not promised is there. */
static void lose_all_unpromised(void)
{
	for (size_t b = 0; b < j.block_count; b++)
		if (j.blocks[b].announced > j.blocks[b].stored)
			write_stamp(b, b * CUT_RUN_BLOCK, j.blocks[b].stored);
}

/* A block of that write which was acknowledged and not promised; the nth of them. */
static size_t block_of(uint32_t write, size_t nth)
{
	for (size_t b = 0; b < j.block_count; b++)
		if (j.blocks[b].acknowledged == write && j.blocks[b].announced == write &&
			j.blocks[b].stored < write && !nth--)
			return b;
	return SIZE_MAX;
}

static bool order_is_kept(void)
{
	struct recheck_result r = check();
	bool kept = r.order_kept;

	ck_assert_uint_eq(recheck_broken(&r), 0);
	ck_assert_uint_gt(r.forgotten, 0);
	recheck_result_release(&r);
	return kept;
}

START_TEST(half_of_a_write_is_no_later_one)
{
	uint32_t earlier = 0, later = 0;

	cut_once(PROMISE_FLUSHED);
	for (uint32_t n = CUT_BASELINE + 1; n <= j.announced; n++) {
		if (!earlier && block_of(n, 1) != SIZE_MAX)
			earlier = n;
		else if (earlier && block_of(n, 0) != SIZE_MAX)
			later = n;
	}
	ck_assert_uint_gt(earlier, 0);
	ck_assert_uint_gt(later, earlier);
	lose_all_unpromised();
	ck_assert(order_is_kept());
	/* One block of the earlier write is there, another is not. */
	write_stamp(block_of(earlier, 0), block_of(earlier, 0) * CUT_RUN_BLOCK, earlier);
	ck_assert(order_is_kept());
	write_stamp(block_of(later, 0), block_of(later, 0) * CUT_RUN_BLOCK, later);
	ck_assert(!order_is_kept());
	done();
}
END_TEST

Suite *recheck_suite(void)
{
	Suite *s = suite_create("recheck");
	TCase *t = tcase_create("recheck");

	tcase_add_test(t, lost_promise);
	tcase_add_test(t, lost_answer_counts_only_without_a_write_cache);
	tcase_add_test(t, torn_block_under_way);
	tcase_add_test(t, new_block_under_way_is_fine);
	tcase_add_test(t, damaged_neighbour);
	tcase_add_test(t, unreadable_promise);
	tcase_add_test(t, target_that_answers_nothing_gets_no_verdict);
	tcase_add_test(t, target_that_goes_away_gets_no_verdict);
	tcase_add_test(t, no_missing_line_makes_a_broken_promise_kept);
	tcase_add_test(t, no_missing_end_accuses_a_target_that_kept_all);
	tcase_add_test(t, half_of_a_write_is_no_later_one);
	suite_add_tcase(s, t);
	return s;
}
