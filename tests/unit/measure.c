/* measure: histogram, orders of offsets, payload, and the loop on a medium with a clock the test moves by hand. */
#include <check.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "base/error.h"
#include "base/random.h"
#include "measure/histogram.h"
#include "measure/offsets.h"
#include "measure/payload.h"
#include "measure/store.h"
#include "measure/sweep.h"
#include "medium/medium.h"
#include "support/ram_medium.h"

START_TEST(histogram_bins_are_narrow)
{
	struct random r = { 7 };

	for (int i = 0; i < 200000; i++) {
		uint64_t v = random_next(&r) >> random_below(&r, 64), up;

		ck_assert_uint_lt(histogram_bin(v), HISTOGRAM_BINS);
		up = histogram_bin_upper(histogram_bin(v));
		ck_assert_uint_ge(up, v);
		ck_assert((double)(up - v) <= 0.008 * (double)v);
		/* the upper end belongs to the bin, the next value does not */
		ck_assert_uint_eq(histogram_bin(up), histogram_bin(v));
		if (up < UINT64_MAX)
			ck_assert_uint_eq(histogram_bin(up + 1), histogram_bin(v) + 1);
	}
}
END_TEST

/* Hyndman and Fan 1996, type 7 (R's default), of eleven times; a bin is less than 0.8 % wide. */
START_TEST(histogram_quantiles_are_type_7)
{
	static const double ms[] = { 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.3, 5.0, 12.5 };
	static const struct {
		double share, ms;
	} expected[] = { { 0, 0.8 }, { 0.1, 0.9 }, { 0.25, 0.975 }, { 0.5, 1.1 }, { 0.75, 1.25 },
		{ 0.9, 5.0 }, { 0.95, 8.75 }, { 0.99, 11.75 }, { 0.999, 12.425 }, { 1, 12.5 } };
	static struct histogram h;

	histogram_init(&h);
	for (size_t i = 0; i < sizeof ms / sizeof *ms; i++)
		histogram_add(&h, (uint64_t)(ms[i] * 1e6));
	for (size_t i = 0; i < sizeof expected / sizeof *expected; i++)
		ck_assert_double_eq_tol((double)histogram_quantile(&h, expected[i].share) / 1e6,
			expected[i].ms, 0.008 * expected[i].ms);
}
END_TEST

START_TEST(histogram_quantiles_match_sorted_values)
{
	struct histogram h, other;

	histogram_init(&h);
	histogram_init(&other);
	for (uint64_t v = 1; v <= 1000; v++)
		histogram_add(v % 2 ? &h : &other, v * 1000);
	histogram_merge(&h, &other);
	ck_assert_uint_eq(h.total, 1000);
	ck_assert_uint_eq(h.min, 1000);
	ck_assert_uint_eq(h.max, 1000000);
	ck_assert(fabs((double)histogram_quantile(&h, 0.5) - 500000) <= 0.008 * 500000);
	ck_assert(fabs((double)histogram_quantile(&h, 0.99) - 990000) <= 0.008 * 990000);
	ck_assert_uint_eq(histogram_quantile(&h, 1), 1000000);
}
END_TEST

START_TEST(offsets_use_every_place_once_a_lap)
{
	for (int random = 0; random < 2; random++) {
		struct offsets o;
		unsigned char seen[13];

		offsets_init(&o, random, 4096, 13 * 1536 + 100, 1536, 99);
		ck_assert_uint_eq(o.slots, 13);
		for (uint64_t lap = 0; lap < 5; lap++) {
			memset(seen, 0, sizeof seen);
			for (uint64_t i = 0; i < 13; i++) {
				uint64_t at = offsets_at(&o, lap * 13 + i) - 4096;

				ck_assert_uint_eq(at % 1536, 0);
				ck_assert_uint_lt(at / 1536, 13);
				ck_assert_uint_eq(seen[at / 1536]++, 0);
			}
		}
	}
}
END_TEST

