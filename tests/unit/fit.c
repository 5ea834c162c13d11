/* analysis/fit and analysis/theil_sen. */
#include <check.h>
#include <math.h>

#include "analysis/fit.h"
#include "analysis/theil_sen.h"
#include "base/random.h"
#include "support/chance.h"

static void same(double got, double wanted, double relative)
{
	ck_assert_double_eq_tol(got, wanted, relative * fabs(wanted));
}

static const double norris[36][2] = { /* y, x: NIST StRD linear regression, Norris */
	{ 0.1, 0.2 }, { 338.8, 337.4 }, { 118.1, 118.2 }, { 888.0, 884.6 }, { 9.2, 10.1 },
	{ 228.1, 226.5 }, { 668.5, 666.3 }, { 998.5, 996.3 }, { 449.1, 448.6 }, { 778.9, 777.0 },
	{ 559.2, 558.2 }, { 0.3, 0.4 }, { 0.1, 0.6 }, { 778.1, 775.5 }, { 668.8, 666.9 },
	{ 339.3, 338.0 }, { 448.9, 447.5 }, { 10.8, 11.6 }, { 557.7, 556.0 }, { 228.3, 228.1 },
	{ 998.0, 995.8 }, { 888.8, 887.6 }, { 119.6, 120.2 }, { 0.3, 0.3 }, { 0.6, 0.3 },
	{ 557.6, 556.8 }, { 339.3, 339.1 }, { 888.0, 887.2 }, { 998.5, 999.0 }, { 778.9, 779.0 },
	{ 10.2, 11.1 }, { 117.6, 118.3 }, { 228.9, 229.2 }, { 668.4, 669.1 }, { 449.2, 448.9 },
	{ 0.2, 0.5 }
};

START_TEST(nist_norris)
{
	double x[36], y[36], w[36];
	struct fit f;

	for (int i = 0; i < 36; i++) {
		y[i] = norris[i][0];
		x[i] = norris[i][1];
		w[i] = 7;
	}
	/* Certified to 15 digits; the exact values to 22 digits agree with them. */
	ck_assert(fit_line(&f, x, y, NULL, 36));
	same(f.a, -0.262323073774029, 1e-12);
	same(f.b, 1.00211681802045, 1e-14);
	same(f.a_se, 0.232818234301152, 1e-12);
	same(f.b_se, 0.429796848199937E-03, 1e-12);
	same(f.residual_sd, 0.884796396144373, 1e-12);
	same(f.r_squared, 0.999993745883712, 1e-14);
	same(f.regression_ss, 4255954.13232369, 1e-14);
	same(f.residual_ss, 26.6173985294224, 1e-12);
	same(f.residual_ms, 0.782864662630069, 1e-12);
	same(f.ab_cov, -0.00007743275363156436, 1e-12);
	same(f.regression_ss / f.residual_ms, 5436385.54079785, 1e-12);
	/* Weights that are all alike change nothing but the scale of the residuals. */
	ck_assert(fit_line(&f, x, y, w, 36));
	same(f.a, -0.262323073774029, 1e-12);
	same(f.a_se, 0.232818234301152, 1e-12);
	same(f.residual_ss, 7 * 26.6173985294224, 1e-12);
}
END_TEST

START_TEST(weights_are_repetitions)
{
	static const double x[] = { 1, 2, 5, 5, 5, 9 }, y[] = { 2, 3, 9, 9, 9, 11 };
	static const double xw[] = { 1, 2, 5, 9 }, yw[] = { 2, 3, 9, 11 }, w[] = { 1, 1, 3, 1 };
	struct fit all, weighted;

	ck_assert(fit_line(&all, x, y, NULL, 6));
	ck_assert(fit_line(&weighted, xw, yw, w, 4));
	same(weighted.a, all.a, 1e-13);
	same(weighted.b, all.b, 1e-13);
	same(weighted.residual_ss, all.residual_ss, 1e-13);
}
END_TEST

