/* The line a bench prints: NAME, median, lower and upper quartile of its ratios, goal; split by tabs. */
#ifndef BENCH_RATIOS_H
#define BENCH_RATIOS_H

#include <stdio.h>

#include "analysis/quantile.h"

/* Sorts them. n >= 1. */
static inline void ratios_print(const char *name, double *ratios, size_t n, const char *goal)
{
	quantile_sort(ratios, n);
	printf("%s\t%.3f\t%.3f\t%.3f\t%s\n", name, ratios[n / 2], ratios[n / 4],
		ratios[n - 1 - n / 4], goal);
}

#endif
