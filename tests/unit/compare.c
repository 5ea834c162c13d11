/* analysis/compare: how often it is right, on simulated passes with fixed seeds. */
#include <check.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "analysis/compare.h"
#include "base/random.h"
#include "support/chance.h"

enum { POINTS = 12, PASSES_MAX = 16 };

struct simulated {
	double base[POINTS][PASSES_MAX], fresh[POINTS][PASSES_MAX];
	struct comparison list[POINTS];
};

typedef double noise(struct random *r);

static double normal(struct random *r)
{
	return chance_normal(r);
}

/* Skewed as stalls make it: now and then a pass is much slower. Mean 0, sd 1 (an exponential, mirrored). */
static double stalls(struct random *r)
{
	return 1 + log(1 - random_unit(r));
}

static void simulate(struct simulated *s, struct random *r, noise *n, double sd_base, double sd_new,
	size_t passes, double change)
{
	for (int i = 0; i < POINTS; i++) {
		for (size_t k = 0; k < passes; k++) {
			s->base[i][k] = log(500e3) + sd_base * n(r);
			s->fresh[i][k] = log(500e3) + log1p(i ? 0 : change) + sd_new * n(r);
		}
		s->list[i] = (struct comparison){ .base = s->base[i],
			.fresh = s->fresh[i],
			.base_n = passes,
			.fresh_n = passes };
	}
	ck_assert_int_eq(compare_all(s->list, POINTS), 0);
}

static bool any_verdict(const struct simulated *s)
{
	for (int i = 0; i < POINTS; i++)
		if (s->list[i].verdict == COMPARE_HIGHER || s->list[i].verdict == COMPARE_LOWER)
			return true;
	return false;
}

/* Share of comparisons of equal builds that call any point different. */
static double alarms(struct random *rng, noise *n, double sd_new, size_t passes, unsigned trials)
{
	unsigned count = 0;

	for (unsigned i = 0; i < trials; i++) {
		struct simulated s;

		simulate(&s, rng, n, 0.03, sd_new, passes, 0);
		count += any_verdict(&s);
	}
	return (double)count / trials;
}

/* No difference at any of 12 points: any verdict in the whole comparison is a false alarm, at most 5 % may raise one.
 * The margin is three standard errors of a share of 5 % among so many trials. */
START_TEST(false_alarms)
{
	enum { TRIALS = 3000, FEWER = 1000 };
	double limit = 0.05 + chance_margin(0.05, FEWER, 3);
	struct random rng = { 1979 };

	ck_assert_double_le(
		alarms(&rng, normal, 0.03, 5, TRIALS), 0.05 + chance_margin(0.05, TRIALS, 3));
	ck_assert_double_le(alarms(&rng, normal, 0.03, 12, FEWER), limit);
	ck_assert_double_le(alarms(&rng, stalls, 0.03, 5, FEWER), limit);
	/* Equal rates, noise twice as large on one side. */
	ck_assert_double_le(alarms(&rng, normal, 0.06, 5, FEWER), limit);
	/* Five times as large: here Welch's approximation gives way a little; the report warns of it. */
	ck_assert_double_le(alarms(&rng, normal, 0.15, 5, FEWER), 0.10);
}
END_TEST

/* The 95 % interval of a ratio holds the true one 95 times in 100, with unequal noise too. */
START_TEST(coverage)
{
	enum { TRIALS = 1000 };
	struct random rng = { 1947 };
	static const double sds[] = { 0.03, 0.06 };

	for (int c = 0; c < 2; c++) {
		unsigned inside = 0;

		for (unsigned i = 0; i < TRIALS; i++) {
			struct simulated s;

			simulate(&s, &rng, normal, 0.03, sds[c], 6, 0.1);
			for (int k = 0; k < POINTS; k++)
				inside += s.list[k].low <= (k ? 1 : 1.1) &&
					  (k ? 1 : 1.1) <= s.list[k].high;
		}
		ck_assert_double_eq_tol((double)inside / (TRIALS * POINTS), 0.95, 0.01);
	}
}
END_TEST

