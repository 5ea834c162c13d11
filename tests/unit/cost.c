/* analysis/cost, analysis/mix: the cost line, its doubts and knees, and times of mixes. */
#include <check.h>
#include <math.h>
#include <stdlib.h>

#include "analysis/cost.h"
#include "analysis/mix.h"
#include "analysis/moments.h"
#include "base/random.h"
#include "support/chance.h"

enum { SIZES = 12 };

static void same(double got, double wanted, double relative)
{
	ck_assert_double_eq_tol(got, wanted, relative * fabs(wanted));
}

/* Sizes 512, 1024, ... with t = fixed + n / rate, split by the kernel at `limit` (0: never). */
static void make(struct cost_point *p, size_t n, double fixed, double rate, uint64_t limit)
{
	for (size_t i = 0; i < n; i++) {
		uint64_t bytes = UINT64_C(512) << i;
		double pieces = limit ? ceil((double)bytes / (double)limit) : 1;

		p[i] = (struct cost_point){ bytes, pieces * fixed + (double)bytes / rate, 5, pieces,
			0 };
	}
}

/* Hockney and Jesshope: 1 MB/s and 1 ms give half rate at 1000 B. A split request pays the fixed cost per piece. */
START_TEST(recovers_exact_costs)
{
	static const uint64_t limits[] = { 0, 122880, 32768 };
	struct cost_point p[SIZES];
	struct cost_line l;

	for (int i = 0; i < 3; i++) {
		make(p, SIZES, 1e-3, 1e6, limits[i]);
		cost_line_make(&l, p, SIZES);
		ck_assert(l.known);
		ck_assert_uint_eq(l.doubts, 0);
		same(l.fixed_s, 1e-3, 1e-9);
		same(l.rate, 1e6, 1e-9);
		same(l.half_bytes, 1000, 1e-9);
		ck_assert(l.half_known);
		ck_assert(!l.knee.found);
		ck_assert_double_lt(l.worst, 1e-9);
	}
}
END_TEST

static void noisy(struct cost_point *p, double noise, unsigned passes, struct random *rng)
{
	double logs[8];
	struct moments m;

	for (unsigned pass = 0; pass < passes; pass++)
		logs[pass] = noise * chance_normal(rng);
	m = moments_of(logs, passes);
	p->seconds *= exp(m.mean);
	p->log_sd = m.sd;
	p->passes = passes;
}

/* Five passes with 3 % noise each. */
static void scatter(struct cost_point *p, struct random *rng)
{
	noisy(p, 0.03, 5, rng);
}

/* What the whole command is about: true costs inside the stated intervals. Noise 3 % a pass, 5 passes, 8 to 12 sizes,
 * from a link at full speed to a fast card. */
START_TEST(intervals_hold_the_truth)
{
	enum { TRIALS = 2000 };
	static const double truths[][2] = { { 2e-3, 1.216e6 }, { 0.1e-3, 0.27e6 },
		{ 80e-6, 40e6 } };
	struct random rng = { 77 };

	for (int k = 0; k < 3; k++) {
		unsigned fixed = 0, rate = 0, half = 0;

		for (unsigned i = 0; i < TRIALS; i++) {
			struct cost_point p[SIZES];
			struct cost_line l;
			size_t n = 8 + i % 5;

			make(p, n, truths[k][0], truths[k][1], 122880);
			for (size_t s = 0; s < n; s++)
				scatter(&p[s], &rng);
			cost_line_make(&l, p, n);
			ck_assert(l.known);
			fixed += l.fixed_bounds.low <= truths[k][0] &&
				 truths[k][0] <= l.fixed_bounds.high;
			rate += l.rate_bounds.low <= truths[k][1] &&
				truths[k][1] <= l.rate_bounds.high;
			half += l.half_known && l.half_bounds.low <= truths[k][0] * truths[k][1] &&
				truths[k][0] * truths[k][1] <= l.half_bounds.high;
		}
		ck_assert_double_ge((double)fixed / TRIALS, 0.93);
		ck_assert_double_ge((double)rate / TRIALS, 0.93);
		ck_assert_double_ge((double)half / TRIALS, 0.93);
		/* An interval that always holds would say nothing. */
		ck_assert_double_le((double)rate / TRIALS, 0.99);
	}
}
END_TEST

