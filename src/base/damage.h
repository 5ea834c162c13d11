/* The vocabulary of damage, shared by judging, recording and reporting: classes, exact totals, ranges. Plain data. */
#ifndef BASE_DAMAGE_H
#define BASE_DAMAGE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* In the order in which records count them. Each has a row in damage.c. */
enum damage_class {
	DAMAGE_NONE,
	DAMAGE_UNREADABLE,
	DAMAGE_BLANK,
	DAMAGE_STALE,
	DAMAGE_MISPLACED,
	DAMAGE_TORN,
	DAMAGE_SHIFTED,
	DAMAGE_BIT_ERROR,
	DAMAGE_FOREIGN,
	DAMAGE_CLASSES,
};

/* All that is said of a class anywhere. */
struct damage_row {
	const char *name; /* for people, and in records: "bit error" */
	const char *code; /* for programs: "bit-error" */
	const char *counted; /* after a number of blocks: "with bit errors" */
	char sign; /* on a map */
	const char *meaning; /* what such a block is */
	const char *cause; /* what usually brings it about; common practice, no source */
};

const struct damage_row *damage_row(enum damage_class c);

/* More signs on a map. */
enum { DAMAGE_SIGN_SEVERAL = 'X', DAMAGE_SIGN_NOT_JUDGED = '-' };

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
	/* where the nearest to the start, and the farthest, belong that were found elsewhere */
	uint64_t source_first, source_last;

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