/* Of the first point, as one of all. */
static struct comparison outlook_of(const struct simulated *s)
{
	struct comparison list[POINTS];

	memcpy(list, s->list, sizeof list);
	for (int i = 1; i < POINTS; i++)
		list[i].welch.known = false; /* not asked for */
	compare_outlook(list, POINTS);
	return list[0];
}

static double power(double change, double sd, size_t passes, unsigned trials, double *detectable)
{
	struct random rng = { 80 };
	unsigned found = 0;
	double sum = 0;

	for (unsigned i = 0; i < trials; i++) {
		struct simulated s;

		simulate(&s, &rng, normal, sd, sd, passes, change);
		found += s.list[0].verdict == (change > 0 ? COMPARE_HIGHER : COMPARE_LOWER);
		sum += i % 100 ? 0 : outlook_of(&s).detectable;
	}
	*detectable = sum / ((trials + 99) / 100);
	return (double)found / trials;
}

/* One of 12 points 10 % faster, 3 % noise, 5 passes (the default): found most of the time. */
START_TEST(power_of_10_percent)
{
	double detectable, share;

	share = power(0.10, 0.03, 5, 2000, &detectable);
	fprintf(stderr,
		"power: 10 %% at 3 %% noise, 5 passes, 12 points: %.3f (detectable %.1f %%)\n",
		share, detectable * 100);
	ck_assert_double_ge(share, 0.6);
	ck_assert_double_ge(power(0.10, 0.03, 8, 1000, &detectable), 0.97);
	ck_assert_double_le(power(0.01, 0.03, 5, 1000, &detectable), 0.05);
}
END_TEST

/* What is called detectable is found 4 times in 5 by the next comparison of the same kind, though the noise it was
 * computed from was itself an estimate. */
START_TEST(detectable_is_found)
{
	enum { TRIALS = 1500 };
	static const size_t passes[] = { 4, 5, 8, 16 };

	for (size_t n = 0; n < sizeof passes / sizeof *passes; n++) {
		struct random rng = { 800 + n };
		unsigned found = 0;

		for (unsigned i = 0; i < TRIALS; i++) {
			struct simulated s;
			double detectable;

			simulate(&s, &rng, normal, 0.03, 0.03, passes[n], 0);
			detectable = outlook_of(&s).detectable;
			simulate(&s, &rng, normal, 0.03, 0.03, passes[n], detectable);
			found += s.list[0].verdict == COMPARE_HIGHER;
		}
		/* Welch's degrees of freedom vary, which the promise leaves out: a little on the safe side. */
		ck_assert_double_ge((double)found / TRIALS, 0.78);
		ck_assert_double_le((double)found / TRIALS, 0.86);
	}
}
END_TEST

/* And so are 5 % with as many replicates as are called needed for them. */
START_TEST(needed_is_enough)
{
	enum { TRIALS = 600 };
	struct random rng = { 5 };
	unsigned found = 0, fewer = 0, asked = 0;

	for (unsigned i = 0; i < TRIALS; i++) {
		struct simulated s;
		size_t needed;

		simulate(&s, &rng, normal, 0.02, 0.02, 8, 0);
		needed = outlook_of(&s).needed;
		ck_assert_uint_ge(needed, COMPARE_MIN_REPLICATES);
		if (needed > PASSES_MAX)
			needed = PASSES_MAX;
		simulate(&s, &rng, normal, 0.02, 0.02, needed, 0.05);
		found += s.list[0].verdict == COMPARE_HIGHER;
		if (needed < 8)
			continue;
		asked++;
		simulate(&s, &rng, normal, 0.02, 0.02, needed / 2, 0.05);
		fewer += s.list[0].verdict == COMPARE_HIGHER;
	}
	ck_assert_double_ge((double)found / TRIALS, 0.75);
	ck_assert_double_lt((double)fewer / asked, 0.5);
}
END_TEST

static struct comparison two(const double *a, size_t na, const double *b, size_t nb)
{
	struct comparison c = { .base = a, .fresh = b, .base_n = na, .fresh_n = nb };

	ck_assert_int_eq(compare_all(&c, 1), 0);
	compare_outlook(&c, 1);
	return c;
}

