/* Where and how two blocks differ, bit by bit. */
#ifndef INTEGRITY_DIFFERENCE_H
#define INTEGRITY_DIFFERENCE_H

#include <stddef.h>
#include <stdint.h>

struct difference {
	uint32_t flipped_bits;
	uint32_t set_at[8], cleared_at[8]; /* by bit within the byte */
	uint32_t first_bit, last_bit; /* byte * 8 + bit; meaningless without flips */
	uint8_t stuck_low,
		stuck_high; /* flipped positions at which `is` reads the same in every byte */
};

/* set: 0 in must, 1 in is. */
void difference_measure(
	struct difference *d, const uint8_t *must, const uint8_t *is, size_t length);

#endif
