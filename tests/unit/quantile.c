/* analysis/quantile, type 7. */
#include <check.h>
#include <math.h>

#include "analysis/quantile.h"

static void expect(const double *sorted, size_t n, double p, double wanted)
{
	ck_assert_double_eq_tol(quantile_of_sorted(sorted, n, p), wanted, 1e-12);
}

/* Hyndman and Fan 1996, type 7: m = 1 - p. Values worked out by hand from the definition. */
START_TEST(one_to_ten)
{
	double v[] = { 10, 3, 7, 1, 9, 2, 8, 5, 4, 6 };

	quantile_sort(v, 10);
	expect(v, 10, 0.05, 1.45);
	expect(v, 10, 0.25, 3.25);
	expect(v, 10, 0.5, 5.5);
	expect(v, 10, 0.75, 7.75);
	expect(v, 10, 0.9, 9.1);
	expect(v, 10, 0.95, 9.55);
	expect(v, 10, 0.99, 9.91);
}
END_TEST

START_TEST(latencies_with_a_tail)
{
	double v[] = { 0.8, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.3, 5.0, 12.5 };

	expect(v, 11, 0.1, 0.9);
	expect(v, 11, 0.25, 0.975);
	expect(v, 11, 0.5, 1.1);
	expect(v, 11, 0.75, 1.25);
	expect(v, 11, 0.9, 5.0);
	expect(v, 11, 0.95, 8.75);
	expect(v, 11, 0.99, 11.75);
	expect(v, 11, 0.999, 12.425);
}
END_TEST

START_TEST(edges)
{
	double one[] = { 4 }, two[] = { 1, 3 };

	ck_assert(isnan(quantile_of_sorted(one, 0, 0.5)));
	expect(one, 1, 0.99, 4);
	expect(two, 2, 0, 1);
	expect(two, 2, 1, 3);
	expect(two, 2, -1, 1);
	expect(two, 2, 7, 3);
	ck_assert_double_eq(quantile_median_of_sorted(two, 2), 2);
}
END_TEST

Suite *quantile_suite(void)
{
	Suite *s = suite_create("quantile");
	TCase *c = tcase_create("quantile");

	tcase_add_test(c, one_to_ten);
	tcase_add_test(c, latencies_with_a_tail);
	tcase_add_test(c, edges);
	suite_add_tcase(s, c);
	return s;
}
