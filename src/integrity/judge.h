/* The judge: is a block what must be at its place, and if not, what is it? By evidence, one class per block.
 *
 * Order of the evidence: exactly right; all one byte (blank); a whole stamped block of another identity (stale,
 * misplaced); the right bytes with some bits flipped (bit error); the right bytes slipped (shifted); partly the right
 * bytes (torn); another identity with some bits flipped; else foreign. */
#ifndef INTEGRITY_JUDGE_H
#define INTEGRITY_JUDGE_H

#include <stdint.h>

#include "integrity/stamp.h"
#include "integrity/verdict.h"

/* One per thread; about 40 KiB, no allocation inside. */
struct judge {
	struct stamp stamp; /* this run's */
	struct stamp other; /* of the last other seed that was met */
	_Alignas(64) uint8_t must[3 * STAMP_BLOCK_MAX]; /* the block before, the block, the next */
	_Alignas(64) uint8_t candidate[STAMP_BLOCK_MAX];
};

void judge_init(struct judge *j, uint64_t seed, uint32_t block_bytes);

/* Judges one block of j->stamp.block_bytes, aligned to 8, read at `offset`, last written as `generation` (from 1).
 * Returns v->class. */
enum damage_class judge_block(struct judge *j, const void *block, uint64_t offset,
	uint32_t generation, struct verdict *v);

/* For callers that know what the request was: blocks that are stale inside a request of which other blocks are right
 * were torn. verdicts: all of the request, in order. */
void judge_request(struct verdict *verdicts, uint32_t count);

#endif