/* Each part's beginnings lie in it, and all of them are used. */
START_TEST(passes_begin_in_their_part)
{
	for (uint64_t part = 0; part < 4; part++) {
		bool seen[26] = { false };
		unsigned count = 0;

		for (uint64_t seed = 1; seed <= 400; seed++) {
			struct offsets o;
			uint64_t slot;

			offsets_init(&o, false, 4096, 26 * 512, 512, seed);
			offsets_begin_in(&o, (struct offsets_part){ part, 4 });
			slot = (offsets_at(&o, 0) - 4096) / 512;
			ck_assert_uint_ge(slot, 26 * part / 4);
			ck_assert_uint_lt(slot, 26 * (part + 1) / 4);
			count += !seen[slot];
			seen[slot] = true;
			ck_assert_uint_eq(offsets_at(&o, 25) - 4096, (slot + 25) % 26 * 512);
		}
		ck_assert_uint_eq(count, 26 * (part + 1) / 4 - 26 * part / 4);
	}
}
END_TEST

START_TEST(few_places_have_no_parts)
{
	struct offsets a, b;

	offsets_init(&a, false, 0, 3 * 512, 512, 9);
	b = a;
	offsets_begin_in(&b, (struct offsets_part){ 3, 4 });
	ck_assert_uint_eq(a.first, b.first);
	offsets_begin_in(&b, (struct offsets_part){ 0, 0 });
	ck_assert_uint_eq(a.first, b.first);
}
END_TEST

START_TEST(random_orders_differ_by_lap_and_seed)
{
	struct offsets a, b;
	int same_lap = 0, same_seed = 0;

	offsets_init(&a, true, 0, 1000 * 512, 512, 1);
	offsets_init(&b, true, 0, 1000 * 512, 512, 2);
	uint64_t first[1000];
	for (uint64_t i = 0; i < 1000; i++) {
		first[i] = offsets_at(&a, i);
		same_seed += first[i] == offsets_at(&b, i);
	}
	for (uint64_t i = 0; i < 1000; i++)
		same_lap += first[i] == offsets_at(&a, 1000 + i);
	/* A random permutation has one fixed point on average (Montmort). */
	ck_assert_int_lt(same_lap, 12);
	ck_assert_int_lt(same_seed, 12);
}
END_TEST

START_TEST(payload_is_unique_and_incompressible)
{
	enum { BYTES = 64 * 1024, SECTORS = BYTES / 512 };
	unsigned char *a = malloc(2 * BYTES), *packed;
	uLongf packed_bytes = compressBound(2 * BYTES);
	uint64_t serial;

	payload_fill(a, BYTES, 5);
	memcpy(a + BYTES, a, BYTES);
	serial = payload_renew(a, BYTES, 1000);
	ck_assert_uint_eq(serial, 1000 + SECTORS);
	payload_renew(a + BYTES, BYTES, serial);
	for (int i = 0; i < 2 * SECTORS; i++)
		for (int j = 0; j < i; j++)
			ck_assert_int_ne(memcmp(a + i * 512, a + j * 512, 512), 0);
	packed = malloc(packed_bytes);
	ck_assert_int_eq(compress2(packed, &packed_bytes, a, BYTES, 9), Z_OK);
	ck_assert_uint_ge(packed_bytes, BYTES);
	free(packed);
	free(a);
}
END_TEST

/* A medium that takes 1 ms + 1 us a byte by its own clock, and may fail at a given request. */
struct slow {
	struct medium medium;
	uint64_t now_ns, busy_until_ns;
	unsigned requests, fail_at, flushes;
	int fail_code;
	uint64_t read_bytes, extra_bytes, reads, writes, written;
	uint64_t others_read, others_written; /* by somebody else, beside each request */
	uint64_t errors, errors_each; /* that the kernel counted; at each request */
	unsigned split;
	unsigned stall_every; /* requests; 0: none */
	uint64_t stall_ns;
};

static int slow_transfer(struct slow *s, size_t len, size_t *got)
{
	uint64_t start = s->now_ns > s->busy_until_ns ? s->now_ns : s->busy_until_ns;

	*got = 0;
	s->errors += s->errors_each;
	s->read_bytes += s->others_read;
	s->written += s->others_written;
	if (++s->requests == s->fail_at && s->fail_code <= 0)
		return s->fail_code;
	*got = s->requests == s->fail_at ? len / 2 : len;
	s->now_ns = s->busy_until_ns = start + 1000000 + len * 1000;
	if (s->stall_every && s->requests % s->stall_every == 0)
		s->now_ns = s->busy_until_ns = s->now_ns + s->stall_ns;
	return 0;
}

