/* Model and analysis agree: the fixed cost and the rate that go into a model come out of the fit. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "analysis/cost.h"
#include "base/error.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"

enum { SIZES = 8, PASSES = 5, REQUESTS = 8, TRIALS = 1000 };

struct truth {
	const char *stages; /* of the model file */
	double fixed_s, rate;
};

static struct medium *opened(const struct truth *truth, int seed)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;
	char text[1024];

	snprintf(text, sizeof text,
		"gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\njitter = 3 %%\nseed = %d\n%s",
		seed, truth->stages);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_ONLY, &err), 0);
	return m;
}

static double pass_seconds(struct medium *m, size_t n)
{
	static unsigned char buf[65536];
	uint64_t before = medium_now_ns(m);
	size_t got;

	for (int i = 0; i < REQUESTS; i++)
		ck_assert_int_eq(medium_read(m, (uint64_t)i * n, buf, n, &got), 0);
	return (double)(medium_now_ns(m) - before) / 1e9 / REQUESTS;
}

static void measure(struct medium *m, struct cost_point *points)
{
	for (int i = 0; i < SIZES; i++) {
		double logs = 0;

		points[i] = (struct cost_point){
			.request_bytes = UINT64_C(512) << i, .passes = PASSES, .pieces = 1
		};
		for (int pass = 0; pass < PASSES; pass++)
			logs += log(pass_seconds(m, (size_t)points[i].request_bytes));
		points[i].seconds = exp(logs / PASSES);
	}
}

static bool inside(struct bounds b, double value)
{
	return value >= b.low && value <= b.high;
}

static const struct truth truths[] = {
	/* Store-and-forward: 1/(1/L + 1/C). */
	{ "link:\nrate = 1 MB/s\nrequest cost = 0.8 ms\ncard:\nread rate = 1.7 MB/s\n"
	  "write rate = 1 MB/s\nread command cost = 0.4 ms\nfirmware:\nunit = request\n",
		1.2e-3, 17e6 / 27 },
	/* Overlapped: min(L, C), and one chunk more through the faster stage. */
	{ "link:\nrate = 1 MB/s\nrequest cost = 2 ms\ncard:\nread rate = 2.5 MB/s\n"
	  "write rate = 1 MB/s\nfirmware:\nunit = request\ntransfer = overlapped\n",
		2e-3 + 512 / 2.5e6, 1e6 },
};

START_TEST(what_goes_in_comes_out)
{
	const struct truth *truth = &truths[_i];
	int fixed = 0, rate = 0;

	for (int seed = 1; seed <= TRIALS; seed++) {
		struct medium *m = opened(truth, seed);
		struct cost_point points[SIZES];
		struct cost_line line;

		measure(m, points);
		cost_line_make(&line, points, SIZES);
		ck_assert(line.known);
		ck_assert_double_eq_tol(line.rate / truth->rate, 1, 0.1);
		fixed += inside(line.fixed_bounds, truth->fixed_s);
		rate += inside(line.rate_bounds, truth->rate);
		medium_close(m);
	}
	ck_assert_msg(fixed >= TRIALS * 93 / 100, "t0 in %d of %d", fixed, TRIALS);
	ck_assert_msg(rate >= TRIALS * 93 / 100, "r in %d of %d", rate, TRIALS);
	/* An interval that always holds would say nothing. */
	ck_assert_msg(fixed + rate < TRIALS * 199 / 100, "%d and %d of %d", fixed, rate, TRIALS);
}
END_TEST

Suite *model_fit_suite(void)
{
	Suite *s = suite_create("model_fit");
	TCase *c = tcase_create("model_fit");

	tcase_add_loop_test(c, what_goes_in_comes_out, 0, 2);
	suite_add_tcase(s, c);
	return s;
}
