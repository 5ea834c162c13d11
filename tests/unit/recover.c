/* Model and cost line agree: what a gadget model was told comes out of a fit to a modelled sweep, inside the stated
 * 95 % interval in at least 93 of 100 seeded trials. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "analysis/cost.h"
#include "analysis/moments.h"
#include "base/error.h"
#include "measure/sweep.h"
#include "medium/medium.h"

enum { SIZES = 10, PASSES = 5 };

struct gathered {
	struct cost_point points[SIZES];
	double logs[SIZES][PASSES], pieces[SIZES];
};

static int take_pass(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *result, struct error *err)
{
	struct gathered *g = context;
	int i = __builtin_ctzll(point->request_bytes / 512);

	(void)at_ns, (void)err;
	g->logs[i][number - 1] = log((double)result->busy_ns / 1e9 / (double)result->requests);
	g->pieces[i] = (double)result->device_requests / (double)result->requests;
	return 0;
}

static void write_model(const char *path, unsigned seed)
{
	FILE *f = fopen(path, "w");

	ck_assert_ptr_nonnull(f);
	fprintf(f,
		"gadget-model 1\n"
		"device:\n name = lamp\n capacity = 8Mi\n jitter = 3 %%\n seed = %u\n"
		"link:\n speed = full\n rate = 1.0 MB/s\n request cost = 0.3 ms\n"
		"card:\n read rate = 1.7 MB/s\n write rate = 1.0 MB/s\n"
		" read command cost = 0.2 ms\n write command cost = 0.9 ms\n"
		"firmware:\n unit = request\n",
		seed);
	fclose(f);
}

static void sweep_model(const char *path, bool write, unsigned seed, struct gathered *g)
{
	struct sweep_plan plan = { .point_count = SIZES,
		.passes = PASSES,
		.in_flight = 1,
		.region_bytes = 8 << 20,
		.duration_ns = 400000000,
		.seed = seed };
	struct sweep_sink sink = { .context = g, .pass = take_pass };
	struct error err = { 0 };
	struct medium *m;
	char name[128];

	write_model(path, seed);
	snprintf(name, sizeof name, "model:%s", path);
	ck_assert_msg(medium_open(&m, name, MEDIUM_READ_WRITE, &err) == 0, "%s", err.text);
	for (int i = 0; i < SIZES; i++)
		plan.points[i] =
			(struct sweep_point){ .write = write, .request_bytes = UINT64_C(512) << i };
	*g = (struct gathered){ 0 };
	ck_assert_int_eq(sweep_run(m, &plan, &sink, NULL, &err), SWEEP_COMPLETE);
	medium_close(m);
	for (int i = 0; i < SIZES; i++) {
		struct moments logs = moments_of(g->logs[i], PASSES);

		g->points[i] = (struct cost_point){ .request_bytes = plan.points[i].request_bytes,
			.seconds = exp(logs.mean),
			.passes = PASSES,
			.pieces = g->pieces[i],
			.log_sd = logs.sd };
	}
}

/* Fixed: link and card cost per request. Rate: one stage after the other, 1/(1/L + 1/C). */
static void recover(bool write, double fixed_s, double rate)
{
	enum { TRIALS = 200 };
	char path[] = "/tmp/recover.XXXXXX";
	int fd = mkstemp(path);
	unsigned fixed_in = 0, rate_in = 0;

	ck_assert_int_ge(fd, 0);
	close(fd);
	for (unsigned seed = 1; seed <= TRIALS; seed++) {
		struct gathered g;
		struct cost_line l;

		sweep_model(path, write, seed, &g);
		cost_line_make(&l, g.points, SIZES);
		ck_assert(l.known);
		fixed_in += l.fixed_bounds.low <= fixed_s && fixed_s <= l.fixed_bounds.high;
		rate_in += l.rate_bounds.low <= rate && rate <= l.rate_bounds.high;
		ck_assert_double_eq_tol(l.fixed_s, fixed_s, 0.1 * fixed_s);
		ck_assert_double_eq_tol(l.rate, rate, 0.05 * rate);
	}
	unlink(path);
	ck_assert_msg(fixed_in >= TRIALS * 93 / 100, "fixed cost: %u of %d", fixed_in, TRIALS);
	ck_assert_msg(rate_in >= TRIALS * 93 / 100, "rate: %u of %d", rate_in, TRIALS);
}

START_TEST(reads)
{
	recover(false, 0.5e-3, 1 / (1 / 1.0e6 + 1 / 1.7e6));
}
END_TEST

START_TEST(writes)
{
	recover(true, 1.2e-3, 0.5e6);
}
END_TEST

Suite *recover_suite(void)
{
	Suite *s = suite_create("recover");
	TCase *c = tcase_create("recover");

	tcase_add_test(c, reads);
	tcase_add_test(c, writes);
	suite_add_tcase(s, c);
	return s;
}
