/* A straight line y = a + b x through weighted points by least squares, from sums taken about the weighted means
 * (raw sums lose digits: NIST StRD, Norris). */
#ifndef ANALYSIS_FIT_H
#define ANALYSIS_FIT_H

#include <stdbool.h>
#include <stddef.h>

struct fit {
	size_t n;
	double df; /* n - 2 */
	double a, b; /* intercept, slope */
	double a_se, b_se, ab_cov; /* NaN when df is 0 */
	double residual_ss, residual_ms, residual_sd;
	double regression_ss, r_squared; /* about the mean */
};

/* w[i] > 0, proportional to 1 / variance of y[i]; NULL: all alike. false when n < 2 or all x are equal. */
bool fit_line(struct fit *f, const double *x, const double *y, const double *w, size_t n);

struct bounds {
	double low, high;
};

/* 95 % intervals by Student's t. Infinite when df is 0. */
struct bounds fit_a_bounds(const struct fit *f);
struct bounds fit_b_bounds(const struct fit *f);

/* Of a / b, by Fieller's theorem (1954): exact where the delta method is not. False when b is not clearly different
 * from 0, for then the interval has no end. */
bool fit_ratio_bounds(const struct fit *f, struct bounds *out);

#endif
