/* trace: lines of the kernel's block events, and lines that are none. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "platform/trace.h"

static bool parse(struct trace_event *e, const char *line)
{
	/* A copy without a NUL: reading past the end shows under ASan. */
	size_t n = strlen(line);
	char *copy = malloc(n + !n);
	bool ok;

	memcpy(copy, line, n);
	ok = trace_parse(e, copy, n);
	free(copy);
	return ok;
}

/* Forms of Linux 6.18 (with I/O priority) and 5.10 (without), TP_printk of include/trace/events/block.h. */
START_TEST(both_forms)
{
	struct trace_event e;

	ck_assert(
		parse(&e, "              dd-318     [001] .....  4822.751889: block_rq_issue: 7,1 "
			  "W 8192 () 96 + 16 none,0,0 [dd]"));
	ck_assert_int_eq(e.kind, TRACE_ISSUE);
	ck_assert_uint_eq(e.at_ns, 4822751889000);
	ck_assert(e.write && !e.read && !e.flush && !e.fua && !e.discard);
	ck_assert_uint_eq(e.sector, 96);
	ck_assert_uint_eq(e.sectors, 16);
	ck_assert(parse(&e,
		"   kworker/0:1H-12   [000] d..1  12.000001: block_rq_complete: 8,16 RA () "
		"2048 + 8 [0]"));
	ck_assert_int_eq(e.kind, TRACE_COMPLETE);
	ck_assert_uint_eq(e.at_ns, 12000001000);
	ck_assert(e.read && !e.write);
	ck_assert_uint_eq(e.sector, 2048);
	ck_assert_int_eq(e.error, 0);
}
END_TEST

START_TEST(letters)
{
	static const struct {
		const char *letters;
		bool read, write, discard, flush, fua;
	} cases[] = {
		{ "R", true, false, false, false, false },
		{ "RSM", true, false, false, false, false },
		{ "WS", false, true, false, false, false },
		{ "WFS", false, true, false, false, true },
		{ "FWS", false, true, false, true, false },
		{ "FWFS", false, true, false, true, true },
		{ "FF", false, false, false, true, false },
		{ "D", false, false, true, false, false },
		{ "DE", false, false, true, false, false },
		{ "N", false, false, false, false, false },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct trace_event e;
		char line[200];

		snprintf(line, sizeof line,
			"x-1 [000] d..1 1.000000: block_rq_issue: 8,0 %s 4096 () 0 + 8 none,0,0 "
			"[x]",
			cases[i].letters);
		ck_assert_msg(parse(&e, line), "%s", cases[i].letters);
		ck_assert_msg(e.read == cases[i].read && e.write == cases[i].write &&
				      e.discard == cases[i].discard && e.flush == cases[i].flush &&
				      e.fua == cases[i].fua,
			"%s", cases[i].letters);
	}
}
END_TEST

START_TEST(errors_and_losses)
{
	struct trace_event e;

	ck_assert(parse(
		&e, "x-1 [000] d..1 1.500000: block_rq_complete: 8,0 W () 8 + 8 none,0,0 [-5]"));
	ck_assert_int_eq(e.error, -5);
	ck_assert(parse(&e, "CPU:1 [LOST 123 EVENTS]"));
	ck_assert_int_eq(e.kind, TRACE_LOST);
	ck_assert_uint_eq(e.lost, 123);
	/* print_trace_line() of kernel/trace/trace.c, when the buffer cannot say how many. */
	ck_assert(parse(&e, "CPU:0 [LOST EVENTS]"));
	ck_assert_int_eq(e.kind, TRACE_LOST);
	ck_assert_uint_eq(e.lost, 1);
	/* Half such a line in a process's name (found by fuzzing). */
	ck_assert(parse(&e,
		"CPU:1 [LOST 5 EV-7 [001] d..1 2.000000: block_rq_issue: 7,1 R 512 () 3 + 1 "
		"none,0,0 [CPU:1 [LOST 5 EVENTS]"));
	ck_assert_int_eq(e.kind, TRACE_ISSUE);
	ck_assert_uint_eq(e.lost, 0);
}
END_TEST

/* A process can call itself almost anything. */
START_TEST(hostile_process_names)
{
	struct trace_event e;

	ck_assert(parse(&e,
		"a: b [9] 1.000000: -77 [001] ..... 5.000000: block_rq_issue: 7,1 W 512 () "
		"3 + 1 none,0,0 [a: b [9] 1.00]"));
	ck_assert_uint_eq(e.at_ns, 5000000000);
	ck_assert_uint_eq(e.sector, 3);
	ck_assert_uint_eq(e.sectors, 1);
}
END_TEST

START_TEST(nonsense)
{
	static const char *const lines[] = { "", "CPU:", "CPU:0 [LOST ", "CPU:0 [LOST E",
		"CPU:0 [LOST x EVENTS]", "block_rq_issue",
		": block_rq_issue: ", "1.000000: block_rq_issue: ", "1.000000: block_rq_issue: 7,1",
		"1.000000: block_rq_issue: 7,1 W 512 () ",
		"1.000000: block_rq_issue: 7,1 W 512 () 3 +",
		"1.000000: block_rq_issue: 7,1 W 512 () 3 + x",
		"x: block_rq_issue: 7,1 W 512 () 3 + 1",
		"1.0000000000: block_rq_issue: 7,1 W 512 () 3 + 1",
		"1.000000: block_rq_issue: 7,1 W 1 () 99999999999999999999 + 1",
		"1.000000: block_rq_complete: 7,1 W () 3 + 1 none,0,0",
		"1.000000: block_rq_complete: 7,1 W () 3 + 1 none,0,0 [",
		"1.000000: block_rq_complete: 7,1 W () 3 + 1 none,0,0 [-99999]", "# tracer: nop" };
	struct trace_event e;

	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++)
		ck_assert_msg(!parse(&e, lines[i]), "'%s' was taken", lines[i]);
}
END_TEST

Suite *trace_suite(void)
{
	Suite *s = suite_create("trace");
	TCase *t = tcase_create("parse");

	tcase_add_test(t, both_forms);
	tcase_add_test(t, letters);
	tcase_add_test(t, errors_and_losses);
	tcase_add_test(t, hostile_process_names);
	tcase_add_test(t, nonsense);
	suite_add_tcase(s, t);
	return s;
}
