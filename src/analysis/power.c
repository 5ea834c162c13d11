/* Chances of t tests. A spread estimated with df degrees of freedom is the true one times u = sqrt(chi^2 / df); what is
 * asked is averaged over u. On a logarithmic scale its density is smooth and falls off fast on both sides, so that the
 * plain trapezoidal sum converges faster than any power of the step. */
#include "analysis/power.h"

#include <math.h>

#include "analysis/normal.h"

enum { NODES_MAX = 256, NODES_FEW = 28, NODES_FEWEST = 16 };

struct spread {
	double factor[NODES_MAX]; /* u */
	double weight[NODES_MAX]; /* sums to 1 */
	int count;
};

/* From here on the spread is as good as known: the error is below 1e-6 of it. */
static const double df_is_known = 1e12;

/* The density of log u is u^df exp(-df u^2 / 2), up to a factor: as wide as 1 / sqrt(2 df), with a left tail of u^df.
 * Cut off where exp(-reach^2 / 2) of it is left. */
static void spread_make(struct spread *s, double df, int nodes, double reach)
{
	double wide = reach / sqrt(2 * df), left = -(wide + reach * reach / 4 / df),
	       right = fmin(wide, 2.5), sum = 0;

	s->count = df > df_is_known ? 1 : nodes;
	s->factor[0] = s->weight[0] = 1;
	if (s->count == 1)
		return;
	for (int i = 0; i < nodes; i++) {
		double log_u = left + (right - left) * i / (nodes - 1), u = exp(log_u);

		s->factor[i] = u;
		s->weight[i] = exp(df * (log_u - (u * u - 1) / 2));
		sum += s->weight[i];
	}
	for (int i = 0; i < nodes; i++)
		s->weight[i] /= sum;
}

double noncentral_t_cdf(double t, double df, double delta)
{
	struct spread s;
	double p = 0;

	spread_make(&s, df, NODES_MAX, 9);
	for (int i = 0; i < s.count; i++)
		p += s.weight[i] * normal_cdf(t * s.factor[i] - delta);
	return p;
}

/* The chance that a difference of so many estimated standard errors exceeds the critical value, and how fast it rises. */
static double chance(const struct spread *known, const struct spread *test, double critical,
	double difference, double *slope)
{
	double p = 0;

	*slope = 0;
	for (int i = 0; i < known->count; i++)
		for (int k = 0; k < test->count; k++) {
			double weight = known->weight[i] * test->weight[k];
			double z = difference * known->factor[i] - critical * test->factor[k];

			p += weight * normal_cdf(z);
			*slope += weight * known->factor[i] * exp(-z * z / 2);
		}
	*slope /= sqrt(2 * M_PI);
	return p;
}

/* The narrower, the fewer it takes for the same error. */
static int nodes_for(double df)
{
	return df < 6 ? NODES_FEW : NODES_FEWEST;
}

/* Newton's steps kept inside a bracket that is widened or halved otherwise. */
double power_detectable(double critical, double df_known, double df_test, double power)
{
	enum { STEPS = 60 };
	struct spread known, test;
	double low = 0, high = INFINITY, at = fabs(critical) + 1;

	spread_make(&known, df_known, nodes_for(df_known), 5.5);
	spread_make(&test, df_test, nodes_for(df_test), 5.5);
	for (int i = 0; i < STEPS; i++) {
		double slope, excess = chance(&known, &test, critical, at, &slope) - power;
		double next = at - excess / slope;

		*(excess < 0 ? &low : &high) = at;
		if (!(next > low && next < high))
			next = isinf(high) ? 2 * at : (low + high) / 2;
		if (fabs(next - at) <= 1e-5 * at)
			return next;
		at = next;
	}
	return at;
}

size_t power_smallest(size_t least, size_t most, bool (*enough)(size_t n, const void *context),
	const void *context)
{
	size_t low = least - 1, high = least;

	while (!enough(high, context)) {
		if (high >= most)
			return 0;
		low = high;
		high = high > most / 2 ? most : high * 2;
	}
	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;

		*(enough(middle, context) ? &high : &low) = middle;
	}
	return high;
}