static int slow_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	struct slow *s = (struct slow *)m;

	(void)at, (void)buf;
	s->read_bytes += len + s->extra_bytes;
	s->reads += s->split ? s->split : 1;
	return slow_transfer(s, len, got);
}

static int slow_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct slow *s = (struct slow *)m;

	(void)at, (void)buf;
	s->written += len;
	s->writes++;
	return slow_transfer(s, len, got);
}

static int slow_flush(struct medium *m)
{
	((struct slow *)m)->flushes++;
	((struct slow *)m)->now_ns += 7000000;
	return 0;
}

static int slow_counts(struct medium *m, struct medium_counts *c)
{
	struct slow *s = (struct slow *)m;

	*c = (struct medium_counts){ .reads = s->reads,
		.read_bytes = s->read_bytes,
		.writes = s->writes,
		.written_bytes = s->written,
		.flushes = s->flushes,
		.errors_known = true,
		.errors = s->errors };
	return 0;
}

static uint64_t slow_now(struct medium *m)
{
	return ((struct slow *)m)->now_ns;
}

static void slow_idle(struct medium *m, uint64_t ns)
{
	((struct slow *)m)->now_ns += ns;
}

static void slow_move(struct medium *m, uint64_t now)
{
	((struct slow *)m)->now_ns = now;
}

static const struct medium_ops slow_ops = { .read = slow_read,
	.write = slow_write,
	.flush = slow_flush,
	.counts = slow_counts,
	.now_ns = slow_now,
	.idle_ns = slow_idle,
	.move_clock_ns = slow_move };

static struct slow slow_medium(void)
{
	return (struct slow){ .medium = { .ops = &slow_ops,
				      .traits = { .kind = MEDIUM_IMAGE,
					      .size_bytes = 1 << 20,
					      .logical_block_bytes = 512,
					      .memory_align_bytes = 512,
					      .offset_align_bytes = 512,
					      .virtual_clock = true } } };
}

static struct pass_plan plan_of(bool write, uint64_t bytes, unsigned in_flight)
{
	return (struct pass_plan){ .write = write,
		.random = true,
		.request_bytes = bytes,
		.in_flight = in_flight,
		.region_bytes = 1 << 20,
		.duration_ns = UINT64_C(1000000000),
		.seed = 3 };
}

static struct pass_result *pass_of(struct slow *s, struct pass_plan plan)
{
	struct pass_result *r = malloc(sizeof *r);
	struct pass_buffers b;

	ck_assert_int_eq(pass_buffers_init(&b, &s->medium, plan.request_bytes, plan.in_flight), 0);
	ck_assert_int_eq(pass_run(&s->medium, &plan, &b, r, NULL), 0);
	pass_buffers_release(&b);
	return r;
}

/* Rate of t(n) = t0 + n/r (Hockney and Jesshope): 1 ms and 1 MB/s give 803767.66 B/s at 4096 bytes. */
START_TEST(a_pass_measures_the_hockney_rate)
{
	for (unsigned in_flight = 1; in_flight <= 4; in_flight += 3) {
		struct slow s = slow_medium();
		struct pass_result *r = pass_of(&s, plan_of(false, 4096, in_flight));

		ck_assert_double_eq_tol(
			(double)r->bytes * 1e9 / (double)r->busy_ns, 803767.6609, 0.001);
		ck_assert_uint_eq(r->requests * 4096, r->bytes);
		ck_assert_uint_eq(r->latency_ns.total, r->requests);
		/* one is served at a time: with four open each waits for three others */
		ck_assert_uint_eq(r->latency_ns.max, in_flight * UINT64_C(5096000));
		ck_assert(r->device_known && !r->foreign);
		ck_assert_uint_eq(r->device_requests, r->requests);
		ck_assert_uint_eq(r->flush_ns, 0);
		ck_assert_uint_eq(s.flushes, 0);
		free(r);
	}
}
END_TEST

START_TEST(a_write_pass_times_its_flush)
{
	struct slow s = slow_medium();
	struct pass_plan plan = plan_of(true, 512, 1);
	struct flusher flusher;
	struct pass_result *r;

	flusher_init(&flusher, &s.medium);
	plan.flusher = &flusher;
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->flush_ns, 7000000);
	ck_assert_uint_eq(r->device_flushes, 1);
	ck_assert_double_eq_tol((double)r->bytes * 1e9 / (double)r->busy_ns, 338624.3386, 0.001);
	free(r);
}
END_TEST

