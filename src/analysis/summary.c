/* The summary of a point. */
#include "analysis/summary.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/moments.h"
#include "analysis/quantile.h"
#include "analysis/student.h"

static size_t copy_usable(double *to, const double *from, size_t n)
{
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (from[i] > 0 && isfinite(from[i]))
			to[kept++] = from[i];
	return kept;
}

static void add_interval(struct rate_summary *s, const struct moments *logs)
{
	double half;

	s->low = s->high = s->typical;
	if (logs->n < SUMMARY_MIN_PASSES)
		return;
	half = student_critical(0.95, (double)(logs->n - 1)) * logs->sd / sqrt((double)logs->n);
	s->low = s->typical * exp(-half);
	s->high = s->typical * exp(half);
	s->interval_known = true;
}

static struct rate_summary summarise(double *rates, size_t n)
{
	struct rate_summary s = { .n = n };
	struct moments logs;

	if (!n)
		return s;
	quantile_sort(rates, n);
	s.slowest = rates[0];
	s.fastest = rates[n - 1];
	s.median = quantile_median_of_sorted(rates, n);
	for (size_t i = 0; i < n; i++)
		rates[i] = log(rates[i]);
	logs = moments_of(rates, n);
	s.typical = exp(logs.mean);
	s.log_sd = logs.sd;
	add_interval(&s, &logs);
	return s;
}

void rate_summary_widen(struct rate_summary *s, double log_half)
{
	rate_summary_reach(s, exp(-log_half), exp(log_half));
}

void rate_summary_reach(struct rate_summary *s, double low, double high)
{
	if (!s->interval_known)
		return;
	s->low = fmin(s->low, s->typical * low);
	s->high = fmax(s->high, s->typical * high);
}

struct rate_summary rate_summary_of(const double *rates, size_t n)
{
	double small[64], *copy = small;
	struct rate_summary s = { 0 };

	if (n > 64)
		copy = calloc(n, sizeof *copy);
	if (!copy)
		return s;
	s = summarise(copy, copy_usable(copy, rates, n));
	if (copy != small)
		free(copy);
	return s;
}
