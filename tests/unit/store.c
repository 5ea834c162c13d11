/* measure/store: how each kind of gadget shows what it has stored, and that the rates are those of its card. The truths
 * follow from the model's rows by hand: 2 MB/s for a card that stores beside the link, 1/(1/20 + 1/2) MB/s for one that
 * stores only when it must. */
#include "measure/store.h"

#include <check.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "measure/phases.h"
#include "measure/sweep.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "support/failing_medium.h"

static struct medium *opened(const char *tail)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;
	char text[1200];

	snprintf(text, sizeof text,
		"gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\njitter = 1 %%\n"
		"link:\nspeed = high\nrate = 20 MB/s\ncard:\nread rate = 10 MB/s\nwrite rate = 2 "
		"MB/s\n"
		"firmware:\nunit = request\n%s",
		tail);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(
		!model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), "%s", err.text);
	return m;
}

struct seen {
	struct store_evidence evidence;
	unsigned writes, shown, erring, foreign;
	enum pass_stored_by by;
	double slowest, fastest; /* stored, B/s */
	uint64_t first_at_ns;
};

static int take_pass(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *r, struct error *err)
{
	struct seen *s = context;
	double rate = r->stored_ns ? (double)r->bytes * 1e9 / (double)r->stored_ns : 0;

	(void)number, (void)err;
	s->erring += r->device_errors > 0;
	s->foreign += r->foreign;
	if (!point->write)
		return 0;
	if (!s->writes++)
		s->first_at_ns = at_ns;
	if (!r->stored_by)
		return 0;
	if (!s->shown++)
		s->slowest = s->fastest = rate;
	s->by = r->stored_by;
	s->slowest = rate < s->slowest ? rate : s->slowest;
	s->fastest = rate > s->fastest ? rate : s->fastest;
	return 0;
}

static int take_evidence(void *context, const struct store_evidence *e, struct error *err)
{
	(void)err;
	((struct seen *)context)->evidence = *e;
	return 0;
}

static struct sweep_plan plan_of(uint64_t region_bytes)
{
	return (struct sweep_plan){ .points = { { true, false, 4096 }, { true, true, 32768 } },
		.point_count = 2,
		.passes = 3,
		.in_flight = 1,
		.region_bytes = region_bytes,
		.duration_ns = 200000000,
		.seed = 5 };
}

static struct seen swept(const char *tail)
{
	struct medium *m = opened(tail);
	struct sweep_plan plan = plan_of(64 << 20);
	struct seen seen = { .writes = 0 };
	struct sweep_sink sink = { &seen, take_pass, take_evidence };
	struct error err = { 0 };

	ck_assert_msg(sweep_run(m, &plan, &sink, NULL, &err) == SWEEP_COMPLETE, "%s", err.text);
	medium_close(m);
	return seen;
}

#define BEHIND "write behind = 1Mi\n"
#define PAST "reads = from-buffer\n"
#define CLAIMS "claims:\nwrite cache = yes\n"
#define QUIET "claims:\ncaching page = no\n"

