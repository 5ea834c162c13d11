/* How large a difference a t test finds, and how often. */
#ifndef ANALYSIS_POWER_H
#define ANALYSIS_POWER_H

#include <stdbool.h>
#include <stddef.h>

/* P(T <= t) of the noncentral t distribution with df > 0 and noncentrality delta: the chance that a test statistic
 * stays below t when the true difference is delta standard errors. The integral over the spread that defines it (e.g.
 * Johnson, Kotz, Balakrishnan, Continuous Univariate Distributions 2, ch. 31; from memory); absolute error below 1e-9
 * for df >= 1. */
double noncentral_t_cdf(double t, double df, double delta);

/* The true difference, in standard errors as estimated with df_known degrees of freedom, that a test with df_test
 * degrees and the critical value `critical` exceeds with probability `power`. Both spreads are uncertain: the one the
 * answer is stated in, and the one the next test will find. df_known INFINITY: the spread is known, which gives the
 * noncentral t itself. Relative error below 1e-3. */
double power_detectable(double critical, double df_known, double df_test, double power);

/* The smallest n in least..most with enough(n), which must not turn false again for a larger one; 0: none. */
size_t power_smallest(size_t least, size_t most, bool (*enough)(size_t n, const void *context),
	const void *context);

#endif
