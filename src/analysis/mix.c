/* Request mixes. */
#include "analysis/mix.h"

struct mix_time mix_predict(
	const struct mix_costs costs[2], const struct mix_item *items, size_t count)
{
	struct mix_time t = { 0 };

	for (size_t i = 0; i < count; i++) {
		int d = items[i].write;
		const struct mix_costs *c = &costs[d];

		t.seconds[d] += items[i].count * cost_seconds(c->line, c->points, c->point_count,
							 items[i].request_bytes);
		t.bytes[d] += items[i].count * (double)items[i].request_bytes;
		t.requests[d] += items[i].count;
	}
	return t;
}

size_t mix_of_copy(struct mix_item *items, bool write, uint64_t bytes, uint64_t request_bytes)
{
	uint64_t whole = bytes / request_bytes, rest = bytes % request_bytes;
	size_t n = 0;

	if (whole)
		items[n++] = (struct mix_item){ write, request_bytes, (double)whole };
	if (rest)
		items[n++] = (struct mix_item){ write, rest, 1 };
	return n;
}
