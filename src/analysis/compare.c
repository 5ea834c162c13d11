/* Comparisons of two builds. */
#include "analysis/compare.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/holm.h"
#include "analysis/power.h"
#include "analysis/ranksum.h"
#include "analysis/student.h"

/* alpha / points: the strictest step of Holm's, so no point is promised more than it has. */
static double strictest_critical(double df, size_t points)
{
	return student_critical(1 - COMPARE_ALPHA / (double)points, df);
}

static double detectable_difference(double se, double df, size_t points)
{
	return se * power_detectable(strictest_critical(df, points), df, df, COMPARE_POWER);
}

/* The spread was estimated with df_now degrees of freedom; n replicates a side will be measured. */
static bool finds(double sd, double df_now, size_t n, size_t points, double difference)
{
	double se = sd * sqrt(2 / (double)n), df = 2 * (double)n - 2;

	return se * power_detectable(strictest_critical(df, points), df_now, df, COMPARE_POWER) <=
	       difference;
}

struct wanted {
	double sd, df_now, difference;
	size_t points;
};

static bool finds_wanted(size_t n, const void *context)
{
	const struct wanted *w = context;

	return finds(w->sd, w->df_now, n, w->points, w->difference);
}

static size_t replicates_for_5_percent(double sd, double df_now, size_t points)
{
	struct wanted w = { sd, df_now, log(1.05), points };

	return power_smallest(COMPARE_MIN_REPLICATES, COMPARE_REPLICATES_MAX, finds_wanted, &w);
}

static double pooled_sd(const struct moments *a, const struct moments *b)
{
	double df = (double)(a->n + b->n) - 2;

	return sqrt((a->variance * ((double)a->n - 1) + b->variance * ((double)b->n - 1)) / df);
}

/* Values rounded to steps have at least the spread of an even distribution within a step, though all may be equal. */
static struct moments rounded_moments(const double *values, size_t n, double step)
{
	struct moments m = moments_of(values, n);

	m.variance = fmax(m.variance, n > 1 ? step * step / 12 : 0);
	m.sd = sqrt(m.variance);
	return m;
}

/* false: without memory. */
static bool measure(struct comparison *c)
{
	struct ranksum ranks = ranksum_of(c->base, c->base_n, c->fresh, c->fresh_n);

	c->base_logs = rounded_moments(c->base, c->base_n, c->resolution);
	c->fresh_logs = rounded_moments(c->fresh, c->fresh_n, c->resolution);
	c->welch = welch_of(&c->base_logs, &c->fresh_logs);
	c->ratio = exp(c->fresh_logs.mean - c->base_logs.mean);
	c->low = c->welch.known ? exp(c->welch.low) : 0;
	c->high = c->welch.known ? exp(c->welch.high) : INFINITY;
	c->p = welch_p_beyond(&c->welch, c->resolution);
	c->p_rank = ranks.known ? ranks.p : NAN;
	c->detectable = NAN;
	c->needed = 0;
	return !ranks.no_memory;
}

static bool enough(const struct comparison *c)
{
	return c->base_n >= COMPARE_MIN_REPLICATES && c->fresh_n >= COMPARE_MIN_REPLICATES;
}

static void decide(struct comparison *c)
{
	if (!enough(c))
		c->verdict = COMPARE_TOO_FEW;
	else if (c->p_holm > COMPARE_ALPHA)
		c->verdict = COMPARE_NOT_SHOWN;
	else
		c->verdict = c->welch.difference > 0 ? COMPARE_HIGHER : COMPARE_LOWER;
}

/* Points that can have a verdict. */
static size_t count_judged(const struct comparison *points, size_t n)
{
	size_t judged = 0;

	for (size_t i = 0; i < n; i++)
		judged += enough(&points[i]);
	return judged ? judged : 1; /* the others still get an outlook */
}

/* Holm's correction over the points that can have a verdict at all; the others keep p_holm = 1. */
static int correct(struct comparison *points, size_t n, size_t judged)
{
	double *p = calloc(2 * judged + 1, sizeof *p);
	size_t k = 0;

	if (!p)
		return -1;
	for (size_t i = 0; i < n; i++)
		if (enough(&points[i]))
			p[k++] = points[i].p;
	if (holm_adjust(p + judged, p, judged) < 0) {
		free(p);
		return -1;
	}
	k = 0;
	for (size_t i = 0; i < n; i++) {
		points[i].p_holm = enough(&points[i]) ? p[judged + k++] : 1;
		decide(&points[i]);
	}
	free(p);
	return 0;
}

int compare_all(struct comparison *points, size_t n)
{
	for (size_t i = 0; i < n; i++)
		if (!measure(&points[i]))
			return -1;
	return correct(points, n, count_judged(points, n));
}

void compare_outlook(struct comparison *points, size_t n)
{
	size_t judged = count_judged(points, n);

	for (size_t i = 0; i < n; i++) {
		struct comparison *c = &points[i];

		if (!c->welch.known)
			continue;
		c->detectable = expm1(
			c->resolution + detectable_difference(c->welch.se, c->welch.df, judged));
		c->needed = replicates_for_5_percent(
			pooled_sd(&c->base_logs, &c->fresh_logs), c->welch.df, judged);
	}
}
