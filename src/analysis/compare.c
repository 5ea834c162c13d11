/* Comparisons of two builds. */
#include "analysis/compare.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/holm.h"
#include "analysis/normal.h"
#include "analysis/ranksum.h"
#include "analysis/student.h"

/* The difference of two means found with COMPARE_POWER: sum of the two t quantiles times the standard error (common
 * approximation of the noncentral t; e.g. NIST/SEMATECH e-Handbook 7.2.2.2). alpha / points: the strictest step of
 * Holm's, so no point is promised more than it has. */
static double visible_difference(double se, double df, size_t points)
{
	double alpha = COMPARE_ALPHA / (double)points;

	return se * (student_critical(1 - alpha, df) + student_quantile(COMPARE_POWER, df));
}

static bool sees(double sd, size_t n, size_t points, double difference)
{
	double se = sd * sqrt(2 / (double)n);

	return visible_difference(se, 2 * (double)n - 2, points) <= difference;
}

/* Replicates a side that show 5 %: up from what a normal distribution would need, which is never too many. */
static size_t replicates_for_5_percent(double sd, size_t points)
{
	double wanted = log(1.05), alpha = COMPARE_ALPHA / (double)points;
	double z = normal_quantile(1 - alpha / 2) + normal_quantile(COMPARE_POWER);
	double least = floor(2 * (sd * z / wanted) * (sd * z / wanted));
	size_t n;

	if (!(least < COMPARE_REPLICATES_MAX))
		return 0;
	n = least > COMPARE_MIN_REPLICATES ? (size_t)least : COMPARE_MIN_REPLICATES;
	while (!sees(sd, n, points, wanted))
		n++;
	return n;
}

static double pooled_sd(const struct moments *a, const struct moments *b)
{
	double df = (double)(a->n + b->n) - 2;

	return sqrt((a->variance * ((double)a->n - 1) + b->variance * ((double)b->n - 1)) / df);
}

/* false: without memory. */
static bool measure(struct comparison *c, size_t points)
{
	struct ranksum ranks = ranksum_of(c->base, c->base_n, c->fresh, c->fresh_n);

	c->base_logs = moments_of(c->base, c->base_n);
	c->fresh_logs = moments_of(c->fresh, c->fresh_n);
	c->welch = welch_of(&c->base_logs, &c->fresh_logs);
	c->ratio = exp(c->fresh_logs.mean - c->base_logs.mean);
	c->low = c->welch.known ? exp(c->welch.low) : 0;
	c->high = c->welch.known ? exp(c->welch.high) : INFINITY;
	c->p = c->welch.p;
	c->p_rank = ranks.known ? ranks.p : NAN;
	c->visible = NAN;
	c->needed = 0;
	if (ranks.no_memory || !c->welch.known)
		return !ranks.no_memory;
	c->visible = expm1(visible_difference(c->welch.se, c->welch.df, points));
	c->needed = replicates_for_5_percent(pooled_sd(&c->base_logs, &c->fresh_logs), points);
	return true;
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

int compare_all(struct comparison *points, size_t n)
{
	double *p = calloc(2 * n + 1, sizeof *p);
	bool whole = p != NULL;

	for (size_t i = 0; whole && i < n; i++) {
		whole = measure(&points[i], n);
		p[i] = points[i].p;
	}
	if (!whole || holm_adjust(p + n, p, n) < 0) {
		free(p);
		return -1;
	}
	for (size_t i = 0; i < n; i++) {
		points[i].p_holm = p[n + i];
		decide(&points[i]);
	}
	free(p);
	return 0;
}

int compare_gate(double *p_holm, const struct comparison *points, size_t n, double allowed)
{
	double *p = calloc(n + 1, sizeof *p);
	int rc;

	if (!p)
		return -1;
	for (size_t i = 0; i < n; i++)
		p[i] = welch_p_below(&points[i].welch, log1p(-allowed));
	rc = holm_adjust(p_holm, p, n);
	free(p);
	return rc;
}