static uint64_t traced(const struct pass_result *r)
{
	uint64_t sum = 0;

	for (unsigned i = 0; i < r->trace_steps; i++)
		sum += r->trace[i];
	return sum;
}

/* Requests slower than the steps of the trace: each step has its share of them, and the last ends with the pass. 65536 B in
 * 66.536 ms. */
START_TEST(the_trace_spreads_slow_requests)
{
	for (unsigned in_flight = 1; in_flight <= 4; in_flight += 3) {
		struct slow s = slow_medium();
		struct pass_result *r = pass_of(&s, plan_of(false, 65536, in_flight));
		unsigned last = (unsigned)(r->busy_ns / r->trace_step_ns);

		ck_assert_uint_lt(r->trace_step_ns, 20000000);
		ck_assert_uint_eq(traced(r), r->bytes);
		ck_assert_uint_eq(r->trace_steps, last + 1);
		for (unsigned i = 0; i < last && in_flight == 1; i++)
			ck_assert_double_eq_tol((double)r->trace[i],
				(double)r->trace_step_ns * 65536 / 66536000, 2);
		free(r);
	}
}
END_TEST

/* One request of 1 MiB takes 1.05 s where the pass was to take 0.1 s: the steps grow with it. */
START_TEST(the_trace_outlasts_its_plan)
{
	struct slow s = slow_medium();
	struct pass_plan plan = plan_of(false, 1 << 20, 1);
	struct pass_result *r;

	plan.duration_ns = 100000000;
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->requests, 1);
	ck_assert_uint_eq(traced(r), 1 << 20);
	ck_assert_uint_ge(r->trace_step_ns * PASS_TRACE_MAX, r->busy_ns);
	ck_assert_uint_lt(r->trace_step_ns * (r->trace_steps - 1), r->busy_ns);
	free(r);
}
END_TEST

/* Every 50th request takes 300 ms more: 5.096 ms 49 times and 305.096 ms. */
START_TEST(stalls_are_counted)
{
	struct slow s = slow_medium();
	struct pass_plan plan = plan_of(true, 4096, 1);
	struct pass_result *r;

	s.stall_every = 50;
	s.stall_ns = 300000000;
	plan.duration_ns = UINT64_C(10) * (50 * 5096000 + 300000000);
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->requests, 500);
	ck_assert_uint_eq(r->stalls, 10);
	ck_assert_double_eq_tol((double)r->stall_ns, 10 * 305096e3, 0.01 * 10 * 305096e3);
	/* 15 times the median is none. */
	s = slow_medium();
	s.stall_every = 50;
	s.stall_ns = 14 * 5096000;
	free(r);
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->stalls, 0);
	free(r);
}
END_TEST

/* Timed from one long request to another: whole periods of 8 requests, 8 x 5.096 ms + 100 ms. */
START_TEST(a_pass_may_be_timed_between_waits)
{
	struct slow s = slow_medium();
	struct pass_plan plan = plan_of(true, 4096, 1);
	struct pass_result *r;

	s.stall_every = 8;
	s.stall_ns = 100000000;
	plan.duration_ns = 1;
	plan.wait_ns = 50000000;
	plan.patience_ns = UINT64_C(100000000000);
	plan.wait_requests = 64;
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->requests, 64);
	ck_assert_uint_eq(r->bytes, 64 * 4096);
	ck_assert_uint_eq(r->busy_ns, 8 * (8 * 5096000 + 100000000));
	ck_assert_uint_eq(r->waits, 9);
	free(r);
	/* None comes: it ends with its patience, timed as a whole. */
	s = slow_medium();
	plan.patience_ns = 1000000000;
	r = pass_of(&s, plan);
	ck_assert_uint_eq(r->waits, 0);
	ck_assert_uint_eq(r->requests, 197);
	ck_assert_uint_eq(r->busy_ns, 197 * UINT64_C(5096000));
	free(r);
}
END_TEST

