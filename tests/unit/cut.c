/* cut: what it writes and what it journals, up to a cut at any call. */
#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "integrity/cut.h"
#include "integrity/recheck.h"
#include "integrity/stamp.h"
#include "support/cut_run.h"

START_TEST(plan_stays_out_of_fences_and_can_be_repeated)
{
	struct cut_plan a, b;
	struct cut_write x, y;
	uint64_t cell = cut_plan_cell_bytes(512), flushes = 0, throughs = 0, pauses = 0;

	cut_plan_init(&a, 77, 4096, 5 * cell + 3 * 512, 512);
	cut_plan_init(&b, 77, 4096, 5 * cell + 3 * 512, 512);
	for (uint32_t i = 0; i < 20000; i++) {
		uint64_t inside;

		cut_plan_next(&a, &x);
		cut_plan_next(&b, &y);
		ck_assert_uint_eq(x.number, i + 2);
		ck_assert_uint_eq(x.at, y.at);
		ck_assert_uint_eq(x.bytes, y.bytes);
		ck_assert(x.bytes && x.bytes % 512 == 0 && x.bytes <= 65536);
		ck_assert_uint_ge(x.at, 4096);
		ck_assert_uint_le(x.at + x.bytes, 4096 + 5 * cell);
		inside = (x.at - 4096) % cell;
		ck_assert_uint_le(inside + x.bytes, cell - cell / 8);
		flushes += x.flush;
		throughs += x.through;
		pauses += x.pause_ns > 0;
	}
	/* Rates as documented in cut_plan.c: one in 2..32, 1..32, 32. */
	ck_assert_uint_gt(flushes, 20000 / 32);
	ck_assert_uint_lt(flushes, 20000 / 2);
	ck_assert_uint_gt(throughs, 20000 / 32);
	ck_assert_uint_lt(throughs, 20000);
	ck_assert_uint_gt(pauses, 300);
}
END_TEST

START_TEST(plan_works_on_large_blocks)
{
	struct cut_plan p;
	struct cut_write w;

	cut_plan_init(&p, 1, 0, cut_plan_cell_bytes(65536), 65536);
	for (int i = 0; i < 1000; i++) {
		cut_plan_next(&p, &w);
		ck_assert_uint_eq(w.bytes % 65536, 0);
		ck_assert_uint_le(w.at + w.bytes, cut_plan_cell_bytes(65536));
	}
}
END_TEST

/* A target that keeps every byte it took is never accused, at whatever call it is cut. */
START_TEST(cut_at_every_call_breaks_no_promise)
{
	uint64_t promises = 0, unready = 0;

	for (uint64_t n = 1; n < 200; n += n < 20 ? 1 : 2 + n % 2) {
		struct recheck_result r;
		struct error err = { 0 };
		struct cut_run c;
		struct journal j;

		cut_run_begin(&c, n, n, n % 3 ? PROMISE_FLUSHED : PROMISE_ACKNOWLEDGED, 0);
		ck_assert_int_eq(c.summary.ending, CUT_GONE);
		if (!c.summary.ready) {
			unready++;
			ck_assert_int_eq(journal_load(&j, c.path, &err), -1);
			ck_assert_int_eq(err.kind, ERROR_USAGE);
			cut_run_end(&c);
			continue;
		}
		ck_assert_msg(journal_load(&j, c.path, &err) == 0, "%s", err.text);
		ck_assert_str_eq(j.stop, "gone");
		/* Only what the target answered is in there, also when the cut came at a flush. */
		ck_assert_uint_eq(j.flushes, c.summary.flushes);
		ck_assert_uint_eq(j.writes, c.summary.writes);
		ck_assert_msg(recheck_run(&c.ram->medium, &j, NULL, &r, &err) == 0, "%s", err.text);
		ck_assert_uint_eq(recheck_broken(&r), 0);
		ck_assert_uint_eq(r.promises_broken, 0);
		ck_assert(r.complete);
		promises += r.promises;
		recheck_result_release(&r);
		journal_release(&j);
		cut_run_end(&c);
	}
	/* The baseline takes 8 writes and a flush. */
	ck_assert_uint_eq(unready, 9);
	ck_assert_uint_gt(promises, 1500);
}
END_TEST

START_TEST(time_ends_a_cut)
{
	struct error err = { 0 };
	struct cut_run c;
	struct journal j;

	cut_run_begin(&c, 5, 0, PROMISE_FLUSHED, 50000000);
	ck_assert_int_eq(c.summary.ending, CUT_TIME_UP);
	ck_assert_uint_gt(c.summary.writes, 1);
	ck_assert_int_eq(journal_load(&j, c.path, &err), 0);
	ck_assert_uint_eq(j.writes, c.summary.writes);
	ck_assert_uint_eq(j.flushes, c.summary.flushes);
	ck_assert_str_eq(j.stop, "time");
	journal_release(&j);
	cut_run_end(&c);
}
END_TEST

/* What the kernel counts before the cut is told of a target that is gone as well, and its end is no such error. */
START_TEST(errors_before_the_cut_are_told)
{
	static const struct {
		uint64_t at, told;
	} cases[] = { { 40, 3 }, { 300, 0 }, { 5, 0 } }; /* 5: amid the baseline */

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct cut_run c;

		cut_run_begin_disturbed(&c, 3, 300, cases[i].at);
		ck_assert_int_eq(c.summary.ending, CUT_GONE);
		ck_assert_uint_eq(c.summary.device_errors, cases[i].told);
		cut_run_end(&c);
	}
}
END_TEST

Suite *cut_suite(void)
{
	Suite *s = suite_create("cut");
	TCase *t = tcase_create("cut");

	tcase_add_test(t, plan_stays_out_of_fences_and_can_be_repeated);
	tcase_add_test(t, plan_works_on_large_blocks);
	tcase_add_test(t, cut_at_every_call_breaks_no_promise);
	tcase_add_test(t, time_ends_a_cut);
	tcase_add_test(t, errors_before_the_cut_are_told);
	suite_add_tcase(s, t);
	return s;
}
