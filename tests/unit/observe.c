/* observe: events added up, a record both ways, and what a mix says of a sweep. */
#include <check.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/explain_mix.h"
#include "findings/observe_view.h"
#include "measure/observe.h"
#include "platform/trace.h"
#include "record/file.h"
#include "record/observe_lines.h"
#include "report/text_lines.h"
#include "report/text_view.h"

static struct observe_tally *tally;

static void begin(void)
{
	tally = malloc(sizeof *tally);
	observe_tally_init(tally, 1000);
}

static void end(void)
{
	free(tally);
}

static void issue(bool write, uint64_t sector, uint64_t sectors, uint64_t at_ns)
{
	struct trace_event e = { .kind = TRACE_ISSUE,
		.at_ns = at_ns,
		.read = !write,
		.write = write,
		.sector = sector,
		.sectors = sectors };

	observe_tally_add(tally, &e);
}

static void complete(bool write, uint64_t sector, uint64_t sectors, uint64_t at_ns)
{
	struct trace_event e = { .kind = TRACE_COMPLETE,
		.at_ns = at_ns,
		.read = !write,
		.write = write,
		.sector = sector,
		.sectors = sectors };

	observe_tally_add(tally, &e);
}

START_TEST(sizes_times_and_order)
{
	issue(true, 0, 8, 2000);
	complete(true, 0, 8, 5000);
	issue(true, 8, 8, 6000);
	issue(true, 100, 16, 6500); /* two in flight, answered out of order */
	complete(true, 100, 16, 7500);
	complete(true, 8, 8, 16000);
	issue(false, 8, 8, 17000); /* reads have an order of their own */
	complete(false, 8, 8, 17100);
	ck_assert_uint_eq(tally->requests[1], 3);
	ck_assert_uint_eq(tally->requests[0], 1);
	ck_assert_uint_eq(tally->bytes[1], 32 * 512);
	ck_assert_uint_eq(tally->count[1][8], 2);
	ck_assert_uint_eq(tally->count[1][16], 1);
	ck_assert_uint_eq(tally->service_ns[1][8], 13000);
	ck_assert_uint_eq(tally->service_ns[1][16], 1000);
	ck_assert_uint_eq(tally->sequential[1], 1);
	ck_assert_uint_eq(tally->sequential_bytes[1], 4096);
	ck_assert_uint_eq(tally->sequential[0], 0);
	ck_assert_uint_eq(tally->times[1].slowest_ns, 10000);
	ck_assert_uint_eq(tally->times[1].slowest_at_ns, 5000);
	ck_assert_uint_eq(tally->times[1].slowest_bytes, 4096);
	ck_assert_uint_eq(tally->open_top, 0);
}
END_TEST

START_TEST(answers_in_parts)
{
	issue(false, 64, 240, 2000);
	complete(false, 64, 200, 3000);
	complete(false, 264, 40, 9000);
	ck_assert_uint_eq(tally->times[0].ns.total, 1);
	ck_assert_uint_eq(tally->service_ns[0][240], 7000);
	complete(false, 264, 40, 9500); /* of a request sent before the start */
	ck_assert_uint_eq(tally->times[0].ns.total, 1);
}
END_TEST

START_TEST(flushes_and_the_rest)
{
	struct trace_event flush = { .kind = TRACE_ISSUE, .at_ns = 2000, .flush = true };
	struct trace_event done = {
		.kind = TRACE_COMPLETE, .at_ns = 2600, .flush = true, .sector = UINT64_MAX
	};
	struct trace_event fua = { .kind = TRACE_ISSUE,
		.at_ns = 3000,
		.write = true,
		.fua = true,
		.sector = 4,
		.sectors = 1 };
	struct trace_event after = { .kind = TRACE_COMPLETE, .at_ns = 3600, .write = true };
	struct trace_event discard = { .kind = TRACE_ISSUE, .discard = true, .sectors = 8 };
	struct trace_event other = { .kind = TRACE_ISSUE };
	struct trace_event bad = { .kind = TRACE_COMPLETE,
		.write = true,
		.sector = 4,
		.sectors = 1,
		.at_ns = 4000,
		.error = -5 };
	struct trace_event lost = { .kind = TRACE_LOST, .lost = 7 };

	observe_tally_add(tally, &flush);
	observe_tally_add(tally, &done);
	observe_tally_add(tally, &fua);
	observe_tally_add(tally, &after); /* the end of a sequence, no data: counts nowhere */
	observe_tally_add(tally, &discard);
	observe_tally_add(tally, &other);
	observe_tally_add(tally, &bad);
	observe_tally_add(tally, &lost);
	ck_assert_uint_eq(tally->flushes, 1);
	ck_assert_uint_eq(tally->flush_times.slowest_ns, 600);
	ck_assert_uint_eq(tally->requests[1], 1);
	ck_assert_uint_eq(tally->fua, 1);
	ck_assert_uint_eq(tally->discards, 1);
	ck_assert_uint_eq(tally->others, 1);
	ck_assert_uint_eq(tally->errors, 1);
	ck_assert_uint_eq(tally->lost, 7);
}
END_TEST

