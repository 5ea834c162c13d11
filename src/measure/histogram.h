/* Latencies counted in bins of equal relative width: 128 to the octave, so a quantile is off by less than 0.8 %. */
#ifndef MEASURE_HISTOGRAM_H
#define MEASURE_HISTOGRAM_H

#include <stddef.h>
#include <stdint.h>

enum {
	HISTOGRAM_SUB_BITS = 7,
	HISTOGRAM_BINS = (64 - HISTOGRAM_SUB_BITS + 1) << HISTOGRAM_SUB_BITS
};

struct histogram {
	uint64_t total, min, max, sum; /* exact */
	uint64_t bins[HISTOGRAM_BINS];
};

static inline size_t histogram_bin(uint64_t value)
{
	unsigned shift;

	if (value < UINT64_C(1) << HISTOGRAM_SUB_BITS)
		return (size_t)value;
	shift = 63u - (unsigned)__builtin_clzll(value) - HISTOGRAM_SUB_BITS;
	/* Bin = octave * 128 + position; the leading one of (value >> shift) carries into the octave. */
	return ((size_t)shift << HISTOGRAM_SUB_BITS) + (size_t)(value >> shift);
}

static inline void histogram_add(struct histogram *h, uint64_t value)
{
	h->bins[histogram_bin(value)]++;
	h->total++;
	h->sum += value;
	if (value > h->max)
		h->max = value;
	if (value < h->min)
		h->min = value;
}

void histogram_init(struct histogram *h);
void histogram_merge(struct histogram *into, const struct histogram *from);

/* The largest value that falls into the bin. */
uint64_t histogram_bin_upper(size_t bin);

/* Interpolated between the two order statistics around it (Hyndman and Fan 1996, type 7), each taken as the upper end
 * of its bin, and the smallest and the largest as they are; share in 0..1. 0 when empty. */
uint64_t histogram_quantile(const struct histogram *h, double share);

#endif
