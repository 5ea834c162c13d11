/* What is known about one block: the class of its damage and the evidence. */
#ifndef INTEGRITY_VERDICT_H
#define INTEGRITY_VERDICT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/damage.h"

enum torn_rest { TORN_REST_UNKNOWN, TORN_REST_STAMPED, TORN_REST_BLANK };

/* Only the fields of the class mean anything; the rest is 0. */
struct verdict {
	enum damage_class class;
	int read_errno; /* unreadable: positive, 0 when the target ended early */
	uint8_t blank_byte; /* blank; torn with a blank rest */
	/* stale, misplaced, torn with a stamped rest: who was found there */
	uint64_t found_seed, found_offset;
	uint32_t found_generation;
	bool other_run; /* found_seed is not this run's */
	/* torn */
	enum torn_rest rest;
	/* bytes of the block that are not what they must be; both 0: the whole block is old inside a request that is
	 * partly new */
	uint32_t torn_from, torn_to;
	/* shifted: > 0 late (bytes were inserted before them), < 0 early (bytes were lost) */
	int32_t slip_bytes;
	/* bit error; also stale and misplaced blocks that have some */
	uint32_t flipped_bits;
	uint32_t set_at[8], cleared_at[8]; /* flips 0 to 1 and 1 to 0, by bit within the byte */
	uint32_t first_bit; /* byte * 8 + bit, counted from the start of the block */
	uint32_t last_bit;
	uint8_t stuck_low, stuck_high; /* bits within the byte that read the same in every byte */
};

/* The evidence in words, e.g. "generation 1" or "bit 4 of byte 100 read 0, expected 1"; "" when there is nothing to add.
 * offset: where the block lies. Returns out. */
const char *verdict_detail(char *out, size_t room, const struct verdict *v, uint64_t offset);

/* Do two neighbouring blocks, `distance` bytes apart, show the same damage, so that one range can hold both? */
bool verdict_continues(const struct verdict *a, const struct verdict *b, uint64_t distance);

#endif
