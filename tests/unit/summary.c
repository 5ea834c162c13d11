/* analysis/summary: the rate of a point and its interval. */
#include <check.h>
#include <math.h>

#include "analysis/summary.h"
#include "base/random.h"
#include "support/chance.h"

START_TEST(by_hand)
{
	/* Logarithms -s, 0, s about 1 MB/s: mean 0, sd s, half-width t(0.975, 2) s / sqrt(3). */
	double s = 0.02, rates[] = { 1e6, 1e6 * exp(s), 1e6 * exp(-s) };
	struct rate_summary r = rate_summary_of(rates, 3);
	double half = 4.30265273 * s / sqrt(3);

	ck_assert_uint_eq(r.n, 3);
	ck_assert(r.interval_known);
	ck_assert_double_eq_tol(r.typical, 1e6, 1e-6);
	ck_assert_double_eq_tol(r.median, 1e6, 1e-6);
	ck_assert_double_eq_tol(r.low, 1e6 * exp(-half), 1e-3);
	ck_assert_double_eq_tol(r.high, 1e6 * exp(half), 1e-3);
	ck_assert_double_eq_tol(r.log_sd, s, 1e-12);
	ck_assert_double_eq(r.slowest, 1e6 * exp(-s));
	ck_assert_double_eq(r.fastest, 1e6 * exp(s));
	ck_assert_double_eq(rates[0], 1e6); /* the caller's array is left alone */
}
END_TEST

START_TEST(too_few)
{
	double rates[] = { 2e6, 0, NAN, 1e6, -1, INFINITY };
	struct rate_summary r = rate_summary_of(rates, 6);

	ck_assert_uint_eq(r.n, 2);
	ck_assert(!r.interval_known);
	ck_assert_double_eq(r.median, 1.5e6);
	r = rate_summary_of(rates, 0);
	ck_assert_uint_eq(r.n, 0);
	ck_assert(!r.interval_known);
}
END_TEST

START_TEST(many)
{
	double rates[1000];

	for (int i = 0; i < 1000; i++)
		rates[i] = 1000 - i;
	ck_assert_uint_eq(rate_summary_of(rates, 1000).n, 1000);
	ck_assert_double_eq(rate_summary_of(rates, 1000).median, 500.5);
}
END_TEST

/* 95 % means 95 in 100 repetitions: simulated with 3 % noise, at the smallest and at usual numbers of passes. */
START_TEST(covers_as_often_as_it_says)
{
	enum { TRIALS = 10000 };
	static const size_t passes[] = { 3, 5, 12 };
	struct random rng = { 20081 };

	for (size_t k = 0; k < 3; k++) {
		unsigned inside = 0;

		for (unsigned i = 0; i < TRIALS; i++) {
			double rates[12];
			struct rate_summary r;

			for (size_t j = 0; j < passes[k]; j++)
				rates[j] = 671e3 * exp(0.03 * chance_normal(&rng));
			r = rate_summary_of(rates, passes[k]);
			inside += r.low <= 671e3 && 671e3 <= r.high;
		}
		ck_assert_double_eq_tol((double)inside / TRIALS, 0.95, 0.01);
	}
}
END_TEST

Suite *summary_suite(void)
{
	Suite *s = suite_create("summary");
	TCase *c = tcase_create("summary");

	tcase_add_test(c, by_hand);
	tcase_add_test(c, too_few);
	tcase_add_test(c, many);
	tcase_add_test(c, covers_as_often_as_it_says);
	suite_add_tcase(s, c);
	return s;
}