static const struct kind {
	const char *tail;
	enum pass_stored_by by;
	enum flusher_way way;
	bool held_up;
	double rate; /* B/s */
	double buffer; /* bytes; 0: 1 MiB */
} kinds[] = {
	/* It flushes as it should: told by the kernel's flush, or by one of the run's own. */
	{ BEHIND CLAIMS, PASS_STORED_FLUSH, FLUSHER_KERNEL, true, 2e6, 0 },
	{ BEHIND QUIET, PASS_STORED_FLUSH, FLUSHER_COMMAND, true, 2e6, 0 },
	{ BEHIND PAST QUIET, PASS_STORED_FLUSH, FLUSHER_COMMAND, true, 2e6, 0 },
	{ "write behind = 8Mi\n" PAST CLAIMS, PASS_STORED_FLUSH, FLUSHER_KERNEL, true, 2e6,
		8 << 20 },
	/* It does not, but reads wait. */
	{ BEHIND QUIET "synchronize cache = no\n", PASS_STORED_SETTLED, FLUSHER_REFUSED, true, 2e6,
		0 },
	{ BEHIND CLAIMS "faults:\nignore flush = yes\n", PASS_STORED_SETTLED, FLUSHER_KERNEL, true,
		2e6, 0 },
	{ BEHIND CLAIMS "faults:\nflush leaves = 512Ki\n", PASS_STORED_SETTLED, FLUSHER_KERNEL,
		true, 2e6, 0 },
	/* Neither: full, it shows. */
	{ BEHIND PAST QUIET "synchronize cache = no\n", PASS_STORED_STEADY, FLUSHER_REFUSED, true,
		2e6, 0 },
	{ BEHIND PAST CLAIMS "faults:\nignore flush = yes\n", PASS_STORED_STEADY, FLUSHER_KERNEL,
		true, 2e6, 0 },
	{ BEHIND PAST CLAIMS "faults:\nflush leaves = 512Ki\n", PASS_STORED_STEADY, FLUSHER_KERNEL,
		true, 2e6, 0 },
	{ BEHIND PAST QUIET "synchronize cache = no\nfaults:\nunknown command = silence\n",
		PASS_STORED_STEADY, FLUSHER_SILENT, true, 2e6, 0 },
	/* It stores only when it must. */
	{ BEHIND "drain = on-flush\n" CLAIMS, PASS_STORED_STEADY, FLUSHER_KERNEL, true, 20e6 / 11,
		0 },
	{ BEHIND "drain = after-idle\nidle time = 50 ms\n" PAST QUIET, PASS_STORED_STEADY,
		FLUSHER_COMMAND, true, 20e6 / 11, 0 },
	{ BEHIND "drain = on-flush\nwhen full = all\n" PAST QUIET "synchronize cache = no\n",
		PASS_STORED_STEADY, FLUSHER_REFUSED, true, 20e6 / 11, 0 },
	/* No buffer. */
	{ QUIET, PASS_STORED_STEADY, FLUSHER_COMMAND, false, 20e6 / 11, 0 },
	{ "transfer = overlapped\n" QUIET "synchronize cache = no\n", PASS_STORED_STEADY,
		FLUSHER_REFUSED, false, 2e6, 0 },
	/* Filled late in the first look, and full all through a second one that follows at once: it must not. */
	{ "write behind = 6Mi\n" PAST QUIET "synchronize cache = no\n", PASS_STORED_STEADY,
		FLUSHER_REFUSED, true, 2e6, 6 << 20 },
	{ "write behind = 7Mi\n" PAST QUIET "synchronize cache = no\n", PASS_STORED_STEADY,
		FLUSHER_REFUSED, true, 2e6, 7 << 20 },
};

START_TEST(each_kind_shows_in_its_way)
{
	const struct kind *k = &kinds[_i];
	struct seen s = swept(k->tail);

	ck_assert_uint_eq(s.writes, 6);
	ck_assert_msg(s.shown == 6, "%u of 6 are shown", s.shown);
	ck_assert_int_eq(s.evidence.by, k->by);
	ck_assert_int_eq(s.by, k->by);
	ck_assert_int_eq(s.evidence.flusher, k->way);
	ck_assert(s.evidence.held_up == k->held_up);
	if (k->held_up)
		ck_assert_double_eq_tol(
			s.evidence.buffer_bytes / (k->buffer > 0 ? k->buffer : 1 << 20), 1, 0.1);
	ck_assert_double_eq_tol(s.slowest / k->rate, 1, 0.03);
	ck_assert_double_eq_tol(s.fastest / k->rate, 1, 0.03);
}
END_TEST

/* Silence costs the host's patience, a minute, once. */
START_TEST(who_does_not_answer_is_not_asked_again)
{
	struct seen s = swept(
		BEHIND PAST QUIET "synchronize cache = no\nfaults:\nunknown command = silence\n");

	ck_assert_uint_gt(s.first_at_ns, UINT64_C(60000000000));
	ck_assert_uint_lt(s.first_at_ns, UINT64_C(120000000000));
}
END_TEST

