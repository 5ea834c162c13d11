/* Orders of requests. */
#include "measure/offsets.h"

void offsets_init(struct offsets *o, bool random, uint64_t region_start, uint64_t region_bytes,
	uint64_t request_bytes, uint64_t seed)
{
	struct random r = { seed };

	*o = (struct offsets){ .random = random,
		.start = region_start,
		.request_bytes = request_bytes,
		.slots = region_bytes / request_bytes,
		.seed = seed };
	o->first = random_below(&r, o->slots);
	permutation_init(&o->permutation, o->slots, seed);
}

uint64_t offsets_at(struct offsets *o, uint64_t index)
{
	uint64_t place = index % o->slots, lap = index / o->slots, slot;

	if (o->random) {
		uint64_t seed = random_at(o->seed, lap);

		if (place == 0 && lap > 0)
			permutation_init(&o->permutation, o->slots, seed);
		slot = permutation_at(&o->permutation, place);
	} else {
		slot = place + o->first;
		if (slot >= o->slots)
			slot -= o->slots;
	}
	return o->start + slot * o->request_bytes;
}
