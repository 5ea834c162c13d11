/* The page's pieces: escaping, scales, details. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/details.h"
#include "report/page.h"
#include "report/scale.h"
#include "report/svg.h"
#include "support/sample_run.h"

START_TEST(markup_is_escaped)
{
	struct text t;

	text_init(&t);
	markup_add(&t, "<a href=\"x\" id='y'>&\x01\xff</a>");
	/* HTML standard, 13.3: & < > and both quotes. */
	ck_assert_str_eq(t.bytes, "&lt;a href=&quot;x&quot; id=&#39;y&#39;&gt;&amp;??&lt;/a&gt;");
	text_release(&t);
}
END_TEST

START_TEST(scales)
{
	struct scale linear = { .low = 0, .high = 1216, .from = 100, .to = 0 };
	struct scale decades = { .low = 3, .high = 70000, .logarithmic = true };
	struct scale flat = { .low = 5, .high = 5 };
	double ticks[SCALE_TICKS_MAX];

	ck_assert_double_eq_tol(scale_at(&linear, 608), 50, 1e-9);
	ck_assert_double_eq_tol(scale_at(&linear, 1e9), 0, 1e-9); /* clamped */
	ck_assert_double_eq_tol(scale_at(&linear, (double)NAN), 100, 1e-9);
	scale_round(&linear);
	ck_assert_double_eq(linear.high, 1500);
	ck_assert_uint_eq(scale_ticks(&linear, ticks), 4); /* 0, 500, 1000, 1500 */
	ck_assert_double_eq(ticks[3], 1500);
	scale_round(&decades);
	ck_assert_double_eq_tol(decades.low, 2, 1e-9);
	ck_assert_double_eq_tol(decades.high, 100000, 1e-6);
	ck_assert_uint_eq(scale_ticks(&decades, ticks), 5); /* 10 to 100000 */
	ck_assert_double_eq_tol(ticks[0], 10, 1e-9);
	scale_round(&flat);
	ck_assert_double_gt(flat.high, flat.low);
}
END_TEST

static void make_record(char *path, struct run *run)
{
	int fd = mkstemp(path);

	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
	sample_run_init(run);
	for (uint32_t i = 1; i <= 3; i++)
		sample_run_add(run, RUN_READ, RUN_RANDOM, 4096, i, 500e3);
	run->passes[1].lat_max_ns = 900000000;
	sample_run_write(run, path);
	run_release(run);
}

START_TEST(details_follow_their_pass)
{
	char path[] = "/tmp/blkassay-page.XXXXXX";
	struct error err = { 0 };
	struct points points;
	struct details d;
	struct run run;

	make_record(path, &run);
	ck_assert_int_eq(run_load(&run, path, &err), 0);
	ck_assert_int_eq(points_make(&points, &run, &err), 0);
	ck_assert_int_eq(details_load(&d, &run, &points, &err), 0);
	ck_assert_uint_eq(d.list[0].requests, 3 * run.passes[0].requests);
	ck_assert_uint_eq(d.list[0].trace_count, 3);
	/* 4096 B at 500 kB/s: 8.192 ms, within a bin of 2.2 %; the slowest is exact. */
	ck_assert_double_eq_tol(detail_quantile_s(&d.list[0], 0.5), 8.192e-3, 8.192e-3 * 0.023);
	ck_assert_double_eq_tol(detail_quantile_s(&d.list[0], 1), 0.9, 0.9 * 0.023);
	for (size_t i = 0; i < d.list[0].traces[0].steps; i++)
		ck_assert_double_eq_tol(d.list[0].traces[0].rate_bps[i], 500e3, 500);
	details_release(&d);
	/* With a line missing, places are not to be trusted: nothing is taken. */
	run.damaged_lines = 1;
	ck_assert_int_eq(details_load(&d, &run, &points, &err), 0);
	ck_assert_uint_eq(d.list[0].requests, 0);
	details_release(&d);
	points_release(&points);
	run_release(&run);
	unlink(path);
}
END_TEST

Suite *page_suite(void)
{
	Suite *s = suite_create("page");
	TCase *t = tcase_create("page");

	tcase_add_test(t, markup_is_escaped);
	tcase_add_test(t, scales);
	tcase_add_test(t, details_follow_their_pass);
	suite_add_tcase(s, t);
	return s;
}
