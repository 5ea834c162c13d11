/* analysis/wander: passes that depend on each other. Times are simulated: one of n sizes, rounds in random order. */
#include <check.h>
#include <math.h>

#include "analysis/cling.h"
#include "analysis/cost.h"
#include "analysis/wander.h"
#include "base/random.h"
#include "support/chance.h"

enum { SIZES = 8, ROUNDS = 5, PASSES = SIZES * ROUNDS, TRIALS = 400 };

/* What the passes have in common: `cling` from one to the next, of spread `wander`; `drift` over the run; noise on top. */
struct weather {
	double noise, wander, cling, drift;
};

static void shuffle(size_t *order, struct random *r)
{
	for (size_t i = SIZES; i > 1; i--) {
		size_t j = (size_t)random_below(r, i), kept = order[i - 1];

		order[i - 1] = order[j];
		order[j] = kept;
	}
}

static void simulate(struct wander_pass *p, const struct weather *how, struct random *r)
{
	double state = how->wander * chance_normal(r);
	size_t order[SIZES], n = 0;

	for (size_t i = 0; i < SIZES; i++)
		order[i] = i;
	for (unsigned round = 1; round <= ROUNDS; round++) {
		shuffle(order, r);
		for (size_t i = 0; i < SIZES; i++, n++) {
			double exact = 1e-3 + (double)(512u << order[i]) / 1e6;

			state = how->cling * state +
				sqrt(1 - how->cling * how->cling) * how->wander * chance_normal(r);
			p[n] = (struct wander_pass){ .at_s = (double)n,
				.point = order[i],
				.log_seconds = log(exact) + state + how->noise * chance_normal(r) +
					       how->drift * (double)n / PASSES };
		}
	}
}

static void line_of(struct cost_line *l, const struct wander_pass *p)
{
	struct cost_point points[SIZES];

	for (size_t i = 0; i < SIZES; i++) {
		double sum = 0, squares = 0;

		for (size_t k = 0; k < PASSES; k++) {
			if (p[k].point != i)
				continue;
			sum += p[k].log_seconds;
			squares += p[k].log_seconds * p[k].log_seconds;
		}
		points[i] = (struct cost_point){ .request_bytes = UINT64_C(512) << i,
			.seconds = exp(sum / ROUNDS),
			.passes = ROUNDS,
			.pieces = 1,
			.log_sd = sqrt(fmax(0, squares - sum * sum / ROUNDS) / (ROUNDS - 1)) };
	}
	cost_line_make(l, points, SIZES);
}

struct tally {
	double trends, clings, said, covers, bare; /* shares of the trials */
	double point; /* that of the mean of a point does */
	double told; /* the interval of r holds the truth, or a caution says why it may not */
	double width,
		bare_width; /* of the interval of r: medians would do as well as these means of logarithms */
};

/* What the mean of its passes is off. */
static double mean_of_point(const struct wander_pass *p, size_t point)
{
	double sum = 0;

	for (size_t k = 0; k < PASSES; k++)
		if (p[k].point == point)
			sum += p[k].log_seconds - log(1e-3 + (double)(512u << point) / 1e6);
	return sum / ROUNDS;
}

static struct tally run(const struct weather *how, uint64_t seed)
{
	struct random r = { seed };
	struct tally t = { 0 };

	for (int i = 0; i < TRIALS; i++) {
		struct wander_pass p[PASSES];
		struct cost_line l;
		struct wander w;
		struct cling c;
		bool held;

		simulate(p, how, &r);
		ck_assert(wander_find(&w, p, PASSES));
		ck_assert(w.known);
		line_of(&l, p);
		t.bare += l.rate_bounds.low <= 1e6 && 1e6 <= l.rate_bounds.high;
		t.bare_width += log(l.rate_bounds.high - l.rate_bounds.low);
		ck_assert(cling_find(&c, p, PASSES) && cling_widen(&l, &c, p));
		t.width += log(l.rate_bounds.high - l.rate_bounds.low);
		t.point += fabs(mean_of_point(p, 3)) <= cling_half_of_mean(&c, ROUNDS);
		t.trends += w.trends;
		t.clings += w.clings;
		t.said += w.trends || w.clings;
		held = l.rate_bounds.low <= 1e6 && 1e6 <= l.rate_bounds.high;
		t.covers += held;
		t.told += held || w.trends || w.clings;
	}
	t.trends /= TRIALS;
	t.clings /= TRIALS;
	t.said /= TRIALS;
	t.covers /= TRIALS;
	t.bare /= TRIALS;
	t.told /= TRIALS;
	t.point /= TRIALS;
	t.width = exp((t.width - t.bare_width) / TRIALS); /* as many times as wide */
	return t;
}

