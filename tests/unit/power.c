/* analysis/power. Noncentral t against SciPy 1.10 (scipy.stats.nct.cdf), a general-purpose reference library; delta 0
 * against Student's t in closed form. */
#include <check.h>
#include <math.h>

#include "analysis/power.h"
#include "analysis/student.h"

static const struct {
	double t, df, delta, p;
} table[] = {
	{ 2, 1, 1, 0.622871964460 },
	{ 0.5, 2, 1, 0.293422536075 },
	{ 3, 4, 2, 0.710539476290 },
	{ 4, 8, 5, 0.210270581652 },
	{ 2.3, 8, 3, 0.250254665774 },
	{ -1, 5, 1, 0.030807353261 },
	{ 10, 3, 4, 0.913723806789 },
	{ 5, 200, 4, 0.832504618241 },
	{ 3.9, 6.3, 4.6, 0.276831641178 },
	{ 2, 1e6, 1, 0.841344383113 },
};

START_TEST(reference_values)
{
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		ck_assert_double_eq_tol(noncentral_t_cdf(table[i].t, table[i].df, table[i].delta),
			table[i].p, 1e-9);
}
END_TEST

START_TEST(central)
{
	for (double t = -6; t <= 6; t += 0.7)
		for (double df = 1; df < 300; df *= 2.3)
			ck_assert_double_eq_tol(
				noncentral_t_cdf(t, df, 0), student_cdf(t, df), 1e-8);
}
END_TEST

/* SciPy: the delta at which nct.sf(t.ppf(1 - 0.05/24, 8), 8, delta) is 0.8 is 5.009513739. */
START_TEST(known_spread)
{
	double critical = student_critical(1 - 0.05 / 12, 8);

	ck_assert_double_eq_tol(power_detectable(critical, INFINITY, 8, 0.8), 5.009513739, 2e-3);
	/* A spread that is known only as well as it was estimated promises less. */
	ck_assert_double_gt(power_detectable(critical, 8, 8, 0.8), 5.3);
	ck_assert_double_eq_tol(power_detectable(critical, 1e6, 8, 0.8),
		power_detectable(critical, INFINITY, 8, 0.8), 2e-3);
}
END_TEST

static bool from(size_t n, const void *context)
{
	return n >= *(const size_t *)context;
}

START_TEST(smallest)
{
	for (size_t first = 1; first < 70; first++)
		ck_assert_uint_eq(power_smallest(4, 64, from, &first), first < 4     ? 4
								       : first <= 64 ? first
										     : 0);
}
END_TEST

Suite *power_suite(void);
Suite *power_suite(void)
{
	Suite *s = suite_create("power");
	TCase *c = tcase_create("power");

	tcase_add_test(c, reference_values);
	tcase_add_test(c, central);
	tcase_add_test(c, known_spread);
	tcase_add_test(c, smallest);
	suite_add_tcase(s, c);
	return s;
}
