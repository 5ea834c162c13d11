/* analysis/gate: three answers, each as often right as it says, on simulated passes with fixed seeds. */
#include <check.h>
#include <math.h>

#include "analysis/compare.h"
#include "base/random.h"
#include "support/chance.h"

enum { POINTS = 12, PASSES_MAX = 40 };

struct simulated {
	double base[POINTS][PASSES_MAX], fresh[POINTS][PASSES_MAX];
	struct comparison list[POINTS];
	struct compare_gate_point each[POINTS];
	struct compare_gate gate;
};

/* Passes of two builds; the new one differs by `change` at the points from `first` on. shared: what all points of one
 * round have in common. */
struct scene {
	size_t passes;
	double sd, shared, change, allowed;
	int first;
};

static void simulate(struct simulated *s, struct random *r, const struct scene *x)
{
	double both[2][PASSES_MAX];

	for (size_t k = 0; k < x->passes; k++)
		for (int side = 0; side < 2; side++)
			both[side][k] = x->shared * chance_normal(r);
	for (int i = 0; i < POINTS; i++) {
		for (size_t k = 0; k < x->passes; k++) {
			s->base[i][k] = 13 + both[0][k] + x->sd * chance_normal(r);
			s->fresh[i][k] = 13 + both[1][k] + x->sd * chance_normal(r) +
					 log1p(i >= x->first ? x->change : 0);
		}
		s->list[i] = (struct comparison){ .base = s->base[i],
			.fresh = s->fresh[i],
			.base_n = x->passes,
			.fresh_n = x->passes,
			.group = (unsigned)i / 6 };
	}
	ck_assert_int_eq(compare_all(s->list, POINTS), 0);
	ck_assert_int_eq(compare_gate(&s->gate, s->each, s->list, POINTS, x->allowed), 0);
}

/* Share of trials with this answer. */
static double share(struct scene x, enum compare_answer answer, unsigned trials, uint64_t seed)
{
	struct random rng = { seed };
	unsigned n = 0;

	for (unsigned i = 0; i < trials; i++) {
		struct simulated s;

		simulate(&s, &rng, &x);
		n += s.gate.answer == answer;
	}
	return (double)n / trials;
}

/* Every point exactly at the limit, where failing is a false alarm: at most 5 %, also when points drift together. And
 * passing is one, too. */
START_TEST(false_answers)
{
	enum { TRIALS = 1500 };
	double limit = 0.05 + chance_margin(0.05, TRIALS, 3);
	struct scene x = { 5, 0.03, 0, -0.05, 0.05, 0 };

	ck_assert_double_le(share(x, COMPARE_FAILED, TRIALS, 1), limit);
	x.shared = 0.03;
	ck_assert_double_le(share(x, COMPARE_FAILED, TRIALS, 2), limit);
	x = (struct scene){ 5, 0.01, 0, -0.05, 0.05, POINTS - 1 };
	ck_assert_double_le(share(x, COMPARE_PASSED, TRIALS, 3), limit);
	x = (struct scene){ 5, 0.03, 0, 0, 0, 0 };
	ck_assert_double_le(share(x, COMPARE_FAILED, TRIALS, 4), limit);
}
END_TEST

/* The build is slower by twice what is allowed: decided in 4 of 5, in any noise that leaves a chance, though single
 * points could not show it. */
START_TEST(twice_the_allowance)
{
	enum { TRIALS = 400 };
	struct scene x = { 5, 0.03, 0, -0.10, 0.05, 0 };

	ck_assert_double_ge(share(x, COMPARE_FAILED, TRIALS, 5), 0.97);
	x.sd = 0.06;
	ck_assert_double_ge(share(x, COMPARE_FAILED, TRIALS, 6), 0.80);
	x = (struct scene){ 5, 0.02, 0, -0.10, 0.05, 6 }; /* one table of two */
	ck_assert_double_ge(share(x, COMPARE_FAILED, TRIALS, 7), 0.97);
	x = (struct scene){ 5, 0.01, 0, -0.10, 0.05, POINTS - 1 }; /* one point of twelve */
	ck_assert_double_ge(share(x, COMPARE_FAILED, TRIALS, 8), 0.80);
	/* Half as slow again as allowed, and much noise: the answer then is mostly that there is none, and never passed. */
	x = (struct scene){ 5, 0.10, 0, -0.13, 0.05, 0 };
	ck_assert_double_le(share(x, COMPARE_PASSED, TRIALS, 9), 0.01);
}
END_TEST

