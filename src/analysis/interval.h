/* How often something fails, from k failures in n trials: Clopper and Pearson, Biometrika 26 (1934). */
#ifndef ANALYSIS_INTERVAL_H
#define ANALYSIS_INTERVAL_H

#include <stdint.h>

struct share_bounds {
	double low, high;
};

/* Two-sided, e.g. confidence 0.95. n >= 1, k <= n; n == 0 gives 0..1. */
struct share_bounds interval_share(uint64_t k, uint64_t n, double confidence);

/* No failure in n trials: the one-sided upper bound 1 - (1 - confidence)^(1/n), about 3/n at 95 % ("rule of three",
 * Hanley and Lippman-Hand, JAMA 249, 1983). */
double interval_upper_of_none(uint64_t n, double confidence);

#endif
