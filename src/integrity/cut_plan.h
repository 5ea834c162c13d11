/* What `cut` writes, and in which order: seeded, so that a run can be repeated.
 *
 * The region is laid out in cells; the last part of each cell, its fence, is never written after the baseline, so that
 * damage to neighbours of what was written shows. */
#ifndef INTEGRITY_CUT_PLAN_H
#define INTEGRITY_CUT_PLAN_H

#include <stdbool.h>
#include <stdint.h>

#include "base/random.h"

struct cut_write {
	uint32_t number; /* 2, 3, ...: the generation of its blocks; 1 is the baseline */
	uint64_t at; /* bytes, absolute */
	uint32_t bytes;
	bool through; /* to be stored when it returns (FUA) */
	bool flush; /* followed by a flush */
	uint64_t pause_ns; /* then nothing for so long */
};

enum { CUT_RECENT = 8, CUT_BASELINE = 1 };

struct cut_plan {
	struct random random;
	uint64_t region_start, cells;
	uint32_t block_bytes, cell_blocks, fence_blocks, largest_blocks;
	uint32_t next;
	uint32_t flush_one_in, through_one_in; /* writes */
	struct cut_write recent[CUT_RECENT]; /* the last ones, for rewrites */
};

/* The smallest region this can work on: one cell. */
uint64_t cut_plan_cell_bytes(uint32_t block_bytes);

/* region_bytes holds at least one cell; what is left over after the last whole cell stays baseline. */
void cut_plan_init(struct cut_plan *p, uint64_t seed, uint64_t region_start, uint64_t region_bytes,
	uint32_t block_bytes);
void cut_plan_next(struct cut_plan *p, struct cut_write *out);

#endif
