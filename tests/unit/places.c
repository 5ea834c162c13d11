/* analysis/places: rates that depend on the part of the region. With two and four degrees of freedom F has a closed form,
 * P(F >= f) = (1 + f / 2)^-2 (Abramowitz and Stegun 26.6.4 with 2 and 4; its 1 % point is 18, as in the handbook's tables). */
#include <check.h>
#include <math.h>

#include "analysis/places.h"
#include "base/random.h"
#include "support/chance.h"

/* Three points, three parts: effects -a, 0, a of the parts, and rests of s with no mean in any row or column. */
static struct places by_hand(double a, double s)
{
	double v[9] = { 13 - a + s, 13 - s, 13 + a, 14 - a - s, 14 + s, 14 + a, 12 - a, 12,
		12 + a };
	struct places p;

	places_find(&p, v, 3, 3);
	ck_assert(p.known);
	ck_assert_uint_eq(p.slowest_part, 0);
	ck_assert_uint_eq(p.fastest_part, 2);
	ck_assert_double_eq_tol(p.slowest, exp(-a), 1e-12);
	ck_assert_double_eq_tol(p.fastest, exp(a), 1e-12);
	/* Between parts 6 a^2 of 2 degrees, left 4 s^2 of 4. */
	ck_assert_double_eq_tol(p.p, pow(1 + 1.5 * a * a / (s * s), -2), 1e-9);
	return p;
}

START_TEST(parts_that_differ)
{
	ck_assert(by_hand(0.1, 0.04).differ); /* F = 18.75 */
	ck_assert(!by_hand(0.1, 0.042).differ); /* F = 17.0 */
	ck_assert(!by_hand(0.02, 0.0001).differ); /* certain, and of no matter */
}
END_TEST

START_TEST(what_cannot_tell)
{
	double v[PLACES_MAX + 1] = { 1, 2, 3 };
	struct places p;

	places_find(&p, v, 1, 3); /* one point: place or chance */
	ck_assert(!p.known && !p.differ);
	places_find(&p, v, 3, 1);
	ck_assert(!p.known && !p.differ);
	places_find(&p, v, 1, PLACES_MAX + 1);
	ck_assert(!p.known && !p.differ);
	for (int i = 0; i < 9; i++)
		v[i] = 5;
	places_find(&p, v, 3, 3);
	ck_assert(p.known && !p.differ);
}
END_TEST

/* Noise of 10 % and no places: told in 1 of 100. */
START_TEST(noise_is_no_place)
{
	struct random r = { 7 };
	unsigned told = 0, trials = 4000;

	for (unsigned t = 0; t < trials; t++) {
		double v[25];
		struct places p;

		for (int i = 0; i < 25; i++)
			v[i] = 13 + i / 5 + 0.1 * chance_normal(&r);
		places_find(&p, v, 5, 5);
		told += p.differ;
	}
	ck_assert_uint_le(told, 60); /* 40, and three times its spread of 6.3 */
	ck_assert_uint_ge(told, 20);
}
END_TEST

Suite *places_suite(void);

Suite *places_suite(void)
{
	Suite *s = suite_create("places");
	TCase *c = tcase_create("places");

	tcase_add_test(c, parts_that_differ);
	tcase_add_test(c, what_cannot_tell);
	tcase_add_test(c, noise_is_no_place);
	suite_add_tcase(s, c);
	return s;
}