/* A firmware buffer of 8 KiB that costs 1 ms each time it is handed on: the line bends at 8 KiB. */
START_TEST(finds_a_buffer)
{
	struct cost_point p[SIZES];
	struct cost_line l;

	make(p, SIZES, 2e-3, 1e6, 0);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds += 1e-3 * ceil((double)p[i].request_bytes / 8192);
	cost_line_make(&l, p, SIZES);
	ck_assert(l.knee.found);
	same(l.knee.at_bytes, 8192, 1e-12);
	same(l.knee.rate_below, 1e6, 1e-6);
	same(l.knee.rate_above, 1 / (1e-6 + 1e-3 / 8192), 1e-6);
	ck_assert_double_lt(l.knee.worst, 1e-9);
}
END_TEST

/* A card that programs 16 KiB units: below, the time does not grow at all. */
START_TEST(finds_a_write_unit)
{
	struct cost_point p[SIZES];
	struct cost_line l;

	for (int i = 0; i < SIZES; i++) {
		uint64_t bytes = UINT64_C(512) << i;

		p[i] = (struct cost_point){ bytes, 4e-3 * ceil((double)bytes / 16384), 5, 1, 0 };
	}
	cost_line_make(&l, p, SIZES);
	ck_assert(l.knee.found);
	same(l.knee.at_bytes, 16384, 1e-12);
	ck_assert(isinf(l.knee.rate_below));
	same(l.knee.rate_above, 16384 / 4e-3, 1e-3);
}
END_TEST

/* Noise alone must not make knees: at most 1 % by design, seen with 3 sd of the binomial to spare. */
START_TEST(no_knee_in_noise)
{
	enum { TRIALS = 3000 };
	struct random rng = { 4711 };
	unsigned found = 0;

	for (unsigned i = 0; i < TRIALS; i++) {
		struct cost_point p[SIZES];
		struct cost_line l;

		make(p, SIZES, 1e-3, 1e6, 0);
		for (int s = 0; s < SIZES; s++)
			p[s].seconds *= exp(0.05 * chance_normal(&rng));
		cost_line_make(&l, p, SIZES);
		found += l.knee.found;
	}
	ck_assert_double_le((double)found / TRIALS, 0.01 + chance_margin(0.01, TRIALS, 3));
}
END_TEST

/* Lines that are straight, with noise: they are said to be bent in 3 % of cases at the most, however
 * noisy (1 % by design; it is more where noise is known from three passes alone). And bent ones are, through noise. */
START_TEST(noise_does_not_bend)
{
	enum { TRIALS = 1000 };
	static const double noises[] = { 0.03, 0.1, 0.2, 0.3 };
	struct random rng = { 815 };

	for (int k = 0; k < 4; k++) {
		for (unsigned passes = 1; passes <= 5; passes += 2) {
			unsigned straight = 0, bent = 0;

			for (unsigned i = 0; i < TRIALS; i++) {
				struct cost_point p[SIZES];
				struct cost_line l;

				make(p, SIZES, 1e-3, 1e6, 0);
				for (int s = 0; s < SIZES; s++)
					noisy(&p[s], noises[k], passes, &rng);
				cost_line_make(&l, p, SIZES);
				straight += (l.doubts & COST_BENT) != 0;
				make(p, SIZES, 1e-3, 1e6, 0);
				p[4].seconds *= 2;
				for (int s = 0; s < SIZES; s++)
					noisy(&p[s], noises[k], passes, &rng);
				cost_line_make(&l, p, SIZES);
				bent += (l.doubts & COST_BENT) != 0;
			}
			ck_assert_double_le(
				(double)straight / TRIALS, 0.03 + chance_margin(0.03, TRIALS, 3));
			if (noises[k] <= 0.1 && passes > 1)
				ck_assert_double_ge((double)bent / TRIALS, 0.9);
		}
	}
}
END_TEST

