/* Theil-Sen line. */
#include "analysis/theil_sen.h"

#include <stdlib.h>

#include "analysis/quantile.h"

static size_t pairwise_slopes(double *slopes, const double *x, const double *y, size_t n)
{
	size_t count = 0;

	for (size_t i = 0; i < n; i++)
		for (size_t k = i + 1; k < n; k++)
			if (x[i] != x[k])
				slopes[count++] = (y[k] - y[i]) / (x[k] - x[i]);
	return count;
}

bool theil_sen(const double *x, const double *y, size_t n, double *intercept, double *slope)
{
	double *work;
	size_t count;

	if (n < 2 || n > THEIL_SEN_MAX)
		return false;
	work = calloc(n * (n - 1) / 2 + n, sizeof *work);
	if (!work)
		return false;
	count = pairwise_slopes(work, x, y, n);
	if (count) {
		quantile_sort(work, count);
		*slope = quantile_median_of_sorted(work, count);
		for (size_t i = 0; i < n; i++)
			work[i] = y[i] - *slope * x[i];
		quantile_sort(work, n);
		*intercept = quantile_median_of_sorted(work, n);
	}
	free(work);
	return count > 0;
}
