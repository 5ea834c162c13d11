/* The line that a few wild points cannot bend: the median of all pairwise slopes (Theil 1950; Sen, JASA 63, 1968).
 * Intercept: the median of y - b x. */
#ifndef ANALYSIS_THEIL_SEN_H
#define ANALYSIS_THEIL_SEN_H

#include <stdbool.h>
#include <stddef.h>

enum { THEIL_SEN_MAX = 256 }; /* points; memory grows with the square */

/* false when fewer than two different x, more than THEIL_SEN_MAX points, or no memory. */
bool theil_sen(const double *x, const double *y, size_t n, double *intercept, double *slope);

#endif
