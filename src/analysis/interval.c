/* Bounds of a share. */
#include "analysis/interval.h"

#include <math.h>

#include "analysis/beta.h"

struct share_bounds interval_share(uint64_t k, uint64_t n, double confidence)
{
	double tail = (1 - confidence) / 2, hits = (double)k, misses = (double)(n - k);
	struct share_bounds b = { 0, 1 };

	if (!n)
		return b;
	if (k)
		b.low = k == n ? pow(tail, 1 / (double)n) : beta_quantile(tail, hits, misses + 1);
	if (k < n)
		b.high = k ? beta_quantile(1 - tail, hits + 1, misses)
			   : interval_upper_of_none(n, 1 - tail);
	return b;
}

double interval_upper_of_none(uint64_t n, double confidence)
{
	return n ? -expm1(log1p(-confidence) / (double)n) : 1;
}
