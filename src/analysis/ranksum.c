/* Rank sums. */
#include "analysis/ranksum.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/normal.h"

/* How many ways to choose `na` of the ranks 1..na+nb give each U = rank sum - na (na + 1) / 2: the 0/1 knapsack count,
 * additions only, so nothing cancels. Row k of the table: k ranks chosen, by their excess over 1 + ... + k. */
static double *count_ways(size_t na, size_t nb)
{
	size_t width = na * nb + 1;
	double *ways = calloc((na + 1) * width, sizeof *ways);

	if (!ways)
		return NULL;
	ways[0] = 1;
	for (size_t rank = 1; rank <= na + nb; rank++) {
		/* Rank r as the k-th smallest adds r - k to the excess. */
		for (size_t k = rank < na ? rank : na; k >= 1; k--) {
			double *to = ways + k * width, *from = to - width;

			for (size_t u = rank - k; u < width; u++)
				to[u] += from[u - (rank - k)];
		}
	}
	return ways;
}

double ranksum_exact_p(double u, size_t na, size_t nb)
{
	double *ways, *counts, tail = 0, all = 0;

	if (!na || !nb || na > RANKSUM_EXACT_MAX || nb > RANKSUM_EXACT_MAX)
		return NAN;
	ways = count_ways(na, nb);
	if (!ways)
		return NAN;
	counts = ways + na * (na * nb + 1);
	for (size_t i = 0; i <= na * nb; i++) {
		all += counts[i];
		if ((double)i <= u)
			tail += counts[i];
	}
	free(ways);
	return fmin(1, 2 * tail / all);
}

struct tagged {
	double value;
	bool from_a;
};

static int compare_tagged(const void *left, const void *right)
{
	const struct tagged *a = left, *b = right;

	return (a->value > b->value) - (a->value < b->value);
}

/* Sum of the ranks of group a, ties sharing their mean rank; *ties is the sum of t^3 - t. */
static double rank_sum(const struct tagged *all, size_t n, double *ties)
{
	double sum = 0;

	*ties = 0;
	for (size_t i = 0, end; i < n; i = end) {
		double rank, t;

		for (end = i + 1; end < n && all[end].value == all[i].value; end++)
			;
		t = (double)(end - i);
		rank = (double)i + (t + 1) / 2;
		*ties += t * t * t - t;
		for (size_t k = i; k < end; k++)
			if (all[k].from_a)
				sum += rank;
	}
	return sum;
}

static double approximate_p(double u, double na, double nb, double ties)
{
	double n = na + nb, variance = na * nb / 12 * (n + 1 - ties / (n * (n - 1)));
	double distance = fabs(u - na * nb / 2) - 0.5;

	if (!(variance > 0) || distance <= 0)
		return 1;
	return 2 * normal_cdf(-distance / sqrt(variance));
}

struct ranksum ranksum_of(const double *a, size_t na, const double *b, size_t nb)
{
	struct ranksum r = { .p = 1 };
	struct tagged *all;
	double ties;

	if (!na || !nb)
		return r;
	all = calloc(na + nb, sizeof *all);
	if (!all) {
		r.no_memory = true;
		return r;
	}
	for (size_t i = 0; i < na; i++)
		all[i] = (struct tagged){ a[i], true };
	for (size_t i = 0; i < nb; i++)
		all[na + i] = (struct tagged){ b[i], false };
	qsort(all, na + nb, sizeof *all, compare_tagged);
	r.u_a = rank_sum(all, na + nb, &ties) - (double)na * (double)(na + 1) / 2;
	r.u_b = (double)na * (double)nb - r.u_a;
	free(all);
	r.exact = ties == 0 && na <= RANKSUM_EXACT_MAX && nb <= RANKSUM_EXACT_MAX;
	r.p = r.exact ? ranksum_exact_p(fmin(r.u_a, r.u_b), na, nb)
		      : approximate_p(fmin(r.u_a, r.u_b), (double)na, (double)nb, ties);
	r.known = !isnan(r.p);
	r.no_memory = r.exact && !r.known;
	return r;
}
