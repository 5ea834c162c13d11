/* Bitwise comparison; runs for damaged blocks only. */
#include "integrity/difference.h"

static void note_byte(struct difference *d, uint32_t at, uint8_t must, uint8_t is)
{
	uint8_t flips = must ^ is;

	if (!d->flipped_bits)
		d->first_bit = at * 8 + (uint32_t)__builtin_ctz(flips);
	d->last_bit = at * 8 + 31 - (uint32_t)__builtin_clz(flips);
	d->flipped_bits += (uint32_t)__builtin_popcount(flips);
	for (uint32_t bit = 0; bit < 8;
		bit++) { /* no branches: half of all bits flip in foreign data */
		d->set_at[bit] += (uint32_t)(flips & is) >> bit & 1;
		d->cleared_at[bit] += (uint32_t)(flips & ~is) >> bit & 1;
	}
}

void difference_measure(struct difference *d, const uint8_t *must, const uint8_t *is, size_t length)
{
	uint8_t any = 0, all = 0xff, hit = 0;

	*d = (struct difference){ 0 };
	for (size_t i = 0; i < length; i++) {
		any |= is[i];
		all &= is[i];
		if (must[i] != is[i])
			note_byte(d, (uint32_t)i, must[i], is[i]);
	}
	for (uint32_t bit = 0; bit < 8; bit++)
		if (d->set_at[bit] || d->cleared_at[bit])
			hit |= (uint8_t)(1U << bit);
	d->stuck_low = hit & (uint8_t)~any;
	d->stuck_high = hit & all;
}