START_TEST(splits_and_strangers_show)
{
	struct slow s = slow_medium();
	struct pass_result *r;

	s.split = 3;
	r = pass_of(&s, plan_of(false, 65536, 1));
	ck_assert_uint_eq(r->device_requests, 3 * r->requests);
	ck_assert(!r->foreign);
	free(r);
	s = slow_medium();
	s.extra_bytes = 512;
	r = pass_of(&s, plan_of(false, 65536, 1));
	ck_assert(r->foreign);
	free(r);
}
END_TEST

/* Somebody who reads while this run writes, and the other way round. */
START_TEST(strangers_in_the_other_direction_show)
{
	for (int write = 0; write < 2; write++) {
		struct slow s = slow_medium();
		struct pass_result *r = pass_of(&s, plan_of(write, 4096, 1));

		ck_assert(!r->foreign);
		free(r);
		s = slow_medium();
		s.others_read = write ? 512 : 0;
		s.others_written = write ? 0 : 512;
		r = pass_of(&s, plan_of(write, 4096, 1));
		ck_assert(r->foreign);
		ck_assert_uint_eq(r->device_bytes, r->bytes);
		free(r);
	}
}
END_TEST

/* Only those of this pass. */
START_TEST(errors_that_the_kernel_counted_show)
{
	struct slow s = slow_medium();
	struct pass_result *r;

	s.errors = 1000;
	r = pass_of(&s, plan_of(false, 4096, 1));
	ck_assert_uint_eq(r->device_errors, 0);
	free(r);
	s.errors_each = 2;
	r = pass_of(&s, plan_of(true, 4096, 1));
	ck_assert_uint_eq(r->device_errors, 2 * r->requests);
	free(r);
}
END_TEST

START_TEST(a_failed_request_is_told_exactly)
{
	static const int codes[] = { -EIO, -ENODEV, -ENOSPC, 1 /* short */ };

	for (size_t i = 0; i < 4; i++) {
		for (unsigned at = 1; at < 40; at += 13) {
			struct slow s = slow_medium();
			struct pass_result *r;

			s.fail_at = at;
			s.fail_code = codes[i];
			r = pass_of(&s, plan_of(i % 2, 4096, i % 2 ? 1 : 2));
			ck_assert(r->failure.failed);
			ck_assert_int_eq(r->failure.code, codes[i] < 0 ? codes[i] : 0);
			ck_assert_uint_eq(r->failure.got, codes[i] < 0 ? 0 : 2048);
			ck_assert_uint_eq(r->requests, at - 1);
			free(r);
		}
	}
}
END_TEST

struct seen {
	unsigned calls, rounds[3], evidence;
	unsigned last_number;
	bool wrote;
};

static int count_pass(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *result, struct error *err)
{
	struct seen *seen = context;

	(void)at_ns, (void)result, (void)err;
	/* interleaved: a round ends before the next begins; all reads come before the first write */
	ck_assert(!seen->wrote || point->write);
	if (point->write && !seen->wrote)
		seen->last_number = 0;
	seen->wrote = point->write;
	ck_assert_uint_ge(number, seen->last_number);
	seen->last_number = number;
	seen->rounds[number - 1]++;
	seen->calls++;
	return 0;
}

static int count_evidence(void *context, const struct store_evidence *e, struct error *err)
{
	struct seen *seen = context;

	(void)err;
	ck_assert(!seen->wrote);
	ck_assert_uint_eq(e->flusher, FLUSHER_KERNEL);
	seen->evidence++;
	return 0;
}

START_TEST(a_sweep_interleaves_its_passes)
{
	struct slow s = slow_medium();
	struct sweep_plan plan = { .points = { { false, false, 512 }, { true, true, 512 },
					   { false, true, 4096 } },
		.point_count = 3,
		.passes = 3,
		.in_flight = 1,
		.region_bytes = 1 << 20,
		.duration_ns = 50000000,
		.seed = 11 };
	struct seen seen = { 0 };
	struct sweep_sink sink = { &seen, count_pass, count_evidence };
	struct error err = { 0 };

	ck_assert_int_eq(sweep_run(&s.medium, &plan, &sink, NULL, &err), SWEEP_COMPLETE);
	ck_assert_uint_eq(seen.calls, 9);
	ck_assert_uint_eq(seen.evidence, 1);
	for (int i = 0; i < 3; i++)
		ck_assert_uint_eq(seen.rounds[i], 3);
}
END_TEST

