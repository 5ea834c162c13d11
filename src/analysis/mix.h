/* The time a mix of requests takes: a file copy, or what a host was seen to send. */
#ifndef ANALYSIS_MIX_H
#define ANALYSIS_MIX_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/cost.h"

struct mix_item {
	bool write;
	uint64_t request_bytes;
	double count;
};

/* What one direction costs, as measured. */
struct mix_costs {
	const struct cost_line *line;
	const struct cost_point *points;
	size_t point_count; /* 0: this direction was not measured */
};

struct mix_time {
	/* read, write; NaN where the mix needs a direction that was not measured */
	double seconds[2];
	double bytes[2];
	double requests[2];
};

struct mix_time mix_predict(
	const struct mix_costs costs[2], const struct mix_item *items, size_t count);

/* A file of so many bytes in requests of one size: the last one is shorter. Returns how many items it made (1 or 2);
 * items has room for 2. */
size_t mix_of_copy(struct mix_item *items, bool write, uint64_t bytes, uint64_t request_bytes);

#endif
