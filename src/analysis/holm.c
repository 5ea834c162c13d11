/* Holm's correction. */
#include "analysis/holm.h"

#include <math.h>
#include <stdlib.h>

struct ranked {
	double p;
	size_t index;
};

static int compare_ranked(const void *left, const void *right)
{
	const struct ranked *a = left, *b = right;

	return (a->p > b->p) - (a->p < b->p);
}

int holm_adjust(double *adjusted, const double *p, size_t n)
{
	struct ranked *order;
	double most = 0;

	if (!n)
		return 0;
	order = calloc(n, sizeof *order);
	if (!order)
		return -1;
	for (size_t i = 0; i < n; i++)
		order[i] = (struct ranked){ p[i], i };
	qsort(order, n, sizeof *order, compare_ranked);
	for (size_t i = 0; i < n; i++) {
		most = fmax(most, fmin(1, order[i].p * (double)(n - i)));
		adjusted[order[i].index] = most;
	}
	free(order);
	return 0;
}
