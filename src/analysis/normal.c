/* Normal distribution function and quantile. */
#include "analysis/normal.h"

#include <math.h>

double normal_cdf(double z)
{
	return erfc(-z * M_SQRT1_2) / 2;
}

/* Abramowitz and Stegun 26.2.23: within 4.5e-4, for p <= 0.5. */
static double rough_quantile(double p)
{
	double t = sqrt(-2 * log(p));

	return -(t - (2.515517 + t * (0.802853 + t * 0.010328)) /
			     (1 + t * (1.432788 + t * (0.189269 + t * 0.001308))));
}

double normal_quantile(double p)
{
	double z;

	if (!(p > 0))
		return -INFINITY;
	if (p >= 1)
		return INFINITY;
	if (p > 0.5)
		return -normal_quantile(1 - p);
	z = rough_quantile(p);
	for (int i = 0; i < 3; i++) { /* Halley */
		double u = (normal_cdf(z) - p) * sqrt(2 * M_PI) * exp(z * z / 2);

		z -= u / (1 + z * u / 2);
	}
	return z;
}
