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

void offsets_begin_in(struct offsets *o, struct offsets_part p)
{
	struct random r = { o->seed };
	uint64_t from, to;

	if (!p.parts || o->slots < p.parts)
		return;
	/* Not part * slots: that may be more than 64 bits hold. */
	from = o->slots / p.parts * p.part + o->slots % p.parts * p.part / p.parts;
	to = o->slots / p.parts * (p.part + 1) + o->slots % p.parts * (p.part + 1) / p.parts;
	o->first = from + random_below(&r, to - from);
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
