/* report: points, CSV, summary. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/clean.h"
#include "base/error.h"
#include "base/text.h"
#include "findings/link.h"
#include "findings/numbers.h"
#include "findings/points.h"
#include "findings/sweep_view.h"
#include "report/csv.h"
#include "report/sink.h"
#include "report/text_lines.h"
#include "report/text_view.h"
#include "support/sample_run.h"

static struct run run;
static struct text text;

static void setup(void)
{
	sample_run_init(&run);
	*run.path = 0; /* it lies in no file, so there are no details to read */
	text_init(&text);
}

static void teardown(void)
{
	run_release(&run);
	text_release(&text);
}

static void add_passes(
	enum run_direction d, enum run_order o, uint64_t bytes, const double *rates, size_t n)
{
	for (size_t i = 0; i < n; i++)
		sample_run_add(&run, d, o, bytes, (uint32_t)i + 1, rates[i]);
}

static const char *summary(unsigned columns, bool utf8)
{
	struct text_style style = { .columns = columns, .utf8 = utf8 };
	struct error err = { 0 };
	struct view v;

	text_reset(&text);
	ck_assert_msg(!sweep_view(&v, &run, &err), "%s", err.text);
	ck_assert_msg(!text_view_add(&text, &v, &style, &err), "%s", err.text);
	view_release(&v);
	return text.bytes;
}

static void says(const char *wanted)
{
	ck_assert_msg(
		strstr(text.bytes, wanted) != NULL, "'%s' is not in:\n%s", wanted, text.bytes);
}

/* The same, however the text is wrapped. */
static void tells(const char *wanted)
{
	char *plain = strdup(text.bytes);
	size_t n = 0;

	for (const char *c = text.bytes; *c; c++)
		if ((*c != ' ' && *c != '\n') || (n && plain[n - 1] != ' '))
			plain[n++] = *c == '\n' ? ' ' : *c;
	plain[n] = 0;
	ck_assert_msg(strstr(plain, wanted) != NULL, "'%s' is not in:\n%s", wanted, text.bytes);
	free(plain);
}

static void says_not(const char *unwanted)
{
	ck_assert_msg(!strstr(text.bytes, unwanted), "'%s' is in:\n%s", unwanted, text.bytes);
}

static const char *csv(const char *value)
{
	text_reset(&text);
	csv_add_field(&text, value, true);
	return text.bytes;
}

START_TEST(csv_fields)
{
	/* RFC 4180 section 2, rules 5 to 7. */
	ck_assert_str_eq(csv("plain text"), "plain text");
	ck_assert_str_eq(csv("a,b"), "\"a,b\"");
	ck_assert_str_eq(csv("say \"aa\""), "\"say \"\"aa\"\"\"");
	ck_assert_str_eq(csv(""), "");
	/* Formulas and controls. */
	ck_assert_str_eq(csv("=1+1"), "'=1+1");
	ck_assert_str_eq(csv("@x,\"y\""), "\"'@x,\"\"y\"\"\"");
	ck_assert_str_eq(csv("-r14"), "'-r14");
	ck_assert_str_eq(csv("a\r\nb\tc\x7f"), "a??b?c?");
}
END_TEST

static int keep_all(void *context, struct text *t, struct error *err)
{
	(void)err;
	text_add(context, t->bytes, t->length);
	text_reset(t);
	return 0;
}

static void add_csv(void)
{
	struct sink sink = { &text, keep_all };
	struct error err = { 0 };
	struct text scratch;
	struct view v;

	text_init(&scratch);
	ck_assert_int_eq(sweep_view(&v, &run, &err), 0);
	ck_assert_int_eq(csv_add_view(&scratch, &v, true, &sink, &err), 0);
	view_release(&v);
	text_release(&scratch);
}

