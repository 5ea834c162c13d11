/* A handful of repeated measurements. */
#include "audit/sample.h"

#include <string.h>

#include "analysis/quantile.h"

static const double floor_seconds = 0.0005;

void sample_add(struct sample *s, double v)
{
	if (s->count < SAMPLE_MAX)
		s->values[s->count++] = v;
}

static double at(const struct sample *s, double p)
{
	double sorted[SAMPLE_MAX];

	if (!s->count)
		return 0;
	memcpy(sorted, s->values, s->count * sizeof *sorted);
	quantile_sort(sorted, s->count);
	return quantile_of_sorted(sorted, s->count, p);
}

double sample_median(const struct sample *s)
{
	return at(s, 0.5);
}

double sample_low(const struct sample *s)
{
	return at(s, 0);
}

double sample_high(const struct sample *s)
{
	return at(s, 1);
}

double sample_resolution(const struct sample *idle)
{
	return floor_seconds + 3 * sample_spread(idle);
}

enum promise_verdict sample_judge_wait(
	const struct sample *busy, const struct sample *idle, double least, double likely)
{
	double base = sample_median(idle), wait = sample_median(busy) - base;

	if (busy->count < 3 || idle->count < 3 || least < sample_resolution(idle))
		return PROMISE_NOT_SHOWN;
	if (wait >= 0.6 * likely)
		return PROMISE_KEPT;
	if (wait < 0.3 * least && sample_high(busy) - base < 0.7 * least)
		return PROMISE_BROKEN;
	return PROMISE_NOT_SHOWN;
}
