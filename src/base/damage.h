/* The vocabulary of damage, shared by judging, recording and reporting: classes, exact totals, ranges. Plain data. */
#ifndef BASE_DAMAGE_H
#define BASE_DAMAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum damage_class {
	DAMAGE_NONE,
	DAMAGE_UNREADABLE, /* the target refused to read it, or ended short of it */
	DAMAGE_BLANK, /* all one byte */
	DAMAGE_STALE, /* a whole older generation, or another run's block, at the right place */
	DAMAGE_MISPLACED, /* a whole block written to another offset */
	DAMAGE_TORN, /* part of it, or of its request, is what must be there and part is not */
	DAMAGE_SHIFTED, /* the right bytes, slipped */
	DAMAGE_BIT_ERROR, /* the right bytes with bits flipped */
	DAMAGE_FOREIGN, /* nothing this tool wrote */
	DAMAGE_CLASSES,
};

/* "none", "unreadable", ..., "bit error", "foreign". */
const char *damage_class_name(enum damage_class c);
int damage_class_parse(const char *name); /* -1 when there is none of that name */

/* Neighbouring blocks with the same evidence. */
struct damage_range {
	enum damage_class class;
	uint64_t offset, bytes;
	uint32_t generation; /* the one that was expected */
	char detail[128]; /* the evidence of the first block, in words */
};

enum { DAMAGE_MAP_CELLS = 640 };

/* Counts are exact whatever the number of ranges kept. Offsets in bytes from the start of the target. */
struct damage_totals {
	uint32_t block_bytes;
	uint64_t region_start, region_bytes;
	uint64_t judged; /* blocks, each time one was judged */
	uint64_t by_class[DAMAGE_CLASSES]; /* [DAMAGE_NONE]: right */
	uint64_t first_offset, last_offset; /* of damaged blocks */
	uint64_t unlisted; /* damaged blocks for which there was no room in the ranges */

	/* damaged blocks by their place in a request of several blocks */
	uint64_t request_first, request_middle, request_last;
	uint64_t requests_damaged, requests_whole; /* requests with damage, and all damaged */

	/* bit errors */
	uint64_t set_at[8], cleared_at[8]; /* flips 0 to 1 and 1 to 0, by bit within the byte */
	uint64_t bit_lowest, bit_highest; /* byte * 8 + bit within the block */
	uint64_t stuck_low, stuck_high; /* masks: bits stuck in every block with bit errors */

	/* misplaced */
	uint64_t distance_gcd, distance_min, distance_max; /* found offset less own, absolute */
	uint64_t found_ahead; /* how many were found to belong further on */

	int64_t slip_min, slip_max; /* shifted; > 0 late */

	/* stale */
	uint64_t other_run, other_seed; /* blocks of other runs; the seed of the first */

	/* map: cell i covers cell_bytes from region_start + i * cell_bytes */
	uint64_t cell_bytes;
	uint64_t cell_judged[DAMAGE_MAP_CELLS]; /* blocks */
	uint64_t cell_damaged[DAMAGE_MAP_CELLS];
	uint32_t cell_classes[DAMAGE_MAP_CELLS]; /* bit 1 << class */
};

/* All damaged blocks. */
static inline uint64_t damage_totals_damaged(const struct damage_totals *t)
{
	return t->judged - t->by_class[DAMAGE_NONE];
}

#endif