START_TEST(more_than_fits_is_still_counted)
{
	for (uint64_t i = 0; i < OBSERVE_IN_FLIGHT + 10; i++)
		issue(true, i * 100, 1, 2000 + i);
	ck_assert_uint_eq(tally->requests[1], OBSERVE_IN_FLIGHT + 10);
	issue(true, 0, 1 << 20, 9000);
	ck_assert_uint_eq(tally->count[1][OBSERVE_SIZES], 1);
	for (uint64_t i = 0; i < OBSERVE_IN_FLIGHT; i++)
		complete(true, i * 100, 1, 10000);
	ck_assert_uint_eq(tally->open_top, 0);
}
END_TEST

/* ---- record, words, mix ---- */

static const char *make_path(void)
{
	static char path[64];
	int fd;

	snprintf(path, sizeof path, "/tmp/blkassay-observe-XXXXXX");
	fd = mkstemp(path);
	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
	return path;
}

static struct observed_size mix[] = {
	{ RUN_READ, 4096, 10, 50000000 },
	{ RUN_WRITE, 4096, 100, 1000000000 },
	{ RUN_WRITE, 65536, 20, 2000000000 },
};

static struct observation sample(void)
{
	return (struct observation){ .traced = true,
		.total = { .ns = 4000000000,
			.at_ns = 4000000000,
			.requests = { 10, 121 },
			.bytes = { 40960, 1720320 },
			.busy_ms = 3000,
			.flushes = 1 },
		.sizes = mix,
		.size_count = 3,
		.requests = { 10, 120 },
		.bytes = { 40960, 1720320 },
		.sequential = { 10, 120 },
		.sequential_bytes = { 40960, 1720320 },
		.flushes = 1,
		.latency = { { .count = 10, .max_ns = 9 }, { .count = 120, .max_ns = 99 } } };
}