START_TEST(says_when_it_cannot_tell)
{
	struct cost_point p[SIZES];
	struct cost_line l;

	make(p, SIZES, 1e-3, 1e6, 0);
	cost_line_make(&l, p, 3);
	ck_assert(!l.known);
	ck_assert_uint_eq(l.doubts, COST_TOO_FEW_SIZES);
	cost_line_make(&l, p, 0);
	ck_assert(!l.known);
	/* Four sizes within a factor of 3. */
	for (int i = 0; i < 4; i++)
		p[i] = (struct cost_point){ 4096u + 2048u * (unsigned)i, 5e-3 + 1e-4 * (i % 2), 5,
			1, 0 };
	cost_line_make(&l, p, 4);
	ck_assert(l.doubts & COST_TOO_NARROW);
	ck_assert(l.doubts & COST_RATE_UNSURE);
	/* No fixed cost to be seen behind the noise. */
	make(p, 6, 1e-9, 1e6, 0);
	for (int i = 0; i < 6; i++)
		p[i].seconds *= i % 2 ? 1.05 : 0.95;
	cost_line_make(&l, p, 6);
	ck_assert(l.doubts & COST_FIXED_UNSURE);
}
END_TEST

/* 50 MB in 4 KiB requests at the rates of common practice: 50e6 / rate seconds. */
START_TEST(copy_times)
{
	static const double rates[][2] = { { 270e3, 185.185185185 }, { 480e3, 104.166666667 },
		{ 671e3, 74.515648286 }, { 915e3, 54.644808743 }, { 1.216e6, 41.118421053 } };
	struct cost_point p[SIZES];
	struct cost_line l;

	for (int i = 0; i < 5; i++) {
		struct mix_item items[2];
		struct mix_costs costs[2] = { { &l, p, SIZES }, { &l, p, SIZES } };
		struct mix_time t;

		make(p, SIZES, 1e-12, rates[i][0], 0);
		cost_line_make(&l, p, SIZES);
		ck_assert_uint_eq(mix_of_copy(items, true, 50000000, 4096), 2);
		t = mix_predict(costs, items, 2);
		same(t.seconds[1], rates[i][1], 1e-6);
		ck_assert_double_eq(t.seconds[0], 0);
		ck_assert_double_eq(t.bytes[1], 50e6);
		ck_assert_double_eq(t.requests[1], 12208);
	}
}
END_TEST

START_TEST(mixes)
{
	struct cost_point p[SIZES];
	struct cost_line l;
	struct mix_costs costs[2] = { { &l, p, SIZES }, { 0 } };
	struct mix_item items[] = { { false, 512, 10 }, { false, 3 << 20, 1 }, { false, 6144, 2 } };
	struct mix_item writes = { true, 512, 1 };

	make(p, SIZES, 1e-3, 1e6, 0);
	cost_line_make(&l, p, SIZES);
	/* Measured, beyond the measured, between the measured: t0 + n/r each. */
	same(mix_predict(costs, items, 3).seconds[0], 13e-3 + (5120 + 3145728 + 12288) / 1e6, 1e-9);
	ck_assert(isnan(mix_predict(costs, &writes, 1).seconds[1]));
	ck_assert_uint_eq(mix_of_copy(items, false, 4096, 4096), 1);
	ck_assert_uint_eq(mix_of_copy(items, false, 100, 4096), 1);
	ck_assert_uint_eq(items[0].request_bytes, 100);
}
END_TEST

Suite *cost_suite(void)
{
	Suite *s = suite_create("cost");
	TCase *c = tcase_create("cost");

	tcase_add_test(c, recovers_exact_costs);
	tcase_add_test(c, intervals_hold_the_truth);
	tcase_add_test(c, finds_a_buffer);
	tcase_add_test(c, finds_a_write_unit);
	tcase_add_test(c, no_knee_in_noise);
	tcase_add_test(c, noise_does_not_bend);
	tcase_add_test(c, says_when_it_cannot_tell);
	tcase_add_test(c, copy_times);
	tcase_add_test(c, mixes);
	suite_add_tcase(s, c);
	return s;
}
