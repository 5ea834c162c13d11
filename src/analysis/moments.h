/* Mean and spread in two passes over the data, so that a large mean does not eat the small differences
 * (NIST StRD sets NumAcc3 and NumAcc4 show what the one-pass formula loses). */
#ifndef ANALYSIS_MOMENTS_H
#define ANALYSIS_MOMENTS_H

#include <stddef.h>

struct moments {
	size_t n;
	double mean; /* NaN when n is 0 */
	double variance; /* divided by n - 1; 0 when n < 2 */
	double sd;
};

struct moments moments_of(const double *values, size_t n);

/* Lag-1 autocorrelation; NaN when n < 2 or all values are equal. Near +1: the passes drift. */
double moments_lag1(const double *values, size_t n);

#endif
