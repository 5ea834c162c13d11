/* The release gate: is the new build shown to be slower than allowed, shown not to be, or neither? */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "analysis/compare.h"
#include "analysis/holm.h"
#include "analysis/power.h"
#include "analysis/student.h"

/* Each kind of question may raise a third of the false alarms: all points together, tables, single points. */
enum { KINDS = 3 };

static bool enough(const struct comparison *c)
{
	return c->base_n >= COMPARE_MIN_REPLICATES && c->fresh_n >= COMPARE_MIN_REPLICATES;
}

static size_t fewest(const struct comparison *points, size_t n, bool fresh)
{
	size_t least = 0;

	for (size_t i = 0; i < n; i++) {
		size_t have = fresh ? points[i].fresh_n : points[i].base_n;

		least = i && least < have ? least : have;
	}
	return least;
}

/* Replicates of a mean: the k-th of each point together, so that what they share (a drift, a connection) is part of
 * their spread. Points that are not of the group are passed over unless all are wanted. False: without memory. */
static bool mean_of_group(struct moments *out, const struct comparison *points, size_t n,
	const unsigned *group, bool fresh)
{
	size_t count = fewest(points, n, fresh);
	double *means = calloc(count + 1, sizeof *means);
	double members = 0;

	if (!means)
		return false;
	for (size_t i = 0; i < n; i++) {
		const double *values = fresh ? points[i].fresh : points[i].base;

		if (group && points[i].group != *group)
			continue;
		members++;
		for (size_t k = 0; k < count; k++)
			means[k] += values[k];
	}
	for (size_t k = 0; k < count; k++)
		means[k] /= members;
	*out = moments_of(means, count);
	free(means);
	return true;
}

static bool group_welch(
	struct welch *w, const struct comparison *points, size_t n, const unsigned *group)
{
	struct moments base, fresh;

	if (!mean_of_group(&base, points, n, group, false) ||
		!mean_of_group(&fresh, points, n, group, true))
		return false;
	*w = welch_of(&base, &fresh);
	return true;
}

static double corrected(double p)
{
	return fmin(1, p * KINDS);
}

/* One p a table into p[], *tables of them. False: without memory. */
static bool judge_tables(
	double *p, size_t *tables, const struct comparison *points, size_t n, double limit)
{
	struct welch w;

	*tables = 0;
	for (size_t i = 0; i < n; i++) {
		if (i && points[i].group == points[i - 1].group)
			continue;
		if (!group_welch(&w, points, n, &points[i].group))
			return false;
		p[(*tables)++] = welch_p_below(&w, limit);
	}
	return true;
}

struct question {
	double variance; /* of the noisiest point: base and fresh together */
	double df, limit, power;
};

static bool passes_with(size_t replicates, const void *context)
{
	const struct question *q = context;
	double df = 2 * (double)replicates - 2, se = sqrt(q->variance / (double)replicates);
	double critical = student_quantile(1 - COMPARE_ALPHA, df);

	return se * power_detectable(critical, q->df, df, q->power) <= -q->limit;
}

static void judge_points(struct compare_gate *gate, struct compare_gate_point *each,
	const struct comparison *points, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		double bound = welch_lower_bound(&points[i].welch, 1 - COMPARE_ALPHA);

		each[i].loss_bound = enough(&points[i]) ? -expm1(bound) : INFINITY;
		gate->slower += each[i].p_slower <= COMPARE_ALPHA;
	}
}

static int judge(struct compare_gate *gate, struct compare_gate_point *each, double *p,
	const struct comparison *points, size_t n, double limit)
{
	struct welch whole;
	size_t tables;
	double *adjusted = p + n;

	if (!group_welch(&whole, points, n, NULL) || !judge_tables(p, &tables, points, n, limit) ||
		holm_adjust(adjusted, p, tables) < 0)
		return -1;
	gate->p_whole = corrected(welch_p_below(&whole, limit));
	gate->whole_ratio = exp(whole.difference);
	gate->answer = gate->p_whole <= COMPARE_ALPHA ? COMPARE_FAILED : COMPARE_UNDECIDED;
	for (size_t i = 0; i < tables; i++)
		if (corrected(adjusted[i]) <= COMPARE_ALPHA)
			gate->answer = COMPARE_FAILED;
	for (size_t i = 0; i < n; i++)
		p[i] = welch_p_below(&points[i].welch, limit);
	if (holm_adjust(adjusted, p, n) < 0)
		return -1;
	for (size_t i = 0; i < n; i++)
		each[i].p_slower = corrected(adjusted[i]);
	return 0;
}

int compare_gate(struct compare_gate *gate, struct compare_gate_point *each,
	const struct comparison *points, size_t n, double allowed)
{
	double limit = log1p(-allowed);
	double *p = calloc(2 * n + 1, sizeof *p);
	bool all_enough = n > 0;
	int rc = -1;

	*gate = (struct compare_gate){ .p_whole = 1, .whole_ratio = NAN };
	for (size_t i = 0; i < n; i++) {
		each[i] = (struct compare_gate_point){ 1, INFINITY };
		all_enough = all_enough && enough(&points[i]);
	}
	if (p)
		rc = all_enough ? judge(gate, each, p, points, n, limit) : 0;
	free(p);
	if (rc < 0 || !all_enough)
		return rc;
	judge_points(gate, each, points, n);
	for (size_t i = 0; i < n; i++)
		gate->within += each[i].loss_bound <= allowed;
	if (gate->slower)
		gate->answer = COMPARE_FAILED;
	else if (gate->answer != COMPARE_FAILED && gate->within == n)
		gate->answer = COMPARE_PASSED;
	return 0;
}

size_t compare_gate_needed(const struct comparison *points, size_t n, double allowed)
{
	struct question q = { .limit = log1p(-allowed),
		.power = 1 - (1 - COMPARE_POWER) / (double)n };

	for (size_t i = 0; i < n; i++) {
		double v = points[i].base_logs.variance + points[i].fresh_logs.variance;

		if (v < q.variance || !points[i].welch.known)
			continue;
		q.variance = v;
		q.df = points[i].welch.df;
	}
	if (!(q.limit < 0) || !(q.df > 0))
		return 0;
	return power_smallest(COMPARE_MIN_REPLICATES, COMPARE_REPLICATES_MAX, passes_with, &q);
}
