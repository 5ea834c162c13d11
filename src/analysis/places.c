/* Rates by place. */
#include "analysis/places.h"

#include <math.h>

#include "analysis/beta.h"

static double mean_of(const double *v, size_t count, size_t step)
{
	double sum = 0;

	for (size_t i = 0; i < count; i++)
		sum += v[i * step];
	return sum / (double)count;
}

/* P(F >= f): Abramowitz and Stegun 26.6.2. */
static double f_beyond(double f, double df1, double df2)
{
	return beta_regularised(df2 / (df2 + df1 * f), df2 / 2, df1 / 2);
}

/* What is left of each pass once its point and its part have their mean. */
static double rest_of(
	const double *v, size_t points, size_t parts, const double *effect, double mean)
{
	double sum = 0;

	for (size_t i = 0; i < points; i++) {
		double row = mean_of(v + i * parts, parts, 1);

		for (size_t k = 0; k < parts; k++) {
			double rest = v[i * parts + k] - row - (effect[k] - mean);

			sum += rest * rest;
		}
	}
	return sum;
}

void places_find(struct places *out, const double *v, size_t points, size_t parts)
{
	double effect[PLACES_MAX], mean, between = 0, rest, df1, df2;

	*out = (struct places){ .parts = parts, .points = points, .p = 1 };
	if (points < 2 || parts < 2 || parts > PLACES_MAX)
		return;
	out->known = true;
	mean = mean_of(v, points * parts, 1);
	for (size_t k = 0; k < parts; k++) {
		effect[k] = mean_of(v + k, points, parts);
		between += (double)points * (effect[k] - mean) * (effect[k] - mean);
		if (effect[k] < effect[out->slowest_part])
			out->slowest_part = k;
		if (effect[k] > effect[out->fastest_part])
			out->fastest_part = k;
	}
	out->slowest = exp(effect[out->slowest_part] - mean);
	out->fastest = exp(effect[out->fastest_part] - mean);
	rest = rest_of(v, points, parts, effect, mean);
	df1 = (double)(parts - 1);
	df2 = df1 * (double)(points - 1);
	if (between > 0)
		out->p = rest > 0 ? f_beyond(between / df1 / (rest / df2), df1, df2) : 0;
	out->differ = out->p < PLACES_LEVEL && out->fastest > PLACES_MATTER * out->slowest;
}