/* t = 1000 us + n at 1 us a byte, with +1, -1, +1, ... us: exact values by rational arithmetic. */
START_TEST(cost_line_with_noise)
{
	double x[8], y[8];
	struct fit f;
	struct bounds b;

	for (int k = 0; k < 8; k++) {
		x[k] = 512 << k;
		y[k] = 1000 + x[k] + (k % 2 ? -1 : 1);
	}
	ck_assert(fit_line(&f, x, y, NULL, 8));
	same(f.b, 82623.0 / 82624, 1e-14);
	same(f.a, 1000.1975213013168, 1e-13);
	same(f.residual_sd, 1.1160403614133498, 1e-11);
	same(f.b_se, 1.8611541695564322e-05, 1e-11);
	same(f.a_se, 0.4979472538506247, 1e-11);
	same(f.a / f.b, 1000.2096268593491, 1e-13);
	b = fit_b_bounds(&f);
	same((b.high - b.low) / 2, 4.5540801942955063e-05, 1e-8);
}
END_TEST

START_TEST(refuses)
{
	static const double x[] = { 1, 1, 1 }, y[] = { 1, 2, 3 }, x2[] = { 0, 1 };
	struct fit f;
	struct bounds b;

	ck_assert(!fit_line(&f, x, y, NULL, 3));
	ck_assert(!fit_line(&f, x, y, NULL, 1));
	ck_assert(fit_line(&f, x2, y, NULL, 2));
	ck_assert(isinf(fit_b_bounds(&f).high)); /* two points cannot say how sure they are */
	ck_assert(!fit_ratio_bounds(&f, &b));
}
END_TEST

/* Intercept, slope and their ratio lie inside their 95 % intervals 95 times in 100. */
START_TEST(intervals_cover)
{
	enum { TRIALS = 6000, SIZES = 8 };
	struct random rng = { 1954 };
	unsigned a = 0, b = 0, ratio = 0;

	for (unsigned i = 0; i < TRIALS; i++) {
		double x[SIZES], y[SIZES], w[SIZES];
		struct fit f;
		struct bounds bounds;

		for (int k = 0; k < SIZES; k++) {
			x[k] = 512 << k;
			y[k] = (1000 + x[k]) * (1 + 0.02 * chance_normal(&rng));
			w[k] = 1 / ((1000 + x[k]) * (1000 + x[k]));
		}
		ck_assert(fit_line(&f, x, y, w, SIZES));
		bounds = fit_a_bounds(&f);
		a += bounds.low <= 1000 && 1000 <= bounds.high;
		bounds = fit_b_bounds(&f);
		b += bounds.low <= 1 && 1 <= bounds.high;
		ratio += fit_ratio_bounds(&f, &bounds) && bounds.low <= 1000 && 1000 <= bounds.high;
	}
	ck_assert_double_eq_tol((double)a / TRIALS, 0.95, 0.01);
	ck_assert_double_eq_tol((double)b / TRIALS, 0.95, 0.01);
	ck_assert_double_eq_tol((double)ratio / TRIALS, 0.95, 0.01);
}
END_TEST

/* Theil 1950, Sen 1968: of ten slopes six are 1/512, so one wild point changes nothing. */
START_TEST(theil_sen_ignores_a_wild_point)
{
	static const double x[] = { 512, 1024, 2048, 4096, 8192 }, y[] = { 2, 3, 5, 9, 40 };
	double intercept, slope;
	struct fit f;

	ck_assert(theil_sen(x, y, 5, &intercept, &slope));
	same(slope, 0.001953125, 1e-15);
	same(intercept, 1, 1e-14);
	ck_assert(fit_line(&f, x, y, NULL, 5));
	same(f.b, 0.004911689348118279, 1e-13);
	same(f.a, -3.7916666666666665, 1e-13);
	ck_assert(!theil_sen(x, y, 1, &intercept, &slope));
	ck_assert(!theil_sen((const double[]){ 1, 1 }, y, 2, &intercept, &slope));
}
END_TEST

Suite *fit_suite(void)
{
	Suite *s = suite_create("fit");
	TCase *c = tcase_create("fit");

	tcase_add_test(c, nist_norris);
	tcase_add_test(c, weights_are_repetitions);
	tcase_add_test(c, cost_line_with_noise);
	tcase_add_test(c, refuses);
	tcase_add_test(c, intervals_cover);
	tcase_add_test(c, theil_sen_ignores_a_wild_point);
	suite_add_tcase(s, c);
	return s;
}