START_TEST(csv_rows)
{
	struct run_pass *p = sample_run_add(&run, RUN_WRITE, RUN_RANDOM, 4096, 3, 480000);

	*p = (struct run_pass){ .direction = RUN_WRITE,
		.order = RUN_RANDOM,
		.request_bytes = 4096,
		.in_flight = 1,
		.pass = 3,
		.bytes = 4096000,
		.requests = 1000,
		.busy_ns = 8533333333,
		.flush_ns = 1500000,
		.settle_ns = 2000000,
		.stored_by = RUN_STORED_FLUSH,
		.stored_ns = 8534833333,
		.start_known = true,
		.start_bytes = 122880,
		.lead_bytes = 512,
		.stalls = 1,
		.stall_ns = 12000000,
		.lat_p50_ns = 8533250,
		.lat_p99_ns = 9000001,
		.lat_max_ns = 12000000,
		.flags = RUN_PASS_SPLIT | RUN_PASS_FOREIGN_IO };
	add_csv();
	/* 4096000 B / 8.533333333 s = 480000 B/s: 4096 B in 8.533333 ms. */
	ck_assert_str_eq(text.bytes,
		"run,label,target,direction,order,request_bytes,in_flight,pass,bytes,requests,"
		"device_requests,seconds,flush_seconds,acknowledged_bytes_per_second,"
		"stored_bytes_per_second,request_time_p50_seconds,request_time_p99_seconds,"
		"request_time_max_seconds,errors,flags,stored_by,stored_seconds,settle_seconds,"
		"lead_bytes,stalls,stall_seconds,start_bytes\r\n"
		"20261125T021500Z-1f3a9c07,behind-r14,00A1F7-7948206080,write,random,4096,1,3,"
		"4096000,1000,,8.533333333,0.0015,480000,479915.64,0.00853325,0.009000001,0.012,"
		"0,foreign-io+split,flush,8.534833333,0.002,512,1,0.012,122880\r\n");
}
END_TEST

START_TEST(figures)
{
	static const struct {
		double value;
		const char *text;
	} cases[] = { { 0, "0" }, { 0.99951, "1.00" }, { 9.994, "9.99" }, { 9.996, "10.0" },
		{ 99.96, "100" }, { 1216, "1216" }, { 0.5, "0.500" }, { 0.01234, "0.0123" } };

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		text_reset(&text);
		number_add(&text, cases[i].value);
		ck_assert_str_eq(text.bytes, cases[i].text);
	}
}
END_TEST

START_TEST(link_ceilings)
{
	/* USB 2.0 tables 5-9 and 5-10. */
	ck_assert_double_eq(link_ceiling_bps("usb", 12000000), 1216000);
	ck_assert_double_eq(link_ceiling_bps("usb", 480000000), 53248000);
	ck_assert_double_eq(link_ceiling_bps("usb", 0), 0);
	ck_assert_double_eq(link_ceiling_bps("loop", 480000000), 0);
}
END_TEST

/* A pass into which a reset fell proves nothing, however whole it looks. */
START_TEST(disturbed_passes_count_for_nothing)
{
	static const double rates[] = { 100e3, 100e3, 900e3 };
	struct points points;
	struct error err;

	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 3);
	run.passes[2].flags = RUN_PASS_RESETS;
	run.passes[2].device_errors = 3;
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_uint_eq(points.count, 1);
	ck_assert_uint_eq(points.list[0].pass_count, 2);
	ck_assert_uint_eq(points.list[0].left_out, 1);
	ck_assert_uint_eq(points.list[0].disturbed, 1);
	ck_assert_uint_eq(points.list[0].device_errors, 3);
	ck_assert_double_eq_tol(points.list[0].acknowledged.median, 100e3, 1);
	ck_assert_double_eq_tol(points.list[0].lat_max_s, 4096 / 100e3, 1e-6);
	points_release(&points);
}
END_TEST

START_TEST(points_are_grouped)
{
	static const double rates[] = { 100e3, 300e3, 200e3 };
	struct points points;
	struct error err;

	add_passes(RUN_WRITE, RUN_RANDOM, 4096, rates, 3);
	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 3);
	add_passes(RUN_READ, RUN_SEQUENTIAL, 512, rates, 3);
	run.passes[0].flags = RUN_PASS_CUT;
	run.passes[1].errors = 2;
	run.passes[2].flags = RUN_PASS_TAIL;
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_uint_eq(points.count, 3);
	ck_assert_uint_eq(points.list[0].request_bytes, 512);
	ck_assert_uint_eq(points.list[0].direction, RUN_READ);
	ck_assert_double_eq_tol(points.list[0].acknowledged.median, 200e3, 1);
	ck_assert_uint_eq(points.list[1].request_bytes, 4096);
	/* The cut pass of 100 kB/s does not count. */
	ck_assert_uint_eq(points.list[2].pass_count, 2);
	ck_assert_uint_eq(points.list[2].left_out, 1);
	ck_assert_double_eq_tol(points.list[2].acknowledged.median, 250e3, 1);
	ck_assert_uint_eq(points.list[2].errors, 2);
	ck_assert_uint_eq(point_flagged(&points.list[2], RUN_PASS_TAIL), 1);
	ck_assert_uint_eq(points_table(&points, 0).count, 2);
	ck_assert_uint_eq(points_table(&points, 2).count, 1);
	points_release(&points);
}
END_TEST

