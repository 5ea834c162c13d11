/* The regularised incomplete beta function, from which Student's t, F and the binomial follow. */
#ifndef ANALYSIS_BETA_H
#define ANALYSIS_BETA_H

/* I_x(a, b) for a, b > 0 and x in [0, 1] (clamped): continued fraction, Abramowitz and Stegun 26.5.8. */
double beta_regularised(double x, double a, double b);

/* The x with I_x(a, b) = p; p in [0, 1]. */
double beta_quantile(double p, double a, double b);

#endif
