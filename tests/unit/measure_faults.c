/* Passes and sweeps with every single call failing in turn: whatever fails is said, and what was measured before it stays. */
#include <check.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "measure/sweep.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"

enum { REGION = 256 * 1024, REQUEST = 4096 };

/* ---- a medium in memory with a clock of its own ---- */

static uint64_t clock_ns;
static int (*ram_read)(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got);
static int (*ram_write)(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got);

static int timed_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	clock_ns += 1000000;
	return ram_read(m, at, buf, len, got);
}

static int timed_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	clock_ns += 1000000;
	return ram_write(m, at, buf, len, got);
}

static int counts(struct medium *m, struct medium_counts *c)
{
	const struct ram_medium *r = (struct ram_medium *)m;

	*c = (struct medium_counts){ .reads = r->reads,
		.read_bytes = r->reads * REQUEST,
		.writes = r->writes,
		.written_bytes = r->writes * REQUEST,
		.flushes = r->flushes };
	return 0;
}

static uint64_t now_ns(struct medium *m)
{
	(void)m;
	return clock_ns;
}

static void idle_ns(struct medium *m, uint64_t ns)
{
	(void)m;
	clock_ns += ns;
}

static void move_clock_ns(struct medium *m, uint64_t ns)
{
	(void)m;
	clock_ns = ns;
}

/* It fails as the plan says; *inner is the one below. */
static struct medium *failing_ram(const struct failing_plan *plan, struct ram_medium **inner)
{
	static struct medium_ops ops;
	struct ram_medium *r = ram_medium_new(REGION, 512, true);
	struct medium *m;

	ops = *r->medium.ops;
	ram_read = ops.read;
	ram_write = ops.write;
	ops.read = timed_read;
	ops.write = timed_write;
	ops.counts = counts;
	ops.now_ns = now_ns;
	ops.idle_ns = idle_ns;
	ops.move_clock_ns = move_clock_ns;
	r->medium.ops = &ops;
	clock_ns = 0;
	m = medium_failing(&r->medium, plan);
	ck_assert_ptr_nonnull(m);
	if (inner)
		*inner = r;
	return m;
}

static const struct fault {
	enum failing_calls calls;
	int code; /* 0: a short transfer */
	const char *word; /* what the sentence must say */
} faults[] = {
	{ FAILING_READ, EIO, "read of 4 KiB at byte " },
	{ FAILING_READ, 0, "short read at byte " },
	{ FAILING_READ, ENODEV, "the target is gone" },
	{ FAILING_WRITE, EIO, "write of 4 KiB at byte " },
	{ FAILING_WRITE, 0, "short write at byte " },
	{ FAILING_WRITE, ENOSPC, "write of 4 KiB at byte " },
	{ FAILING_FLUSH, EIO, "flush" },
	{ FAILING_FLUSH, ENODEV, "flush" },
	{ FAILING_FLUSH, EINTR, "flush" },
};

enum { FAULTS = sizeof faults / sizeof *faults };

static struct failing_plan plan_of(const struct fault *f, uint64_t nth, enum failing_for lasts)
{
	return (struct failing_plan){ .calls = f->calls,
		.nth = nth,
		.lasts = lasts,
		.sys_errno = f->code,
		.short_bytes = 512 };
}

/* ---- one pass ---- */

static struct pass_result *run_pass(struct medium *m, bool write, unsigned in_flight)
{
	const struct pass_plan plan = { .write = write,
		.random = true,
		.request_bytes = REQUEST,
		.in_flight = in_flight,
		.region_bytes = REGION,
		.duration_ns = 20000000,
		.seed = 7 };
	struct pass_result *r = malloc(sizeof *r);
	struct pass_buffers b;

	ck_assert_ptr_nonnull(r);
	ck_assert_int_eq(pass_buffers_init(&b, m, REQUEST, in_flight), 0);
	ck_assert_int_eq(pass_run(m, &plan, &b, r, NULL), 0);
	pass_buffers_release(&b);
	return r;
}

/* all: requests of a pass in which nothing fails. */
static void check_pass(
	const struct fault *f, bool hit, const struct pass_result *r, uint64_t nth, uint64_t all)
{
	ck_assert_uint_eq(r->failure.failed, hit);
	if (!hit) {
		ck_assert_uint_eq(r->requests, all);
		return;
	}
	ck_assert_int_eq(r->failure.code, -f->code);
	ck_assert_uint_eq(r->failure.flush, f->calls == FAILING_FLUSH);
	/* Requests before the failed one count, and their bytes; a failed flush takes none of them back. */
	ck_assert_uint_eq(r->requests, f->calls == FAILING_FLUSH ? all : nth - 1);
	ck_assert_uint_eq(r->bytes, r->requests * REQUEST);
}

START_TEST(a_failing_call_ends_the_pass_and_is_told)
{
	for (size_t i = 0; i < FAULTS; i++) {
		for (unsigned in_flight = 1; in_flight <= 3; in_flight += 2) {
			for (uint64_t nth = 1;; nth++) {
				struct failing_plan plan = plan_of(&faults[i], nth, FAIL_ONCE);
				struct medium *m = failing_ram(&plan, NULL);
				struct pass_result *r =
					run_pass(m, faults[i].calls != FAILING_READ, in_flight);
				bool hit = medium_failing_hit(m);

				check_pass(&faults[i], hit, r, nth, 20 * in_flight);
				free(r);
				medium_close(m);
				if (!hit)
					break;
			}
		}
	}
}
END_TEST

