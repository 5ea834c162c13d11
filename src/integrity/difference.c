/* Bitwise comparison; runs for damaged blocks only. */
#include "integrity/difference.h"

static void note_byte(struct difference *d, uint32_t at, uint8_t must, uint8_t is)
{
	uint8_t flips = must ^ is;

	for (uint32_t bit = 0; bit < 8; bit++) {
		if (!(flips >> bit & 1))
			continue;
		if (!d->flipped_bits++)
			d->first_bit = at * 8 + bit;
		d->last_bit = at * 8 + bit;
		if (is >> bit & 1)
			d->set_at[bit]++;
		else
			d->cleared_at[bit]++;
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