START_TEST(summary_of_writes)
{
	static const double rates[] = { 270e3, 271e3, 269e3, 270e3, 270e3 };

	add_passes(RUN_WRITE, RUN_SEQUENTIAL, 4096, rates, 5);
	for (size_t i = 0; i < 5; i++)
		run.passes[i].stored_ns = 2 * run.passes[i].busy_ns; /* stored at half the rate */
	summary(200, false);
	says("Sequential writes");
	says("270 kB/s");
	says("135 kB/s");
	says("11 %"); /* of 1,216,000 B/s */
	says("15.2 ms"); /* 4096 B at 270 kB/s: 15.170 ms */
	says("acknowledged well before");
	says("carries at most 1.22 MB/s (USB 2.0 table 5-9)");
	says_not("dev/req");
	says_not("stalls");
	says_not("differ by");
}
END_TEST

/* Without evidence no rate is called stored, whatever the flush took; and the sentence says why. */
START_TEST(stored_needs_evidence)
{
	static const double rates[] = { 270e3, 271e3, 269e3, 270e3, 270e3 };

	add_passes(RUN_WRITE, RUN_SEQUENTIAL, 4096, rates, 5);
	for (size_t i = 0; i < 5; i++) {
		run.passes[i].flush_ns = run.passes[i].busy_ns;
		run.passes[i].stored_by = RUN_NOT_SHOWN;
	}
	run.storing.by = RUN_NOT_SHOWN;
	summary(100, false);
	tells("Writes are acknowledged at 270 kB/s.");
	tells("Whether writes are stored is not shown");
	says_not("are stored at up to");
	says_not("135 kB/s");
	/* Records of before are no evidence either. */
	run.storing.present = false;
	summary(100, false);
	tells("this record does not say how its target stores");
	/* Shown in two passes of five: not of the point. In three: it is. */
	run.storing.present = true;
	run.storing.by = RUN_STORED_SETTLED;
	run.passes[0].stored_by = run.passes[1].stored_by = RUN_STORED_SETTLED;
	summary(100, false);
	tells("At 1 point it is not shown that the writes were stored");
	says_not("are stored at up to");
	run.passes[2].stored_by = RUN_STORED_SETTLED;
	summary(100, false);
	tells("Sequential writes are stored at up to 270 kB/s");
	tells("settled");
}
END_TEST

/* What was seen to wait for long, but seldom, is not said to keep its pace. */
START_TEST(seldom_waits_are_told)
{
	static const double rates[] = { 2e6, 2e6, 2e6 };

	add_passes(RUN_WRITE, RUN_SEQUENTIAL, 4096, rates, 3);
	for (size_t i = 0; i < 3; i++)
		run.passes[i].stored_by = RUN_NOT_SHOWN;
	run.storing.by = RUN_NOT_SHOWN;
	run.storing.held_up = false;
	run.storing.buffer_bytes = 19000000;
	run.storing.burst_ns = UINT64_C(45000000000);
	summary(100, false);
	tells("Whether writes are stored is not shown: while it looked, one write in about 19.0 MB "
	      "waited for a second or more");
}
END_TEST

/* A steady rate is said with what it rests on. */
START_TEST(steady_is_qualified)
{
	static const double rates[] = { 2e6, 2e6, 2e6 };

	add_passes(RUN_WRITE, RUN_SEQUENTIAL, 4096, rates, 3);
	for (size_t i = 0; i < 3; i++)
		run.passes[i].stored_by = RUN_STORED_STEADY;
	run.storing.by = RUN_STORED_STEADY;
	run.storing.free_bytes = 64000000;
	summary(100, false);
	tells("unless its buffer holds more than 6.40 MB");
	tells("64.0 MB written in one go was never held up");
	run.storing.held_up = true;
	run.storing.buffer_bytes = 1000000;
	run.storing.head_bps = 20e6;
	run.storing.drain_bps = 2e6;
	text_copy(run.storing.flusher, sizeof run.storing.flusher, "refused");
	summary(100, false);
	tells("about 1.00 MB ahead of its storage, the target refuses SYNCHRONIZE CACHE");
	tells("It stores that much, unless something behind that buffer holds more than 6.40 MB");
	run.storing.head_bps = 2e6; /* single writes wait, the others are free */
	summary(100, false);
	tells("about every 1.00 MB one waits for long");
	tells("or where the card stalls");
}
END_TEST