/* A single write and its flush: the card begins when the first 512 B are there, 25.6 us after the start, and takes 2 MB/s. A
 * flush that stores nothing returns when the data have crossed the link at 20 MB/s. One that is refused is not timed. */
START_TEST(single_writes_are_timed_with_their_flush)
{
	static const struct {
		const char *tail;
		double small_s, large_s; /* 4 KiB, 32 KiB; 0: not timed */
	} cases[] = {
		{ BEHIND CLAIMS, 25.6e-6 + 4096 / 2e6, 25.6e-6 + 32768 / 2e6 },
		{ BEHIND PAST QUIET, 25.6e-6 + 4096 / 2e6, 25.6e-6 + 32768 / 2e6 },
		{ BEHIND CLAIMS "faults:\nignore flush = yes\n", 4096 / 20e6, 32768 / 20e6 },
		{ BEHIND QUIET "synchronize cache = no\n", 0, 0 },
	};
	const struct store_evidence e = swept(cases[_i].tail).evidence;
	double small_s = (double)e.flushed[0].ns / 1e9, large_s = (double)e.flushed[1].ns / 1e9;

	ck_assert_double_eq_tol(small_s, cases[_i].small_s, 0.03 * cases[_i].small_s + 1e-12);
	ck_assert_double_eq_tol(large_s, cases[_i].large_s, 0.03 * cases[_i].large_s + 1e-12);
	if (cases[_i].small_s > 0) {
		ck_assert_uint_eq(e.flushed[0].request_bytes, 4096);
		ck_assert_uint_eq(e.flushed[1].request_bytes, 32768);
	}
}
END_TEST

/* A buffer twice the size of all that may be written: it is never seen full, and nothing else tells. Whatever is said of
 * its rate is qualified. */
START_TEST(what_cannot_be_seen_is_not_called_stored)
{
	struct medium *m =
		opened("write behind = 8Mi\n" PAST CLAIMS "faults:\nignore flush = yes\n");
	struct sweep_plan plan = plan_of(2 << 20);
	struct seen seen = { .writes = 0 };
	struct sweep_sink sink = { &seen, take_pass, take_evidence };
	struct error err = { 0 };

	ck_assert_int_eq(sweep_run(m, &plan, &sink, NULL, &err), SWEEP_COMPLETE);
	medium_close(m);
	ck_assert_int_ne(seen.by, PASS_STORED_FLUSH);
	ck_assert_int_ne(seen.by, PASS_STORED_SETTLED);
	ck_assert_double_lt(STORE_HIDES * (double)seen.evidence.free_bytes, 8 << 20);
}
END_TEST

START_TEST(a_flush_that_reports_a_failure_ends_the_run)
{
	struct medium *m =
		opened(BEHIND CLAIMS "faults:\nbad range = 33Mi+4Ki\nbad range report = flush\n");
	struct sweep_plan plan = plan_of(64 << 20);
	struct seen seen = { .writes = 0 };
	struct sweep_sink sink = { &seen, take_pass, take_evidence };
	struct error err = { 0 };

	ck_assert_int_eq(sweep_run(m, &plan, &sink, NULL, &err), SWEEP_FAILED);
	ck_assert_ptr_nonnull(strstr(err.text, "flush"));
	medium_close(m);
}
END_TEST

/* A reset while it looks takes what waited with it: nothing that was seen then counts. */
START_TEST(a_reset_while_it_looks_leaves_nothing_shown)
{
	struct seen s = swept(BEHIND CLAIMS "events:\nreset at = 200\n");

	ck_assert_int_eq(s.by, PASS_NOT_SHOWN);
	ck_assert_uint_eq(s.evidence.device_errors, 1);
}
END_TEST

static bool stop_late(void *context)
{
	return --*(int *)context < 0;
}

