/* Where the next request goes: sequential or in seeded random order, always aligned to the request, no place twice
 * until every place was used. */
#ifndef MEASURE_OFFSETS_H
#define MEASURE_OFFSETS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/random.h"

struct offsets {
	bool random;
	uint64_t start; /* of the region, bytes */
	uint64_t request_bytes;
	uint64_t slots; /* whole requests in the region */
	uint64_t first; /* sequential: the slot to begin with, so that wear and caches are spread */
	uint64_t seed;
	struct permutation permutation;
};

/* Where in the region a sequential order begins: in that one of so many equal parts; parts 0: anywhere. */
struct offsets_part {
	uint64_t part, parts;
};

/* region_bytes >= request_bytes > 0. */
void offsets_init(struct offsets *o, bool random, uint64_t region_start, uint64_t region_bytes,
	uint64_t request_bytes, uint64_t seed);
/* Before the first request; where there are fewer slots than parts it changes nothing. */
void offsets_begin_in(struct offsets *o, struct offsets_part part);

/* Byte offset of request number `index` (0, 1, ...). Random orders change at every lap; calls must not go back to an
 * earlier lap. Not for several threads at once. */
uint64_t offsets_at(struct offsets *o, uint64_t index);

#endif
