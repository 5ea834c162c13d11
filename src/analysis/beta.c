/* Incomplete beta function and its inverse. */
#include "analysis/beta.h"

#include <float.h>
#include <math.h>
#include <stdbool.h>

/* lgamma keeps a sign in a global; this form does not. */
static double log_gamma(double x)
{
	int sign;

	return lgamma_r(x, &sign);
}

static double away_from_zero(double x)
{
	return fabs(x) < DBL_MIN ? DBL_MIN : x;
}

/* The even and odd coefficients of the fraction, evaluated by the modified Lentz method. Converges fast for
 * x < (a+1)/(a+b+2). */
static double continued_fraction(double x, double a, double b)
{
	double c = 1, d = 1 / away_from_zero(1 - (a + b) * x / (a + 1)), value = d;

	for (int i = 1; i < 10000; i++) {
		double m = i, step;
		double even = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m));
		double odd = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1));

		d = 1 / away_from_zero(1 + even * d);
		c = away_from_zero(1 + even / c);
		value *= c * d;
		d = 1 / away_from_zero(1 + odd * d);
		c = away_from_zero(1 + odd / c);
		step = c * d;
		value *= step;
		if (fabs(step - 1) < 1e-15)
			break;
	}
	return value;
}

double beta_regularised(double x, double a, double b)
{
	double front;

	if (!(x > 0))
		return 0;
	if (x >= 1)
		return 1;
	front = exp(log_gamma(a + b) - log_gamma(a) - log_gamma(b) + a * log(x) + b * log1p(-x));
	if (x < (a + 1) / (a + b + 2))
		return front * continued_fraction(x, a, b) / a;
	return 1 - front * continued_fraction(1 - x, b, a) / b;
}

double beta_quantile(double p, double a, double b)
{
	double low = 0, high = 1;

	if (!(p > 0))
		return 0;
	if (p >= 1)
		return 1;
	/* Halving is slow and cannot fail; below 1e-300 there is nothing left to halve. */
	for (int i = 0; i < 1100 && high - low > DBL_EPSILON * high; i++) {
		double middle = (low + high) / 2;

		if (beta_regularised(middle, a, b) < p)
			low = middle;
		else
			high = middle;
	}
	return (low + high) / 2;
}