START_TEST(noise_raises_no_alarm)
{
	struct tally t = run(&(struct weather){ .noise = 0.03 }, 1);

	ck_assert_double_le(t.said, 0.02 + chance_margin(0.02, TRIALS, 3));
	/* And the intervals stay honest, and not too wide to say anything. */
	ck_assert_double_ge(t.covers, 0.93);
	ck_assert_double_ge(t.point, 0.93);
	ck_assert_double_le(t.width, 1.5);
}
END_TEST

START_TEST(finds_a_drift)
{
	/* 5 % over the run. */
	struct tally t = run(&(struct weather){ .noise = 0.01, .drift = 0.05 }, 2);

	ck_assert_double_ge(t.trends, 0.95);
}
END_TEST

START_TEST(finds_what_clings)
{
	struct tally t = run(&(struct weather){ .noise = 0.003, .wander = 0.03, .cling = 0.9 }, 3);

	ck_assert_double_ge(t.said, 0.9);
	ck_assert_double_le(
		t.bare, 0.7); /* without this, the interval of the rate would be wrong so often */
	ck_assert_double_ge(t.covers, 0.93);
	ck_assert_double_ge(t.point, 0.93);
	ck_assert_double_ge(t.told, 0.97);
}
END_TEST

/* Of what clings, and of what each pass has of its own beside it. */
START_TEST(intervals_hold_what_clings)
{
	static const struct {
		double own, cling, least;
	} cases[] = { { 0, 0.5, 0.93 }, { 0, 0.9, 0.93 }, { 0.02, 0.9, 0.88 }, { 0.04, 0.9, 0.9 } };

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct weather w = { cases[i].own, 0.02, cases[i].cling, 0 };
		struct tally t = run(&w, 5 + i);

		ck_assert_msg(t.covers >= cases[i].least && t.point >= cases[i].least,
			"own %g, cling %g: r %g, point %g", w.noise, w.cling, t.covers, t.point);
	}
}
END_TEST

START_TEST(a_rate_that_changes_from_round_to_round)
{
	/* Slow enough that a round has it in common. */
	struct tally t = run(&(struct weather){ .noise = 0.01, .wander = 0.03, .cling = 0.98 }, 4);

	ck_assert_double_ge(t.said, 0.75);
	ck_assert_double_ge(t.told, 0.83); /* what is slower than the run does not show in it */
}
END_TEST

START_TEST(says_nothing_of_a_few)
{
	struct wander_pass p[PASSES];
	struct random r = { 5 };
	struct wander w;

	simulate(p, &(struct weather){ .noise = 0.01, .drift = 1 }, &r);
	ck_assert(wander_find(&w, p, SIZES));
	ck_assert(!w.known && !w.trends && !w.clings);
	ck_assert(wander_find(&w, p, 0));
	ck_assert(!w.known);
}
END_TEST

Suite *wander_suite(void)
{
	Suite *s = suite_create("wander");
	TCase *c = tcase_create("wander");

	tcase_add_test(c, noise_raises_no_alarm);
	tcase_add_test(c, finds_a_drift);
	tcase_add_test(c, finds_what_clings);
	tcase_add_test(c, intervals_hold_what_clings);
	tcase_add_test(c, a_rate_that_changes_from_round_to_round);
	tcase_add_test(c, says_nothing_of_a_few);
	suite_add_tcase(s, c);
	return s;
}
