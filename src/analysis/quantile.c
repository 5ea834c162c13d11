/* Quantiles, type 7. */
#include "analysis/quantile.h"

#include <math.h>
#include <stdlib.h>

static int compare_doubles(const void *left, const void *right)
{
	double a = *(const double *)left, b = *(const double *)right;

	return (a > b) - (a < b);
}

void quantile_sort(double *values, size_t n)
{
	if (n > 1)
		qsort(values, n, sizeof *values, compare_doubles);
}

double quantile_of_sorted(const double *sorted, size_t n, double p)
{
	double h, below;
	size_t i;

	if (!n)
		return NAN;
	if (!(p > 0))
		return sorted[0];
	if (p >= 1)
		return sorted[n - 1];
	h = (double)(n - 1) * p;
	below = floor(h);
	i = (size_t)below;
	if (i + 1 >= n)
		return sorted[n - 1];
	return sorted[i] + (h - below) * (sorted[i + 1] - sorted[i]);
}
