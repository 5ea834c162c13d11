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

uint64_t histogram_quantile(const struct histogram *h, double share)
{
	uint64_t seen = 0, wanted;

	if (!h->total)
		return 0;
	wanted = (uint64_t)ceil(share * (double)h->total);
	if (wanted < 1)
		wanted = 1;
	for (size_t i = 0; i < HISTOGRAM_BINS; i++) {
		seen += h->bins[i];
		if (seen >= wanted) {
			uint64_t v = histogram_bin_upper(i);

			return v < h->max ? v : h->max;
		}
	}
	return h->max;
}