/* Equal builds pass where the noise allows it, and nothing but noise keeps them from it. */
START_TEST(equal_builds)
{
	enum { TRIALS = 400 };
	struct scene x = { 5, 0.01, 0, 0, 0.05, 0 };

	ck_assert_double_ge(share(x, COMPARE_PASSED, TRIALS, 10), 0.95);
	x.sd = 0.10;
	ck_assert_double_ge(share(x, COMPARE_UNDECIDED, TRIALS, 11), 0.95);
}
END_TEST

/* As many replicates as are called needed do pass in about 4 of 5. */
START_TEST(needed_to_pass)
{
	enum { TRIALS = 200 };
	struct random rng = { 12 };
	unsigned passed = 0, asked = 0;

	for (unsigned i = 0; i < TRIALS; i++) {
		struct scene x = { 6, 0.03, 0, 0, 0.05, 0 };
		struct simulated s;

		simulate(&s, &rng, &x);
		x.passes = compare_gate_needed(s.list, POINTS, x.allowed);
		ck_assert_uint_ge(x.passes, COMPARE_MIN_REPLICATES);
		if (x.passes > PASSES_MAX)
			continue;
		asked++;
		simulate(&s, &rng, &x);
		passed += s.gate.answer == COMPARE_PASSED;
	}
	ck_assert_uint_ge(asked, TRIALS / 2);
	ck_assert_double_ge((double)passed / asked, 0.75);
}
END_TEST

START_TEST(too_few)
{
	struct scene x = { 3, 0.0001, 0, -0.5, 0.05, 0 };
	struct random rng = { 13 };
	struct simulated s;

	simulate(&s, &rng, &x);
	ck_assert_int_eq(s.gate.answer, COMPARE_UNDECIDED);
	ck_assert(isinf(s.each[0].loss_bound));
	x.passes = 4;
	simulate(&s, &rng, &x);
	ck_assert_int_eq(s.gate.answer, COMPARE_FAILED);
	ck_assert_uint_eq(s.gate.slower, POINTS);
	ck_assert_double_eq_tol(s.gate.whole_ratio, 0.5, 0.001);
}
END_TEST

/* Values without any noise (a model's): the answer is exact. */
START_TEST(no_noise)
{
	struct random rng = { 14 };
	struct simulated s;

	simulate(&s, &rng, &(struct scene){ 4, 0, 0, -0.04, 0.05, 0 });
	ck_assert_int_eq(s.gate.answer, COMPARE_PASSED);
	simulate(&s, &rng, &(struct scene){ 4, 0, 0, -0.06, 0.05, 11 });
	ck_assert_int_eq(s.gate.answer, COMPARE_FAILED);
	ck_assert_uint_eq(s.gate.slower, 1);
	ck_assert_double_eq_tol(s.each[11].loss_bound, 0.06, 1e-9);
}
END_TEST

Suite *gate_suite(void);
Suite *gate_suite(void)
{
	Suite *s = suite_create("gate");
	TCase *c = tcase_create("gate");

	tcase_add_test(c, false_answers);
	tcase_add_test(c, twice_the_allowance);
	tcase_add_test(c, equal_builds);
	tcase_add_test(c, needed_to_pass);
	tcase_add_test(c, too_few);
	tcase_add_test(c, no_noise);
	suite_add_tcase(s, c);
	return s;
}