START_TEST(a_sweep_says_which_request_failed)
{
	struct slow s = slow_medium();
	struct sweep_plan plan = { .points = { { false, false, 4096 } },
		.point_count = 1,
		.passes = 3,
		.in_flight = 1,
		.region_bytes = 1 << 20,
		.duration_ns = 50000000,
		.seed = 11 };
	struct seen seen = { 0 };
	struct sweep_sink sink = { &seen, count_pass, NULL };
	struct error err = { 0 };

	s.fail_at = 5;
	s.fail_code = -ENODEV;
	ck_assert_int_eq(sweep_run(&s.medium, &plan, &sink, NULL, &err), SWEEP_FAILED);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_ptr_nonnull(strstr(err.text, "read of 4 KiB at byte "));
	ck_assert_ptr_nonnull(strstr(err.text, "target is gone"));
	ck_assert_uint_eq(seen.calls, 1);
}
END_TEST

static int count_failed(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *r, struct error *err)
{
	(void)point, (void)number, (void)at_ns, (void)err;
	*(unsigned *)context += r->failure.failed;
	return 0;
}

/* No space, a short transfer, an I/O error: of a target that is gone none of these is true. */
START_TEST(a_sweep_of_a_target_that_is_gone_says_so)
{
	static const int codes[] = { ENOSPC, 0, EIO };

	for (size_t i = 0; i < 3; i++) {
		struct ram_medium *r = ram_medium_new(1 << 20, 512, false);
		struct sweep_plan plan = { .points = { { true, false, 4096 } },
			.point_count = 1,
			.passes = 3,
			.in_flight = 1,
			.region_bytes = 1 << 20,
			.duration_ns = 20000000,
			.seed = 11 };
		unsigned failed = 0;
		struct sweep_sink sink = { .context = &failed, .pass = count_failed };
		struct error err = { 0 };

		r->gone_after = 5;
		r->gone_errno = codes[i];
		ck_assert_int_eq(sweep_run(&r->medium, &plan, &sink, NULL, &err), SWEEP_FAILED);
		ck_assert_int_eq(err.kind, ERROR_IO);
		ck_assert_ptr_nonnull(strstr(err.text, "'memory' is gone"));
		ck_assert_msg(
			strstr(err.text, "a write of 4 KiB at byte ") != NULL, "%s", err.text);
		ck_assert_ptr_null(strstr(err.text, "space"));
		ck_assert_ptr_null(strstr(err.text, "smaller"));
		ck_assert_uint_eq(failed, 1);
		medium_close(&r->medium);
	}
}
END_TEST

Suite *measure_suite(void)
{
	Suite *s = suite_create("measure");
	TCase *c = tcase_create("measure");

	tcase_add_test(c, histogram_bins_are_narrow);
	tcase_add_test(c, histogram_quantiles_match_sorted_values);
	tcase_add_test(c, histogram_quantiles_are_type_7);
	tcase_add_test(c, offsets_use_every_place_once_a_lap);
	tcase_add_test(c, passes_begin_in_their_part);
	tcase_add_test(c, few_places_have_no_parts);
	tcase_add_test(c, random_orders_differ_by_lap_and_seed);
	tcase_add_test(c, payload_is_unique_and_incompressible);
	tcase_add_test(c, a_pass_measures_the_hockney_rate);
	tcase_add_test(c, a_write_pass_times_its_flush);
	tcase_add_test(c, the_trace_spreads_slow_requests);
	tcase_add_test(c, the_trace_outlasts_its_plan);
	tcase_add_test(c, stalls_are_counted);
	tcase_add_test(c, a_pass_may_be_timed_between_waits);
	tcase_add_test(c, splits_and_strangers_show);
	tcase_add_test(c, strangers_in_the_other_direction_show);
	tcase_add_test(c, errors_that_the_kernel_counted_show);
	tcase_add_test(c, a_failed_request_is_told_exactly);
	tcase_add_test(c, a_sweep_interleaves_its_passes);
	tcase_add_test(c, a_sweep_says_which_request_failed);
	tcase_add_test(c, a_sweep_of_a_target_that_is_gone_says_so);
	suite_add_tcase(s, c);
	return s;
}