START_TEST(it_can_be_interrupted_at_any_time)
{
	for (int after = 0; after < 4000; after = after * 2 + 1) {
		struct medium *m = opened(BEHIND PAST QUIET "synchronize cache = no\n");
		struct sweep_plan plan = plan_of(64 << 20);
		struct seen seen = { .writes = 0 };
		struct sweep_sink sink = { &seen, take_pass, take_evidence };
		int left = after;
		struct watch watch = { .context = &left, .stop = stop_late };
		struct error err = { 0 };
		enum sweep_outcome outcome = sweep_run(m, &plan, &sink, &watch, &err);

		ck_assert(
			outcome == SWEEP_INTERRUPTED || (outcome == SWEEP_COMPLETE && after > 100));
		medium_close(m);
	}
}
END_TEST

/* Every call failing in turn, once: the run ends with a sentence, or goes on where a read may fail. */
START_TEST(every_call_may_fail)
{
	static const int errnos[] = { EIO, ENODEV, ENOSPC };
	unsigned failed = 0;

	for (uint64_t nth = 1;; nth = nth < 120 ? nth + 1 : nth + nth / 4) {
		struct failing_plan fails = { .calls = FAILING_READ | FAILING_WRITE |
						       FAILING_FLUSH | FAILING_SCSI,
			.nth = nth,
			.sys_errno = errnos[nth % 3] };
		struct medium *m = medium_failing(opened(BEHIND CLAIMS), &fails);
		struct sweep_plan plan = plan_of(256 << 10);
		struct seen seen = { .writes = 0 };
		struct sweep_sink sink = { &seen, take_pass, take_evidence };
		struct error err = { 0 };
		enum sweep_outcome outcome = sweep_run(m, &plan, &sink, NULL, &err);
		bool hit = medium_failing_hit(m);

		medium_close(m);
		ck_assert_int_ne(outcome, SWEEP_INTERRUPTED);
		ck_assert((outcome == SWEEP_FAILED) == (*err.text != 0));
		failed += outcome == SWEEP_FAILED;
		if (!hit) {
			ck_assert_int_eq(outcome, SWEEP_COMPLETE);
			break;
		}
	}
	ck_assert_uint_gt(failed, 100);
}
END_TEST

/* ---- what the bus shows of flushes ---- */

/* A host that notices the answer to a flush only when the card has stored what waits: a target that ignores flushes and
 * stores at its leisure looks, by the host's clock, just like one that flushes. */
struct late_host {
	struct medium medium;
	struct medium *inner;
	bool sends_none; /* and that sends it no flush at all */
	double backlog, room, drain; /* bytes, bytes, B/s */
	uint64_t at_ns;
};

static void drain(struct late_host *h)
{
	uint64_t now = medium_now_ns(h->inner);

	h->backlog = fmax(0, h->backlog - h->drain * (double)(now - h->at_ns) / 1e9);
	h->at_ns = now;
}

static int late_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	return medium_read(((struct late_host *)m)->inner, at, buf, len, got);
}

static int late_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct late_host *h = (struct late_host *)m;
	int rc = medium_write(h->inner, at, buf, len, got);

	drain(h);
	h->backlog = fmin(h->backlog + (double)len, h->room);
	return rc;
}

static int late_flush(struct medium *m)
{
	struct late_host *h = (struct late_host *)m;
	int rc = h->sends_none ? 0 : medium_flush(h->inner);

	drain(h);
	medium_idle_ns(h->inner, (uint64_t)(h->backlog / h->drain * 1e9));
	return rc;
}

static uint64_t late_now(struct medium *m)
{
	return medium_now_ns(((struct late_host *)m)->inner);
}

static void late_idle(struct medium *m, uint64_t ns)
{
	medium_idle_ns(((struct late_host *)m)->inner, ns);
}

static void late_close(struct medium *m)
{
	medium_close(((struct late_host *)m)->inner);
}