START_TEST(record_both_ways)
{
	const char *path = make_path();
	struct observation in = sample(), out;
	struct observed_counts second = { .at_ns = 1,
		.ns = 2,
		.requests = { 3, 4 },
		.bytes = { 5, 6 },
		.merged = { 7, 8 },
		.wait_ms = { 9, 10 },
		.flushes = 11,
		.flush_ms = 12,
		.busy_ms = 13,
		.in_flight = 14 };
	struct run_head head = { .kind = "observe" };
	struct record_writer w;
	struct error err = { 0 };
	struct run run;

	ck_assert_int_eq(record_create(&w, path, "observe", &err), 0);
	run_head_complete(&head);
	ck_assert_int_eq(run_write_head(&w, &head, &err), 0);
	for (int i = 0; i < 3; i++)
		ck_assert_int_eq(observe_write_second(&w, &second, &err), 0);
	ck_assert_int_eq(observe_write_result(&w, &in, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_msg(observe_load(&run, &out, path, &err) == 0, "%s", err.text);
	ck_assert_uint_eq(out.second_count, 3);
	ck_assert_int_eq(memcmp(&out.seconds[2], &second, sizeof second), 0);
	ck_assert_uint_eq(out.size_count, 3);
	for (size_t i = 0; i < 3; i++) {
		ck_assert_int_eq(out.sizes[i].direction, mix[i].direction);
		ck_assert_uint_eq(out.sizes[i].bytes, mix[i].bytes);
		ck_assert_uint_eq(out.sizes[i].count, mix[i].count);
		ck_assert_uint_eq(out.sizes[i].service_ns, mix[i].service_ns);
	}
	ck_assert_int_eq(memcmp(&out.total, &in.total, sizeof in.total), 0);
	ck_assert_int_eq(memcmp(out.latency, in.latency, sizeof in.latency), 0);
	ck_assert_uint_eq(out.sequential[1], 120);
	ck_assert(run.cut);
	observation_release(&out);
	run_release(&run);
	unlink(path);
}
END_TEST

START_TEST(cut_record_adds_its_seconds_up)
{
	const char *path = make_path();
	struct observed_counts second = {
		.ns = 1000000000, .requests = { 3, 4 }, .bytes = { 512, 1024 }
	};
	struct record_writer w;
	struct error err = { 0 };
	struct observation out;
	struct run run;

	ck_assert_int_eq(record_create(&w, path, "observe", &err), 0);
	for (int i = 0; i < 5; i++)
		ck_assert_int_eq(observe_write_second(&w, &second, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(observe_load(&run, &out, path, &err), 0);
	ck_assert(!out.traced);
	ck_assert_uint_eq(out.total.requests[1], 20);
	ck_assert_uint_eq(out.total.bytes[1], 5120);
	ck_assert_uint_eq(out.total.ns, 5000000000);
	observation_release(&out);
	unlink(path);
}
END_TEST

static void check_width(const char *bytes)
{
	while (*bytes) {
		size_t n = strcspn(bytes, "\n");

		ck_assert_msg(n <= 80, "%.*s", (int)n, bytes);
		bytes += n + (bytes[n] == '\n');
	}
}

static void paint(struct text *t, const struct run *run, const struct observation *o)
{
	static const struct text_style style = { .columns = 80 };
	struct error err = { 0 };
	struct view v;

	text_reset(t);
	ck_assert_int_eq(observe_view(&v, run, o, &err), 0);
	ck_assert_int_eq(text_view_add(t, &v, &style, &err), 0);
	view_release(&v);
}

START_TEST(words)
{
	struct observation o = sample();
	struct run run = { .target = { .path = "/dev/sdx", .size_bytes = 64000000 } };
	struct text t;

	text_init(&t);
	paint(&t, &run, &o);
	check_width(t.bytes);
	ck_assert_ptr_nonnull(strstr(t.bytes, "83 % of writes are 4 KiB; 76 % of the bytes come"));
	ck_assert_ptr_nonnull(strstr(t.bytes, "longest stall: a write"));
	o.traced = false;
	o.size_count = 0;
	snprintf(o.why, sizeof o.why, "forbidden");
	paint(&t, &run, &o);
	ck_assert_ptr_nonnull(strstr(t.bytes, "forbidden"));
	text_release(&t);
}
END_TEST

/* One amount in the verdict and in the table: as traced, or, where events were lost, as the kernel counted. Which share is
 * sequential is known of the traced ones alone. */
START_TEST(one_amount)
{
	static const uint64_t lost[] = { 0, 7 }, written[] = { 1720320, 68000000 };
	struct run run = { .target = { .path = "/dev/sdx", .size_bytes = 64000000 } };
	struct error err = { 0 };

	for (int i = 0; i < 2; i++) {
		struct observation o = sample();
		const struct observe_total *rows;
		const struct finding *verdict;
		struct view v;

		o.total.bytes[RUN_WRITE] = 68000000;
		o.total.requests[RUN_WRITE] = 480;
		o.lost = lost[i];
		ck_assert_int_eq(observe_view(&v, &run, &o, &err), 0);
		rows = view_find_table(&v, "totals")->rows;
		verdict = &v.findings.list[0];
		ck_assert_str_eq(verdict->code->code, lost[i] ? "events-lost" : "traced");
		ck_assert_uint_eq(rows[RUN_WRITE].bytes, written[i]);
		ck_assert_ptr_nonnull(
			strstr(verdict->sentence, lost[i] ? "wrote 68.0 MB" : "wrote 1.72 MB"));
		ck_assert_uint_eq(rows[RUN_WRITE].requests, lost[i] ? 480 : 120);
		ck_assert_uint_eq(rows[RUN_WRITE].sequential, 120);
		ck_assert_uint_eq(rows[RUN_WRITE].seen, 120);
		view_release(&v);
	}
}
END_TEST

/* A sweep that follows 1 ms + n / (1 MB/s) exactly, link 2 MB/s, card 2 MB/s. */
static struct explained line_table(enum run_direction d)
{
	struct explained x = { .direction = d, .block_bytes = 512, .order = RUN_SEQUENTIAL };

	for (uint64_t n = 512; n <= 131072; n *= 2)
		x.points[x.point_count++] = (struct cost_point){ .request_bytes = n,
			.seconds = 1e-3 + (double)n / 1e6,
			.passes = 5,
			.pieces = 1 };
	memcpy(x.stored, x.points, sizeof x.points);
	memcpy(x.quick, x.points, sizeof x.points);
	x.shown = true;
	x.idle_flush_s = d == RUN_WRITE ? 0.02 : 0;
	cost_line_make(&x.line, x.points, x.point_count);
	x.diagnosis.usual.link = 2e6;
	x.diagnosis.usual.card = 2e6;
	return x;
}

START_TEST(mix_of_a_straight_line)
{
	struct explained tables[2] = { line_table(RUN_READ), line_table(RUN_WRITE) };
	struct explanation e = { .tables = tables, .count = 2 };
	struct observation o = sample();
	struct explain_mix m;
	double writes = 120 * 1e-3 + 1720320 / 1e6;

	explain_mix_make(&m, &e, &o);
	ck_assert_double_eq_tol(m.seconds[RUN_READ][EXPLAIN_NOW], 10e-3 + 40960 / 1e6, 1e-9);
	ck_assert_double_eq_tol(m.seconds[RUN_WRITE][EXPLAIN_NOW], writes, 1e-9);
	/* 1/(2 MB/s) + 1/(2 MB/s): no gain; overlapped: half the time per byte, and a first block on its way. */
	ck_assert_double_eq_tol(m.seconds[RUN_WRITE][EXPLAIN_WHOLE], writes, 1e-6);
	ck_assert_double_eq_tol(m.seconds[RUN_WRITE][EXPLAIN_OVERLAPPED],
		120 * 1e-3 + (1720320 + 120 * 512) / 2e6, 1e-6);
	ck_assert_double_eq_tol(m.off, (writes + 0.05096 + 0.02) / 3.0 - 1, 1e-6);
	ck_assert_double_eq_tol(m.flush_s, 0.02, 1e-12);
	ck_assert(m.worst_known);
	ck_assert_uint_eq(m.worst_bytes, 65536);
	ck_assert_double_eq_tol(m.worst_share, 20 * 66.536e-3 / (writes + 0.05096 + 0.02), 1e-6);
	/* A direction nobody swept is not guessed. */
	e.count = 1;
	explain_mix_make(&m, &e, &o);
	ck_assert(isnan(m.seconds[RUN_WRITE][EXPLAIN_NOW]));
	ck_assert(isnan(m.total[EXPLAIN_NOW]));
}
END_TEST

/* A gadget that takes writes at 20 MB/s and stores them at 2 MB/s. */
static struct explained behind_table(void)
{
	struct explained x = { .direction = RUN_WRITE, .shown = true };

	for (uint64_t n = 4096; n <= 131072; n *= 2) {
		x.quick[x.point_count] =
			(struct cost_point){ .request_bytes = n, .seconds = (double)n / 20e6 };
		x.points[x.point_count] = x.quick[x.point_count];
		x.stored[x.point_count++] = (struct cost_point){
			.request_bytes = n, .seconds = (double)n / 2e6, .passes = 5, .pieces = 1
		};
	}
	cost_line_make(&x.line, x.stored, x.point_count);
	return x;
}

/* 64 MB in writes of 128 KiB with one flush: 32.0 s. 1000 writes of 4 KiB, each with its flush: 2.05 ms on the card, which
 * begins when the first sector has come, or 0.205 ms later, when all have; 2.07 to 2.25 s. */
START_TEST(flushes_are_not_stored_twice)
{
	struct explained x = behind_table();
	struct explanation e = { .tables = &x, .count = 1 };
	struct observed_size sizes[1] = {
		{ .direction = RUN_WRITE, .bytes = 131072, .count = 488 }
	};
	struct observation o = { .traced = true, .sizes = sizes, .size_count = 1 };
	struct explain_mix m;

	o.requests[RUN_WRITE] = o.total.requests[RUN_WRITE] = 488;
	o.bytes[RUN_WRITE] = o.total.bytes[RUN_WRITE] = 488 * 131072;
	o.total.flushes = 1;
	explain_mix_make(&m, &e, &o);
	ck_assert(m.shown);
	ck_assert_double_eq_tol(m.total[EXPLAIN_NOW], 32.0, 0.05);
	sizes[0] = (struct observed_size){ .direction = RUN_WRITE, .bytes = 4096, .count = 1000 };
	o.requests[RUN_WRITE] = o.total.requests[RUN_WRITE] = o.total.flushes = 1000;
	o.bytes[RUN_WRITE] = o.total.bytes[RUN_WRITE] = 4096000;
	explain_mix_make(&m, &e, &o);
	ck_assert_double_eq_tol(m.total[EXPLAIN_NOW], (2.07 + 2.25) / 2, 0.05);
	ck_assert_double_eq_tol(m.worst_share, 2.05 / 2.15, 0.01);
	/* Where that is not shown it is known. */
	x.shown = false;
	explain_mix_make(&m, &e, &o);
	ck_assert(!m.shown);
}
END_TEST

/* 1000 writes of 4 KiB with a flush after each, as behind_table; where such pairs were timed those times count: 3 ms at 4 KiB
 * and 70 ms at 128 KiB, of which storing takes 2.048 and 65.536. */
static struct observation flushed_one_by_one(struct observed_size *size, uint64_t bytes)
{
	struct observation o = { .traced = true, .sizes = size, .size_count = 1 };

	*size = (struct observed_size){ .direction = RUN_WRITE, .bytes = bytes, .count = 1000 };
	o.requests[RUN_WRITE] = o.total.requests[RUN_WRITE] = o.total.flushes = 1000;
	o.bytes[RUN_WRITE] = o.total.bytes[RUN_WRITE] = 1000 * bytes;
	return o;
}

START_TEST(timed_flushes_are_not_guessed)
{
	struct explained x = behind_table();
	struct explanation e = { .tables = &x, .count = 1 };
	struct observed_size size;
	struct observation o = flushed_one_by_one(&size, 4096);
	struct explain_mix m;

	x.flushed[0] = (struct explained_flushed){ 4096, 3e-3 };
	x.flushed[1] = (struct explained_flushed){ 131072, 70e-3 };
	explain_mix_make(&m, &e, &o);
	ck_assert_double_eq_tol(m.total[EXPLAIN_NOW], 3.0, 1e-6);
	o = flushed_one_by_one(&size, 67584); /* half way between the two */
	explain_mix_make(&m, &e, &o);
	ck_assert_double_eq_tol(m.flush_s, (0.952 + 4.464) / 2, 1e-6);
	/* Storing alone takes longer than such a pair: a flush that answers early adds nothing. */
	x.flushed[0].seconds = x.flushed[1].seconds = 1e-3;
	explain_mix_make(&m, &e, &o);
	ck_assert_double_eq_tol(m.flush_s, 0, 1e-12);
}
END_TEST

/* A card just slower than its link: 4.1 ms to come in, 4.6 to be stored. If the card begins with the first sector a flushed
 * write takes 4.6 ms, if with the last 8.7: without a timed pair that is not known. */
START_TEST(what_flushes_take_is_not_guessed_widely)
{
	struct explained x = behind_table();
	struct explanation e = { .tables = &x, .count = 1 };
	struct observed_size size;
	struct observation o = flushed_one_by_one(&size, 4096);
	struct explain_mix m;

	for (size_t i = 0; i < x.point_count; i++) {
		double n = (double)x.quick[i].request_bytes;

		x.quick[i].seconds = n / 1e6;
		x.stored[i].seconds = n / 0.89e6;
	}
	cost_line_make(&x.line, x.stored, x.point_count);
	explain_mix_make(&m, &e, &o);
	ck_assert(isnan(m.flush_s) && isnan(m.total[EXPLAIN_NOW]));
	ck_assert_double_eq_tol(m.seconds[RUN_WRITE][EXPLAIN_NOW], 1000 * 4096 / 0.89e6, 1e-6);
	/* One flush in all matters to nothing. */
	o.total.flushes = 1;
	explain_mix_make(&m, &e, &o);
	ck_assert(m.total[EXPLAIN_NOW] > 4.6);
}
END_TEST

Suite *observe_suite(void)
{
	Suite *s = suite_create("observe");
	TCase *add = tcase_create("tally"), *rest = tcase_create("record and words");

	tcase_add_checked_fixture(add, begin, end);
	tcase_add_test(add, sizes_times_and_order);
	tcase_add_test(add, answers_in_parts);
	tcase_add_test(add, flushes_and_the_rest);
	tcase_add_test(add, more_than_fits_is_still_counted);
	tcase_add_test(rest, record_both_ways);
	tcase_add_test(rest, cut_record_adds_its_seconds_up);
	tcase_add_test(rest, words);
	tcase_add_test(rest, one_amount);
	tcase_add_test(rest, mix_of_a_straight_line);
	tcase_add_test(rest, flushes_are_not_stored_twice);
	tcase_add_test(rest, timed_flushes_are_not_guessed);
	tcase_add_test(rest, what_flushes_take_is_not_guessed_widely);
	suite_add_tcase(s, add);
	suite_add_tcase(s, rest);
	return s;
}
