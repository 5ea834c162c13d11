/* The normal distribution. */
#ifndef ANALYSIS_NORMAL_H
#define ANALYSIS_NORMAL_H

double normal_cdf(double z);

/* The z with normal_cdf(z) = p, p in (0, 1); -inf and +inf at the ends. */
double normal_quantile(double p);

#endif
