/* analysis/holm, analysis/welch, analysis/interval. */
#include <check.h>
#include <math.h>

#include "analysis/holm.h"
#include "analysis/interval.h"
#include "analysis/welch.h"

/* Holm 1979; adjusted values worked out from its definition. */
START_TEST(holm)
{
	static const double p1[] = { 0.01, 0.04, 0.03, 0.005 }, a1[] = { 0.03, 0.06, 0.06, 0.02 };
	static const double p2[] = { 0.001, 0.012, 0.02, 0.04, 0.3 },
			    a2[] = { 0.005, 0.048, 0.06, 0.08, 0.3 };
	double got[5];

	ck_assert_int_eq(holm_adjust(got, p1, 4), 0);
	for (int i = 0; i < 4; i++)
		ck_assert_double_eq_tol(got[i], a1[i], 1e-15);
	ck_assert_int_eq(holm_adjust(got, p2, 5), 0);
	for (int i = 0; i < 5; i++)
		ck_assert_double_eq_tol(got[i], a2[i], 1e-15);
	ck_assert_int_eq(holm_adjust(got, p1, 0), 0);
	ck_assert_int_eq(holm_adjust(got, (const double[]){ 0.7, 0.9 }, 2), 0);
	ck_assert_double_eq(got[0], 1);
}
END_TEST

/* No failure in n trials: 1 - 0.05^(1/n) one-sided, 1 - 0.025^(1/n) two-sided (Clopper and Pearson 1934). */
START_TEST(share_of_none)
{
	static const struct {
		uint64_t n;
		double one, two, one99;
	} table[] = {
		{ 1, 0.95, 0.975, 0.99 },
		{ 10, 0.258865550893, 0.308497107819, 0.36904265552 },
		{ 100, 0.029513049607, 0.0362166926452, 0.0450074139786 },
		{ 1000, 0.0029912495451, 0.00368208389687, 0.00459458264847 },
		{ 1000000, 2.99572778635e-6, 3.68887265021e-6, 4.60515958221e-6 },
	};

	for (size_t i = 0; i < sizeof table / sizeof *table; i++) {
		uint64_t n = table[i].n;

		ck_assert_double_eq_tol(
			interval_upper_of_none(n, 0.95), table[i].one, 1e-11 * table[i].one);
		ck_assert_double_eq_tol(
			interval_upper_of_none(n, 0.99), table[i].one99, 1e-11 * table[i].one99);
		ck_assert_double_eq_tol(
			interval_share(0, n, 0.95).high, table[i].two, 1e-11 * table[i].two);
		ck_assert_double_eq(interval_share(0, n, 0.95).low, 0);
		ck_assert_double_eq_tol(interval_share(n, n, 0.95).low, 1 - table[i].two, 1e-11);
	}
	ck_assert_double_eq(interval_upper_of_none(0, 0.95), 1);
}
END_TEST

START_TEST(share_of_some)
{
	struct share_bounds b = interval_share(1, 20, 0.95);

	ck_assert_double_eq_tol(b.low, 0.00126508949795, 1e-13);
	ck_assert_double_eq_tol(b.high, 0.248732762772, 1e-12);
	b = interval_share(3, 100, 0.95);
	ck_assert_double_eq_tol(b.low, 0.00622997153831, 1e-13);
	ck_assert_double_eq_tol(b.high, 0.0851760529743, 1e-12);
}
END_TEST

/* By hand: means 10 and 12, variances 4 and 1, 4 and 6 values: se^2 = 1 + 1/6, df = (7/6)^2 / (1/3 + 1/180). */
START_TEST(welch_by_hand)
{
	struct moments a = { 4, 10, 4, 2 }, b = { 6, 12, 1, 1 };
	struct welch w = welch_of(&a, &b);

	ck_assert(w.known);
	ck_assert_double_eq_tol(w.se, sqrt(7.0 / 6), 1e-15);
	ck_assert_double_eq_tol(w.df, (49.0 / 36) / (1.0 / 3 + 1.0 / 180), 1e-13);
	ck_assert_double_eq_tol(w.t, 2 / sqrt(7.0 / 6), 1e-14);
	ck_assert_double_eq_tol((w.low + w.high) / 2, 2, 1e-14);
	ck_assert_double_eq_tol(welch_p_below(&w, 2), 0.5, 1e-14);
	/* Equal spread and size: the plain two-sample t with 2n - 2 degrees of freedom, critical value 2.306004135. */
	a = (struct moments){ 5, 0, 1, 1 };
	b = (struct moments){ 5, 2.306004135 * sqrt(2.0 / 5), 1, 1 };
	w = welch_of(&a, &b);
	ck_assert_double_eq_tol(w.df, 8, 1e-13);
	ck_assert_double_eq_tol(w.p, 0.05, 1e-10);
	ck_assert_double_eq_tol(w.low, 0, 1e-9);
}
END_TEST

START_TEST(welch_edges)
{
	struct moments one = { 1, 3, 0, 0 }, two = { 2, 1, 0, 0 }, three = { 3, 1, 1, 1 };
	struct welch w = welch_of(&one, &one);

	ck_assert(!w.known);
	ck_assert_double_eq(w.p, 1);
	ck_assert_double_eq(welch_p_below(&w, 0), 1);
	/* One run against several: their spread counts for both, sqrt(1 + 1/3). */
	w = welch_of(&three, &one);
	ck_assert(w.known);
	ck_assert_double_eq_tol(w.se, sqrt(4.0 / 3), 1e-15);
	ck_assert_double_eq(w.df, 2);
	/* No noise at all, as in a model without jitter. */
	w = welch_of(&two, &two);
	ck_assert(w.known);
	ck_assert_double_eq(w.p, 1);
	w = welch_of(&two, &one);
	ck_assert_double_eq(w.p, 0);
	ck_assert_double_eq(welch_p_below(&w, 5), 0);
	ck_assert_double_eq(welch_p_below(&w, 1), 1);
}
END_TEST

Suite *chances_suite(void)
{
	Suite *s = suite_create("chances");
	TCase *c = tcase_create("chances");

	tcase_add_test(c, holm);
	tcase_add_test(c, share_of_none);
	tcase_add_test(c, share_of_some);
	tcase_add_test(c, welch_by_hand);
	tcase_add_test(c, welch_edges);
	suite_add_tcase(s, c);
	return s;
}