/* One request of 2048 in each pass takes 1.5 s: 8.39 MB at 3.03 MB/s take 2.768 s, so 4.268 s, or 1.97 MB/s, in the long
 * run. */
START_TEST(stalls_are_said_with_the_long_run)
{
	static const double rates[] = { 3.03e6, 3.03e6, 3.03e6, 3.03e6 };

	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 4);
	for (size_t i = 0; i < 4; i++) {
		struct run_pass *p = &run.passes[i];

		p->requests = 2048;
		p->bytes = 2048 * 4096;
		p->lat_p50_ns = 1351815;
		p->busy_ns = UINT64_C(2048) * 1351815;
		/* Two stalls in every other pass: the median does not see them. */
		if (i % 2 == 0)
			continue;
		p->busy_ns += UINT64_C(3000000000);
		p->stalls = 2;
		p->stall_ns = 3002703630;
		p->lat_max_ns = 1501351815;
	}
	run.passes[3].busy_ns -= UINT64_C(3000000000);
	run.passes[3].stalls = 0;
	run.passes[3].stall_ns = 0;
	run.passes[3].lat_max_ns = run.passes[3].lat_p50_ns;
	summary(100, false);
	tells("2 stalls of reads like these take 21 % of the time, one every 16.8 MB; median "
	      "rate 3.03 MB/s, 2.38 MB/s in the long run");
	tells("3.03 MB/s between stalls, 2.38 MB/s in the long run");
	tells("long run");
	/* One alone: nothing says that another comes as soon. */
	for (size_t i = 0; i < 4; i++)
		run.passes[i].stalls = 0;
	run.passes[1].stalls = 1;
	summary(100, false);
	tells("one stall in 33.6 MB of reads like these, 21 % of the time; median rate 3.03 MB/s, "
	      "2.38 MB/s if they come as often as that");
}
END_TEST

/* A p99 of 99 requests is their maximum: it counts from 100 on. Of passes that take the same time, those with as many are the
 * quick ones: their p99 alone may lie below the median of all. */
START_TEST(p99_needs_requests)
{
	static const double rates[] = { 500e3, 500e3, 500e3 };
	struct points points;
	struct error err = { 0 };

	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 3);
	for (size_t i = 0; i < 3; i++) {
		run.passes[i].requests = 99;
		run.passes[i].lat_p50_ns = 8000000;
		run.passes[i].lat_p99_ns = 9000000;
	}
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_double_eq(points.list[0].lat_p99_s, 0);
	points_release(&points);
	run.passes[1].requests = 200;
	run.passes[1].lat_p50_ns = 3000000;
	run.passes[1].lat_p99_ns = 7000000;
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_double_eq_tol(points.list[0].lat_p50_s, 0.008, 1e-12);
	ck_assert_double_eq(points.list[0].lat_p99_s, 0);
	points_release(&points);
	for (size_t i = 0; i < 3; i++)
		run.passes[i].requests = 100;
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_double_eq_tol(points.list[0].lat_p99_s, 0.009, 1e-12);
	points_release(&points);
}
END_TEST

/* One rule: passes with I/O by others, or lost by the host, are in no figure, and are told. */
START_TEST(passes_that_do_not_count)
{
	static const double rates[] = { 500e3, 500e3, 500e3, 100e3, 50e3 };

	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 5);
	run.passes[3].flags = RUN_PASS_FOREIGN_IO;
	run.passes[4].flags = RUN_PASS_HOST;
	summary(100, false);
	tells("2 passes are left out of the figures (3 count)");
	tells("1 pass saw I/O that this run did not ask for");
	tells("1 pass was lost by this computer");
	tells("500 kB/s");
	says_not("differ by");
}
END_TEST

