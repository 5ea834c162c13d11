/* analysis/ranksum: exact critical values and worked examples. */
#include <check.h>
#include <math.h>

#include "analysis/ranksum.h"

/* Largest u to reject at two-sided 5 %, (n1, n2): excerpt of the usual table of Mann and Whitney's U. Two entries that
 * are misprinted there are given as exact counting has them: (14,17) is 69, (4,20) is 14. */
static const struct {
	size_t n1, n2;
	double u;
} critical[] = {
	{ 3, 5, 0 },
	{ 3, 20, 8 },
	{ 4, 4, 0 },
	{ 4, 10, 5 },
	{ 4, 20, 14 },
	{ 5, 5, 2 },
	{ 5, 20, 20 },
	{ 6, 6, 5 },
	{ 7, 7, 8 },
	{ 8, 8, 13 },
	{ 9, 9, 17 },
	{ 10, 10, 23 },
	{ 10, 20, 55 },
	{ 12, 11, 33 },
	{ 13, 16, 59 },
	{ 14, 17, 69 },
	{ 15, 20, 90 },
	{ 17, 17, 87 },
	{ 18, 20, 112 },
	{ 19, 20, 119 },
	{ 20, 20, 127 },
};

START_TEST(critical_values)
{
	for (size_t i = 0; i < sizeof critical / sizeof *critical; i++) {
		double u = critical[i].u;
		size_t n1 = critical[i].n1, n2 = critical[i].n2;

		ck_assert_double_le(ranksum_exact_p(u, n1, n2), 0.05);
		ck_assert_double_gt(ranksum_exact_p(u + 1, n1, n2), 0.05);
		ck_assert_double_eq_tol(
			ranksum_exact_p(u, n1, n2), ranksum_exact_p(u, n2, n1), 1e-15);
	}
	ck_assert_double_eq_tol(ranksum_exact_p(69, 14, 17), 0.048385, 5e-7);
	ck_assert_double_eq_tol(ranksum_exact_p(15, 4, 20), 0.055524, 5e-7);
}
END_TEST

/* 2 / C(2n, n): with three a side no verdict at 5 % exists. */
START_TEST(smallest_p)
{
	ck_assert_double_eq_tol(ranksum_exact_p(0, 3, 3), 0.1, 1e-15);
	ck_assert_double_eq_tol(ranksum_exact_p(0, 4, 4), 2.0 / 70, 1e-15);
	ck_assert_double_eq_tol(ranksum_exact_p(0, 5, 5), 2.0 / 252, 1e-15);
	ck_assert_double_eq_tol(ranksum_exact_p(0, 10, 10), 2.0 / 184756, 1e-18);
	ck_assert_double_eq_tol(ranksum_exact_p(0, 50, 50) / (2 / 1.0089134454556417e29), 1, 1e-12);
}
END_TEST

/* Hollander and Wolfe, Nonparametric Statistical Methods: permeability of placentas. p = 2 * 382/3003. */
START_TEST(hollander_wolfe)
{
	static const double x[] = { 0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46 };
	static const double y[] = { 1.15, 0.88, 0.90, 0.74, 1.21 };
	struct ranksum r = ranksum_of(x, 10, y, 5);

	ck_assert(r.known && r.exact);
	ck_assert_double_eq(r.u_a, 35);
	ck_assert_double_eq(r.u_b, 15);
	ck_assert_double_eq_tol(r.p, 764.0 / 3003, 1e-14);
}
END_TEST

/* With ties: variance 265/12, z 1.383187459157222 with continuity correction (computed from the definition). */
START_TEST(ties)
{
	static const double a[] = { 1, 2, 2, 3, 5 }, b[] = { 2, 4, 4, 5, 6 };
	struct ranksum r = ranksum_of(a, 5, b, 5);

	ck_assert(r.known && !r.exact);
	ck_assert_double_eq(r.u_a, 5.5);
	ck_assert_double_eq(r.u_b, 19.5);
	ck_assert_double_eq_tol(r.p, 0.16660739402832653, 1e-14);
}
END_TEST

START_TEST(edges)
{
	static const double same[] = { 1, 1, 1 };

	ck_assert(!ranksum_of(same, 0, same, 3).known);
	ck_assert_double_eq(ranksum_of(same, 3, same, 3).p, 1);
	ck_assert(isnan(ranksum_exact_p(0, 51, 3)));
}
END_TEST

Suite *ranksum_suite(void)
{
	Suite *s = suite_create("ranksum");
	TCase *c = tcase_create("ranksum");

	tcase_add_test(c, critical_values);
	tcase_add_test(c, smallest_p);
	tcase_add_test(c, hollander_wolfe);
	tcase_add_test(c, ties);
	tcase_add_test(c, edges);
	suite_add_tcase(s, c);
	return s;
}
