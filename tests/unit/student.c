/* analysis/student, analysis/normal, analysis/beta. Critical values: the table of Student's t in the NIST/SEMATECH
 * e-Handbook of Statistical Methods gives them to three decimals; the further digits were computed with 30-digit
 * arithmetic and round to that table. */
#include <check.h>
#include <math.h>

#include "analysis/beta.h"
#include "analysis/normal.h"
#include "analysis/student.h"

static const struct {
	double df, c90, c95, c99;
} table[] = {
	{ 1, 6.313751515, 12.70620474, 63.65674116 },
	{ 2, 2.91998558, 4.30265273, 9.924843201 },
	{ 3, 2.353363435, 3.182446305, 5.84090931 },
	{ 4, 2.131846786, 2.776445105, 4.604094871 },
	{ 5, 2.015048373, 2.570581836, 4.032142984 },
	{ 6, 1.943180281, 2.446911851, 3.707428021 },
	{ 7, 1.894578605, 2.364624252, 3.499483297 },
	{ 8, 1.859548038, 2.306004135, 3.355387331 },
	{ 9, 1.833112933, 2.262157163, 3.249835542 },
	{ 10, 1.812461123, 2.228138852, 3.169272673 },
	{ 12, 1.782287556, 2.17881283, 3.054539589 },
	{ 15, 1.753050356, 2.131449546, 2.946712883 },
	{ 20, 1.724718243, 2.085963447, 2.84533971 },
	{ 25, 1.708140761, 2.059538553, 2.787435814 },
	{ 30, 1.697260887, 2.042272456, 2.749995654 },
	{ 34, 1.690924255, 2.032244509, 2.728394367 },
	{ 40, 1.683851013, 2.02107539, 2.704459267 },
	{ 60, 1.670648865, 2.000297822, 2.660283029 },
	{ 100, 1.660234326, 1.983971519, 2.625890521 },
	{ 120, 1.657650899, 1.979930405, 2.617421145 },
	{ 1e12, 1.64485362695, 1.95996398454, 2.57582930355 },
};

START_TEST(critical_values)
{
	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		double df = table[i].df;

		ck_assert_double_eq_tol(
			student_critical(0.90, df), table[i].c90, 2e-9 * table[i].c90);
		ck_assert_double_eq_tol(
			student_critical(0.95, df), table[i].c95, 2e-9 * table[i].c95);
		ck_assert_double_eq_tol(
			student_critical(0.99, df), table[i].c99, 2e-9 * table[i].c99);
	}
}
END_TEST

START_TEST(both_ways)
{
	static const double dfs[] = { 0.7, 1, 2.5, 4, 17.3, 500, 1e6 };
	static const double ps[] = { 1e-9, 0.001, 0.025, 0.2, 0.5, 0.8, 0.999 };

	for (size_t i = 0; i < sizeof dfs / sizeof *dfs; i++)
		for (size_t k = 0; k < sizeof ps / sizeof *ps; k++)
			ck_assert_double_eq_tol(
				student_cdf(student_quantile(ps[k], dfs[i]), dfs[i]), ps[k],
				1e-8 * ps[k]);
}
END_TEST

START_TEST(closed_forms)
{
	/* df 1 is Cauchy: P(T <= t) = 1/2 + atan(t)/pi. df 2: 1/2 + t / (2 sqrt(2 + t^2)). */
	for (double t = -8; t <= 8; t += 0.37) {
		ck_assert_double_eq_tol(student_cdf(t, 1), 0.5 + atan(t) / M_PI, 1e-14);
		ck_assert_double_eq_tol(student_cdf(t, 2), 0.5 + t / (2 * sqrt(2 + t * t)), 1e-14);
	}
	ck_assert_double_eq(student_two_sided(0, 5), 1);
	ck_assert(isnan(student_two_sided(NAN, 5)));
}
END_TEST

START_TEST(normal_both_ways)
{
	ck_assert_double_eq_tol(normal_quantile(0.975), 1.95996398454, 1e-11);
	ck_assert_double_eq_tol(normal_quantile(0.95), 1.64485362695, 1e-11);
	ck_assert_double_eq_tol(normal_quantile(0.005), -2.57582930355, 1e-11);
	ck_assert_double_eq_tol(normal_cdf(normal_quantile(1e-12)), 1e-12, 1e-22);
	ck_assert(isinf(normal_quantile(0)) && isinf(normal_quantile(1)));
}
END_TEST

START_TEST(beta_known)
{
	/* I_x(1, b) = 1 - (1-x)^b; I_x(a, 1) = x^a; symmetry I_x(a,b) = 1 - I_{1-x}(b,a). */
	for (double x = 0.02; x < 1; x += 0.07) {
		ck_assert_double_eq_tol(beta_regularised(x, 1, 7), 1 - pow(1 - x, 7), 1e-14);
		ck_assert_double_eq_tol(beta_regularised(x, 3, 1), pow(x, 3), 1e-14);
		ck_assert_double_eq_tol(
			beta_regularised(x, 2.5, 40), 1 - beta_regularised(1 - x, 40, 2.5), 1e-14);
	}
	ck_assert_double_eq_tol(beta_quantile(0.3, 1, 7), 1 - pow(0.7, 1.0 / 7), 1e-14);
	ck_assert_double_eq(beta_quantile(0, 2, 2), 0);
	ck_assert_double_eq(beta_quantile(1, 2, 2), 1);
}
END_TEST

Suite *student_suite(void)
{
	Suite *s = suite_create("student");
	TCase *c = tcase_create("student");

	tcase_add_test(c, critical_values);
	tcase_add_test(c, both_ways);
	tcase_add_test(c, closed_forms);
	tcase_add_test(c, normal_both_ways);
	tcase_add_test(c, beta_known);
	suite_add_tcase(s, c);
	return s;
}
