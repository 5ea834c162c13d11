/* Mean, variance, autocorrelation. */
#include "analysis/moments.h"

#include <math.h>

static double mean_of(const double *values, size_t n)
{
	double sum = 0, rest = 0, mean;

	for (size_t i = 0; i < n; i++)
		sum += values[i];
	mean = sum / (double)n;
	for (size_t i = 0; i < n; i++)
		rest += values[i] - mean; /* what rounding left out of the first sum */
	return mean + rest / (double)n;
}

struct moments moments_of(const double *values, size_t n)
{
	struct moments m = { .n = n, .mean = NAN };
	double squares = 0, rest = 0;

	if (!n)
		return m;
	m.mean = mean_of(values, n);
	if (n < 2)
		return m;
	for (size_t i = 0; i < n; i++) {
		double d = values[i] - m.mean;

		squares += d * d;
		rest += d;
	}
	m.variance = (squares - rest * rest / (double)n) / (double)(n - 1);
	m.sd = sqrt(m.variance);
	return m;
}

double moments_lag1(const double *values, size_t n)
{
	double mean, products = 0, squares = 0;

	if (n < 2)
		return NAN;
	mean = mean_of(values, n);
	for (size_t i = 0; i < n; i++) {
		double d = values[i] - mean;

		squares += d * d;
		if (i)
			products += d * (values[i - 1] - mean);
	}
	return squares > 0 ? products / squares : NAN;
}