static struct seen swept_late(const char *tail, bool watched, bool sends_none)
{
	static const struct medium_ops ops = { .read = late_read,
		.write = late_write,
		.flush = late_flush,
		.now_ns = late_now,
		.idle_ns = late_idle,
		.close = late_close };
	struct late_host h = {
		.inner = opened(tail), .sends_none = sends_none, .room = 1 << 20, .drain = 2e6
	};
	struct sweep_plan plan = plan_of(64 << 20);
	struct seen seen = { .writes = 0 };
	struct sweep_sink sink = { &seen, take_pass, take_evidence };
	struct error err = { 0 };

	h.medium = (struct medium){ .ops = &ops, .traits = h.inner->traits, .inner = h.inner };
	if (watched)
		ck_assert_int_eq(phases_open(&plan.phases, h.inner, NULL, &err), 0);
	ck_assert_msg(
		sweep_run(&h.medium, &plan, &sink, NULL, &err) == SWEEP_COMPLETE, "%s", err.text);
	phases_close(plan.phases);
	medium_close(&h.medium);
	return seen;
}

START_TEST(a_late_host_is_no_flush)
{
	static const char tail[] = BEHIND PAST CLAIMS "faults:\nignore flush = yes\n";
	struct seen blind = swept_late(tail, false, false), watched = swept_late(tail, true, false);

	ck_assert_int_eq(blind.evidence.by, PASS_STORED_FLUSH); /* the trap is one */
	ck_assert_int_ne(watched.evidence.by, PASS_STORED_FLUSH);
	ck_assert(watched.evidence.on_bus.flush.seen);
	ck_assert_uint_gt(watched.evidence.on_bus.flush.commands, 0);
	ck_assert_uint_lt(command_sum_wait_ns(&watched.evidence.on_bus.flush), 1000000);
	/* And a true flush stays one, also when the host is late. */
	watched = swept_late(BEHIND PAST CLAIMS, true, false);
	ck_assert_int_eq(watched.evidence.by, PASS_STORED_FLUSH);
	ck_assert_double_ge(watched.slowest, 2e6 * 0.97);
	ck_assert_double_le(watched.fastest, 2e6 * 1.03);
}
END_TEST

/* Where none was sent, none has stored anything. */
START_TEST(a_flush_that_never_passed_is_none)
{
	struct seen blind = swept_late(BEHIND PAST CLAIMS, false, true),
		    watched = swept_late(BEHIND PAST CLAIMS, true, true);

	ck_assert_int_eq(blind.evidence.by, PASS_STORED_FLUSH); /* the trap is one */
	ck_assert_int_ne(watched.evidence.by, PASS_STORED_FLUSH);
	ck_assert(watched.evidence.on_bus.flush.seen);
	ck_assert_uint_eq(watched.evidence.on_bus.flush.commands, 0);
}
END_TEST

/* Somebody else uses the disk as well: after so many writes of this run one request of 4 KiB, which the device counts. */
struct shared {
	struct medium medium;
	struct medium *inner;
	unsigned after, writes;
	bool others_write;
};

static int shared_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	return medium_read(((struct shared *)m)->inner, at, buf, len, got);
}

static int shared_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	static unsigned char theirs[4096];
	struct shared *s = (struct shared *)m;
	uint64_t end = s->inner->traits.size_bytes - sizeof theirs;
	size_t done;

	if (++s->writes == s->after && s->others_write)
		ck_assert_int_eq(medium_write(s->inner, end, theirs, sizeof theirs, &done), 0);
	else if (s->writes == s->after)
		ck_assert_int_eq(medium_read(s->inner, end, theirs, sizeof theirs, &done), 0);
	return medium_write(s->inner, at, buf, len, got);
}

static int shared_flush(struct medium *m)
{
	return medium_flush(((struct shared *)m)->inner);
}

static int shared_scsi(struct medium *m, struct scsi_exchange *x)
{
	return medium_scsi(((struct shared *)m)->inner, x);
}

static int shared_counts(struct medium *m, struct medium_counts *counts)
{
	return medium_counts(((struct shared *)m)->inner, counts);
}

static uint64_t shared_now(struct medium *m)
{
	return medium_now_ns(((struct shared *)m)->inner);
}

