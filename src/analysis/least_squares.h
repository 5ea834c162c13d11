/* Weighted least squares with a handful of columns. */
#ifndef ANALYSIS_LEAST_SQUARES_H
#define ANALYSIS_LEAST_SQUARES_H

#include <stdbool.h>
#include <stddef.h>

enum { LEAST_SQUARES_MAX = 4 };

/* y = sum of coefficients[j] columns[j], weights w > 0. By normal equations of scaled columns: about half the digits of
 * a double, which is plenty for measured times (fit.h keeps more). False when the columns depend on each other or
 * there are fewer rows than columns. */
bool least_squares(double *coefficients, const double *const *columns, size_t count,
	const double *y, const double *w, size_t rows);

#endif
