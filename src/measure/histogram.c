/* Latency histogram. */
#include "measure/histogram.h"

#include <math.h>
#include <string.h>

void histogram_init(struct histogram *h)
{
	memset(h, 0, sizeof *h);
	h->min = UINT64_MAX;
}

void histogram_merge(struct histogram *into, const struct histogram *from)
{
	for (size_t i = 0; i < HISTOGRAM_BINS; i++)
		into->bins[i] += from->bins[i];
	into->total += from->total;
	into->sum += from->sum;
	if (from->max > into->max)
		into->max = from->max;
	if (from->min < into->min)
		into->min = from->min;
}

uint64_t histogram_bin_upper(size_t bin)
{
	unsigned shift;
	uint64_t low;

	if (bin < (size_t)2 << HISTOGRAM_SUB_BITS)
		return bin;
	shift = (unsigned)(bin >> HISTOGRAM_SUB_BITS) - 1;
	low = (uint64_t)(bin - ((size_t)shift << HISTOGRAM_SUB_BITS)) << shift;
	return low + ((UINT64_C(1) << shift) - 1);
}

/* The rank-th smallest value, from 1: the upper end of its bin, and of the extreme ones the value itself. */
static uint64_t value_of_rank(const struct histogram *h, uint64_t rank)
{
	uint64_t seen = 0;

	if (rank <= 1)
		return h->min;
	for (size_t i = 0; i < HISTOGRAM_BINS && rank < h->total; i++) {
		seen += h->bins[i];
		if (seen >= rank) {
			uint64_t v = histogram_bin_upper(i);

			return v < h->max ? v : h->max;
		}
	}
	return h->max;
}

uint64_t histogram_quantile(const struct histogram *h, double share)
{
	double at, below;
	uint64_t low, high;

	if (!h->total)
		return 0;
	at = share * (double)(h->total - 1);
	below = floor(at);
	low = value_of_rank(h, (uint64_t)below + 1);
	high = value_of_rank(h, (uint64_t)below + 2);
	return low + (uint64_t)((at - below) * (double)(high - low) + 0.5);
}