/* The device's own counts may fail at any moment: then nothing is said about them, and nothing wrong. */
START_TEST(failing_counts_are_unknown_counts)
{
	for (uint64_t nth = 1;; nth++) {
		struct failing_plan plan = {
			.calls = FAILING_COUNTS, .nth = nth, .lasts = FAIL_LASTING, .sys_errno = EIO
		};
		struct medium *m = failing_ram(&plan, NULL);
		struct pass_result *r = run_pass(m, true, 1);
		bool hit = medium_failing_hit(m);

		ck_assert(!r->failure.failed && !r->foreign);
		ck_assert_uint_eq(r->requests, 20);
		ck_assert(hit || r->device_known);
		if (r->device_known)
			ck_assert_uint_eq(r->device_requests, 20);
		free(r);
		medium_close(m);
		if (!hit)
			break;
	}
}
END_TEST

/* ---- a sweep ---- */

struct seen {
	uint64_t passes, failed;
};

static int note_pass(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *result, struct error *err)
{
	struct seen *s = context;

	(void)point, (void)number, (void)at_ns, (void)err;
	s->passes++;
	s->failed += result->failure.failed;
	return 0;
}

static enum sweep_outcome run_sweep(struct medium *m, struct seen *seen, struct error *err)
{
	const struct sweep_plan plan = { .points = { { true, false, REQUEST },
						 { false, true, REQUEST } },
		.point_count = 2,
		.passes = 2,
		.in_flight = 1,
		.region_bytes = REGION,
		.duration_ns = 5000000,
		.seed = 3 };
	struct sweep_sink sink = { .context = seen, .pass = note_pass };

	*seen = (struct seen){ 0 };
	*err = (struct error){ 0 };
	return sweep_run(m, &plan, &sink, NULL, err);
}

START_TEST(a_failing_call_ends_the_sweep_with_a_sentence)
{
	for (size_t i = 0; i < 2 * FAULTS; i++) {
		const struct fault *f = &faults[i / 2];

		for (uint64_t nth = 1;; nth++) {
			struct failing_plan plan =
				plan_of(f, nth, i % 2 ? FAIL_LASTING : FAIL_ONCE);
			struct medium *m = failing_ram(&plan, NULL);
			struct error err;
			struct seen seen;
			enum sweep_outcome outcome = run_sweep(m, &seen, &err);
			bool hit = medium_failing_hit(m);

			medium_close(m);
			if (!hit) {
				ck_assert_int_eq(outcome, SWEEP_COMPLETE);
				ck_assert_int_eq(err.kind, ERROR_NONE);
				ck_assert_uint_eq(seen.passes, 4);
				ck_assert_uint_eq(seen.failed, 0);
				break;
			}
			ck_assert_int_eq(outcome, SWEEP_FAILED);
			ck_assert_int_eq(err.kind, ERROR_IO);
			ck_assert_msg(strstr(err.text, f->word) != NULL, "'%s' lacks '%s'",
				err.text, f->word);
			/* The pass that failed is handed over too, last. */
			ck_assert_uint_eq(seen.failed, 1);
		}
	}
}
END_TEST

static int note_evidence(void *context, const struct store_evidence *e, struct error *err)
{
	(void)context, (void)e, (void)err;
	return 0;
}

/* Gone in the middle of whatever it is: looked at for evidence, timed, flushed. */
START_TEST(a_target_that_goes_away_is_said_to_be_gone)
{
	static const struct sweep_plan plan = { .points = { { true, false, REQUEST } },
		.point_count = 1,
		.passes = 2,
		.in_flight = 1,
		.region_bytes = REGION,
		.duration_ns = 5000000,
		.seed = 3 };
	enum sweep_outcome outcome = SWEEP_FAILED;

	for (uint64_t n = 1; outcome != SWEEP_COMPLETE; n += 1 + n / 16) {
		struct failing_plan never = { 0 };
		struct ram_medium *ram;
		struct medium *m = failing_ram(&never, &ram);
		struct seen seen = { 0 };
		struct sweep_sink sink = {
			.context = &seen, .pass = note_pass, .evidence = note_evidence
		};
		struct error err = { 0 };

		ram->gone_after = n;
		ram->gone_errno = n % 2 ? EIO : ENOMEDIUM;
		outcome = sweep_run(m, &plan, &sink, NULL, &err);
		ck_assert_msg(outcome == SWEEP_COMPLETE || strstr(err.text, "'memory' is gone"),
			"gone after %llu calls: '%s'", (unsigned long long)n, err.text);
		medium_close(m);
	}
}
END_TEST

Suite *measure_faults_suite(void)
{
	Suite *s = suite_create("measure_faults");
	TCase *t = tcase_create("measure_faults");

	tcase_add_test(t, a_failing_call_ends_the_pass_and_is_told);
	tcase_add_test(t, failing_counts_are_unknown_counts);
	tcase_add_test(t, a_failing_call_ends_the_sweep_with_a_sentence);
	tcase_add_test(t, a_target_that_goes_away_is_said_to_be_gone);
	suite_add_tcase(s, t);
	return s;
}