START_TEST(summary_notices)
{
	static const double steady[] = { 500e3, 500e3, 501e3 }, wild[] = { 100e3, 400e3, 900e3 };

	add_passes(RUN_READ, RUN_SEQUENTIAL, 245760, steady, 3);
	add_passes(RUN_READ, RUN_RANDOM, 512, wild, 3);
	for (size_t i = 0; i < 3; i++) {
		run.passes[i].device_requests *= 2;
		run.passes[i].flags = RUN_PASS_SPLIT;
	}
	run.passes[3].lat_max_ns = 900000000;
	run.passes[4].flags = RUN_PASS_FOREIGN_IO;
	run.target.modelled = true;
	run.damaged_lines = 2;
	run.end.present = false;
	summary(80, false);
	says("modelled, not measured");
	says("has no end");
	says("2 lines of the record are damaged or missing");
	says("2 requests each");
	says("splits above 120 KiB");
	says("The target stalls");
	says("900 ms");
	says("The passes of random reads of 512 B");
	says("1 pass saw");
	says("dev/req");
}
END_TEST

START_TEST(summary_faster_than_its_link)
{
	static const double rates[] = { 5e6, 5e6, 5e6 };

	add_passes(RUN_READ, RUN_SEQUENTIAL, 4096, rates, 3);
	summary(80, false);
	says("More than the link can carry");
}
END_TEST

START_TEST(summary_without_passes)
{
	run.end.present = false;
	summary(80, false);
	says("No pass was finished");
	says("has no end");
}
END_TEST

START_TEST(summary_fits)
{
	static const double rates[] = { 12345e3, 12346e3, 1234567e3 };
	static const unsigned widths[] = { 80, 200, 60 };

	for (int d = RUN_READ; d <= RUN_WRITE; d++)
		for (uint64_t bytes = 512; bytes <= 1 << 20; bytes *= 2)
			add_passes((enum run_direction)d, RUN_RANDOM, bytes, rates, 3);
	memset(run.head.label, 'x', sizeof run.head.label - 1);
	run.passes[0].device_requests = 7;
	for (size_t i = 0; i < 3; i++) {
		const char *line = summary(widths[i], true), *end;

		for (; (end = strchr(line, '\n')); line = end + 1)
			ck_assert_msg(
				(size_t)(end - line) <= widths[i], "%.*s", (int)(end - line), line);
	}
}
END_TEST

START_TEST(hostile_text)
{
	/* Escape sequence, invalid UTF-8, C1 control, right-to-left override, then honest text. */
	text_copy(run.target.model, sizeof run.target.model,
		"a\033[31m\xff\xc2\x9b\xe2\x80\xae"
		"b\xc3\xa9");
	summary(80, true);
	says("a?[31m???b\xc3\xa9");
	summary(80, false);
	says("a?[31m???b?");
	ck_assert_ptr_null(strchr(text.bytes, 033));
}
END_TEST

START_TEST(utf8_limits)
{
	uint32_t c;

	/* Unicode table 3-7: overlong, surrogate, beyond U+10FFFF, cut. */
	ck_assert_uint_eq(clean_utf8_next("\xc0\xaf", &c), 0);
	ck_assert_uint_eq(clean_utf8_next("\xed\xa0\x80", &c), 0);
	ck_assert_uint_eq(clean_utf8_next("\xf4\x90\x80\x80", &c), 0);
	ck_assert_uint_eq(clean_utf8_next("\xe2\x82", &c), 0);
	ck_assert_uint_eq(clean_utf8_next("\xf4\x8f\xbf\xbf", &c), 4);
	ck_assert_uint_eq(c, 0x10FFFF);
}
END_TEST

Suite *report_suite(void)
{
	Suite *s = suite_create("report");
	TCase *t = tcase_create("report");

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, csv_fields);
	tcase_add_test(t, csv_rows);
	tcase_add_test(t, figures);
	tcase_add_test(t, link_ceilings);
	tcase_add_test(t, points_are_grouped);
	tcase_add_test(t, disturbed_passes_count_for_nothing);
	tcase_add_test(t, summary_of_writes);
	tcase_add_test(t, stored_needs_evidence);
	tcase_add_test(t, steady_is_qualified);
	tcase_add_test(t, seldom_waits_are_told);
	tcase_add_test(t, stalls_are_said_with_the_long_run);
	tcase_add_test(t, passes_that_do_not_count);
	tcase_add_test(t, p99_needs_requests);
	tcase_add_test(t, summary_notices);
	tcase_add_test(t, summary_faster_than_its_link);
	tcase_add_test(t, summary_without_passes);
	tcase_add_test(t, summary_fits);
	tcase_add_test(t, hostile_text);
	tcase_add_test(t, utf8_limits);
	suite_add_tcase(s, t);
	return s;
}