static void shared_idle(struct medium *m, uint64_t ns)
{
	medium_idle_ns(((struct shared *)m)->inner, ns);
}

static void shared_close(struct medium *m)
{
	medium_close(((struct shared *)m)->inner);
}

static struct seen swept_shared(const char *tail, unsigned after, bool others_write)
{
	static const struct medium_ops ops = { .read = shared_read,
		.write = shared_write,
		.flush = shared_flush,
		.scsi = shared_scsi,
		.counts = shared_counts,
		.now_ns = shared_now,
		.idle_ns = shared_idle,
		.close = shared_close };
	struct shared m = { .inner = opened(tail), .after = after, .others_write = others_write };
	struct sweep_plan plan = plan_of(64 << 20);
	struct seen seen = { .writes = 0 };
	struct sweep_sink sink = { &seen, take_pass, take_evidence };
	struct error err = { 0 };

	m.medium = (struct medium){ .ops = &ops, .traits = m.inner->traits, .inner = m.inner };
	ck_assert_msg(
		sweep_run(&m.medium, &plan, &sink, NULL, &err) == SWEEP_COMPLETE, "%s", err.text);
	ck_assert_uint_gt(m.writes, after);
	medium_close(&m.medium);
	return seen;
}

/* What others ask of the disk waits with what this run wrote, or makes it wait: what was seen then shows nothing. */
START_TEST(others_while_it_looks_leave_nothing_shown)
{
	static const char *const tails[] = { BEHIND CLAIMS, BEHIND QUIET "synchronize cache = no\n",
		QUIET };

	for (size_t i = 0; i < sizeof tails / sizeof *tails; i++) {
		struct seen alone = swept_shared(tails[i], 0, false);

		ck_assert(!alone.evidence.foreign);
		ck_assert_int_ne(alone.by, PASS_NOT_SHOWN);
		for (int write = 0; write < 2; write++) {
			struct seen s = swept_shared(tails[i], 50, write);

			ck_assert(s.evidence.foreign);
			ck_assert_int_eq(s.evidence.by, PASS_NOT_SHOWN);
			ck_assert_uint_eq(s.shown, 0);
		}
	}
}
END_TEST

/* Nor does what the kernel asks again after an error, which nobody else asked for. A write that is stored whole and said to
 * lack a block goes out again. */
START_TEST(what_is_asked_again_is_nobody_elses)
{
	struct seen s = swept(BEHIND CLAIMS "faults:\nwrong residue = 1 in 20\n");

	ck_assert_uint_gt(s.erring, 0);
	ck_assert_uint_eq(s.foreign, 0);
	ck_assert_uint_gt(s.evidence.device_errors, 0);
	ck_assert(!s.evidence.foreign);
	ck_assert_int_eq(s.evidence.by, PASS_NOT_SHOWN);
}
END_TEST

Suite *store_suite(void)
{
	Suite *s = suite_create("store");
	TCase *c = tcase_create("store");

	tcase_set_timeout(c, 120);
	tcase_add_loop_test(c, each_kind_shows_in_its_way, 0, sizeof kinds / sizeof *kinds);
	tcase_add_test(c, who_does_not_answer_is_not_asked_again);
	tcase_add_loop_test(c, single_writes_are_timed_with_their_flush, 0, 4);
	tcase_add_test(c, what_cannot_be_seen_is_not_called_stored);
	tcase_add_test(c, a_flush_that_reports_a_failure_ends_the_run);
	tcase_add_test(c, a_reset_while_it_looks_leaves_nothing_shown);
	tcase_add_test(c, it_can_be_interrupted_at_any_time);
	tcase_add_test(c, every_call_may_fail);
	tcase_add_test(c, others_while_it_looks_leave_nothing_shown);
	tcase_add_test(c, what_is_asked_again_is_nobody_elses);
	tcase_add_test(c, a_late_host_is_no_flush);
	tcase_add_test(c, a_flush_that_never_passed_is_none);
	suite_add_tcase(s, c);
	return s;
}
