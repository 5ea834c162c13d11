/* What a few places can tell about a false capacity: of a target that stores C bytes and takes every address modulo C.
 * Two places collide when their distance is nearly a multiple of C: then blocks of both lie in the same storage, and
 * reading the one written first gives the other. So a set of places sees C when some multiple of C is among the
 * distances at which two of them overlap; and the greatest common divisor of the distances seen is C itself when two
 * neighbouring multiples are, or C is its own only one. Pure functions; bytes throughout. */
#ifndef ANALYSIS_WRAP_H
#define ANALYSIS_WRAP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct wrap_places {
	const uint64_t *offsets; /* ascending, none touching another's bytes */
	size_t count;
	uint64_t length; /* of each */
	uint64_t unit; /* blocks: capacities are multiples of it, as are offsets and length */
	uint64_t region_bytes; /* the places lie within so many bytes */
};

struct wrap_sight {
	bool all_seen; /* every capacity below region_bytes is seen: all distances from half of it on are there */
	bool all_named; /* and named: all from a third of it on */
	double share; /* of the capacities from half of region_bytes on (each its own only multiple): how many are seen */
};

/* 0, or -ENOMEM. Memory grows with the count of places alone; time with its square. */
int wrap_sight(struct wrap_sight *out, const struct wrap_places *p);

/* How many of the places' blocks a target of this capacity gives back as something else: each storage block keeps only
 * what was written last. UINT64_MAX: out of memory. */
uint64_t wrap_blocks_lost(const struct wrap_places *p, uint64_t capacity);

/* Places that see and name every capacity: `low` of them at the low end, every low_step bytes, and `high` of them down
 * from the high end, every high_step bytes. Any distance from a third of the region on lies between a low and a high
 * one. About 1.15 times the square root of region_bytes / length are needed. */
struct wrap_comb {
	uint64_t low, low_step;
	uint64_t high, high_step;
};

/* align: what offsets must be multiples of; a multiple of unit, as are region_bytes and length. */
void wrap_comb(struct wrap_comb *out, uint64_t region_bytes, uint64_t length, uint64_t unit,
	uint64_t align);

/* The offset of place i, of low + high, from the start of the region. */
uint64_t wrap_comb_at(
	const struct wrap_comb *c, uint64_t i, uint64_t region_bytes, uint64_t length);

#endif
