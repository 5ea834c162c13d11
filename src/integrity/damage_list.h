/* Collects verdicts: exact totals, and as many ranges as there is room for. */
#ifndef INTEGRITY_DAMAGE_LIST_H
#define INTEGRITY_DAMAGE_LIST_H

#include "base/damage.h"
#include "integrity/verdict.h"

struct damage {
	struct damage_totals totals;
	struct damage_range *ranges; /* in order of arrival */
	size_t range_count, range_room;
	struct verdict last; /* of the last block in the last range */
	uint64_t last_end; /* its end; UINT64_MAX: the last range takes no more */
};

/* 0, or -ENOMEM. */
int damage_init(struct damage *d, uint64_t region_start, uint64_t region_bytes,
	uint32_t block_bytes, size_t range_room);
void damage_release(struct damage *d);

/* One request's blocks, in order, with their verdicts as judged; generation as expected. */
void damage_add(struct damage *d, uint64_t offset, uint32_t generation,
	const struct verdict *verdicts, uint32_t count);

/* The short way for a request without damage. */
void damage_add_right(struct damage *d, uint64_t offset, uint32_t count);

/* The last range takes no more blocks: what has been recorded must not change. */
void damage_close_range(struct damage *d);

#endif