START_TEST(too_few)
{
	static const double a[] = { 1.0, 1.001, 0.999, 1.0 }, b[] = { 3.0, 3.001, 2.999, 3.0 };

	ck_assert_int_eq(two(a, 3, b, 3).verdict, COMPARE_TOO_FEW);
	ck_assert_int_eq(two(a, 4, b, 3).verdict, COMPARE_TOO_FEW);
	ck_assert_int_eq(two(a, 4, b, 4).verdict, COMPARE_HIGHER);
	ck_assert_int_eq(two(b, 4, a, 4).verdict, COMPARE_LOWER);
	ck_assert(!two(a, 1, b, 1).welch.known);
	ck_assert(isnan(two(a, 1, b, 1).detectable));
	ck_assert_uint_eq(two(a, 1, b, 1).needed, 0);
}
END_TEST

START_TEST(no_noise_at_all)
{
	static const double a[] = { 1, 1, 1, 1 }, b[] = { 2, 2, 2, 2 };
	struct comparison c = two(a, 4, a, 4);

	ck_assert_int_eq(c.verdict, COMPARE_NOT_SHOWN);
	ck_assert_double_eq(c.detectable, 0);
	ck_assert_uint_eq(c.needed, COMPARE_MIN_REPLICATES);
	ck_assert_int_eq(two(a, 4, b, 4).verdict, COMPARE_HIGHER);
}
END_TEST

/* Two p99 either side of a bin's edge differ by the width of the bin and by nothing else. */
START_TEST(a_step_is_no_difference)
{
	double step = log1p(1.0 / 128), a[] = { 1, 1, 1, 1, 1 }, b[5], c[5];
	struct comparison x;

	for (int i = 0; i < 5; i++) {
		b[i] = a[i] + step;
		c[i] = a[i] + 4 * step;
	}
	x = (struct comparison){
		.base = a, .fresh = b, .base_n = 5, .fresh_n = 5, .resolution = step
	};
	ck_assert_int_eq(compare_all(&x, 1), 0);
	ck_assert_int_eq(x.verdict, COMPARE_NOT_SHOWN);
	x.fresh = c;
	ck_assert_int_eq(compare_all(&x, 1), 0);
	ck_assert_int_eq(x.verdict, COMPARE_HIGHER);
	compare_outlook(&x, 1);
	ck_assert_double_gt(x.detectable, step);
	/* Without the step the same values are exact, and differ. */
	x = two(a, 5, b, 5);
	ck_assert_int_eq(x.verdict, COMPARE_HIGHER);
}
END_TEST

/* Points that can have no verdict take nothing from those that can. */
START_TEST(too_few_do_not_count)
{
	double a[] = { 1.00, 1.01, 0.99, 1.00 }, b[] = { 1.03, 1.04, 1.02, 1.03 };
	struct comparison list[12] = { { .base = a, .fresh = b, .base_n = 4, .fresh_n = 4 } };

	for (int i = 1; i < 12; i++)
		list[i] = (struct comparison){ .base = a, .fresh = b, .base_n = 0, .fresh_n = 2 };
	ck_assert_int_eq(compare_all(list, 12), 0);
	ck_assert_double_eq(list[0].p_holm, list[0].p);
	ck_assert_int_eq(list[0].verdict, COMPARE_HIGHER);
	ck_assert_int_eq(list[5].verdict, COMPARE_TOO_FEW);
}
END_TEST

Suite *compare_suite(void)
{
	Suite *s = suite_create("compare");
	TCase *c = tcase_create("compare");

	tcase_add_test(c, false_alarms);
	tcase_add_test(c, coverage);
	tcase_add_test(c, power_of_10_percent);
	tcase_add_test(c, detectable_is_found);
	tcase_add_test(c, needed_is_enough);
	tcase_add_test(c, too_few);
	tcase_add_test(c, no_noise_at_all);
	tcase_add_test(c, a_step_is_no_difference);
	tcase_add_test(c, too_few_do_not_count);
	suite_add_tcase(s, c);
	return s;
}
