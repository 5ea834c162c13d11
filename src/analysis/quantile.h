/* Quantiles of a sample: Hyndman and Fan, "Sample Quantiles in Statistical Packages", The American Statistician 50
 * (1996), type 7: h = (n-1)p, then linear between the two neighbours. */
#ifndef ANALYSIS_QUANTILE_H
#define ANALYSIS_QUANTILE_H

#include <stddef.h>

/* Latencies are counted in bins, 128 to the octave, and a quantile is the upper end of one: that much too long at the most. */
#define QUANTILE_BIN 0.0078

void quantile_sort(double *values, size_t n); /* ascending, in place */

/* sorted ascending, n >= 1, p in [0, 1] (clamped). n == 0 gives NaN. */
double quantile_of_sorted(const double *sorted, size_t n, double p);

static inline double quantile_median_of_sorted(const double *sorted, size_t n)
{
	return quantile_of_sorted(sorted, n, 0.5);
}

#endif
