/* analysis/moments against the NIST Statistical Reference Datasets, univariate summary statistics. */
#include <check.h>
#include <math.h>

#include "analysis/moments.h"

static void expect(const double *v, size_t n, double mean, double sd, double lag1, double tolerance)
{
	struct moments m = moments_of(v, n);

	ck_assert_double_eq_tol(m.mean, mean, 1e-14 * mean);
	ck_assert_double_eq_tol(m.sd, sd, tolerance * sd);
	ck_assert_double_eq_tol(m.variance, sd * sd, 2 * tolerance * sd * sd);
	ck_assert_double_eq_tol(moments_lag1(v, n), lag1, 1e-7);
}

/* first, then 500 pairs of first - step and first + step. */
static void expect_numacc(double first, double low, double high, double tolerance)
{
	double v[1001];

	v[0] = first;
	for (int i = 1; i < 1001; i++)
		v[i] = i % 2 ? low : high;
	expect(v, 1001, first, 0.1, -0.999, tolerance);
}

START_TEST(nist_numacc)
{
	static const double first[] = { 10000001, 10000003, 10000002 };

	expect(first, 3, 10000002, 1, -0.5, 1e-15);
	expect_numacc(1.2, 1.1, 1.3, 1e-13);
	/* 0.1 is not representable beside the large mean, which costs the last digits whatever the formula. */
	expect_numacc(1000000.2, 1000000.1, 1000000.3, 1e-9);
	expect_numacc(10000000.2, 10000000.1, 10000000.3, 1e-8);
}
END_TEST

START_TEST(nist_mavro)
{
	static const double v[] = { 2.00180, 2.00170, 2.00180, 2.00190, 2.00180, 2.00170, 2.00150,
		2.00140, 2.00150, 2.00150, 2.00170, 2.00180, 2.00180, 2.00190, 2.00190, 2.00210,
		2.00200, 2.00160, 2.00140, 2.00130, 2.00130, 2.00150, 2.00150, 2.00160, 2.00150,
		2.00140, 2.00130, 2.00140, 2.00150, 2.00140, 2.00150, 2.00160, 2.00150, 2.00160,
		2.00190, 2.00200, 2.00200, 2.00210, 2.00220, 2.00230, 2.00240, 2.00250, 2.00270,
		2.00260, 2.00260, 2.00260, 2.00270, 2.00260, 2.00250, 2.00240 };

	ck_assert_uint_eq(sizeof v / sizeof *v, 50);
	expect(v, 50, 2.001856, 0.000429123454003053, 0.937989183438248, 1e-12);
}
END_TEST

START_TEST(edges)
{
	static const double v[] = { 5, 5, 5 };

	ck_assert(isnan(moments_of(v, 0).mean));
	ck_assert_double_eq(moments_of(v, 1).mean, 5);
	ck_assert_double_eq(moments_of(v, 1).sd, 0);
	ck_assert(isnan(moments_lag1(v, 3)));
	ck_assert(isnan(moments_lag1(v, 1)));
}
END_TEST

Suite *moments_suite(void)
{
	Suite *s = suite_create("moments");
	TCase *c = tcase_create("moments");

	tcase_add_test(c, nist_numacc);
	tcase_add_test(c, nist_mavro);
	tcase_add_test(c, edges);
	suite_add_tcase(s, c);
	return s;
}
