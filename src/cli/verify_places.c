/* The places of a quick look: what shows a false capacity first, then what usually goes wrong, then chance. */
#include "cli/verify_places.h"

#include <stdlib.h>

#include "analysis/wrap.h"
#include "base/number.h"
#include "base/random.h"
#include "integrity/verify.h"

enum { FRACTIONS = 16, TRIES = 16 };

struct places {
	uint64_t *offsets;
	size_t count, room;
	uint64_t start, bytes; /* region */
	uint64_t length; /* of each */
};

/* Whole requests only, none overlapping another. */
static void add_place(struct places *p, uint64_t offset)
{
	uint64_t end = p->start + p->bytes;

	if (p->count == p->room || offset < p->start || offset > end - p->length)
		return;
	for (size_t i = 0; i < p->count; i++) {
		uint64_t other = p->offsets[i];

		if (offset < other + p->length && other < offset + p->length)
			return;
	}
	p->offsets[p->count++] = offset;
}

/* All of them, or none: half a comb tells no more than places at random. */
static void add_comb(struct places *p, const struct verify_plan *plan, uint64_t align)
{
	struct wrap_comb c;

	wrap_comb(&c, p->bytes, p->length, plan->block_bytes, align);
	for (uint64_t i = 0; c.low + c.high <= p->room && i < c.low + c.high; i++)
		add_place(p, p->start + wrap_comb_at(&c, i, p->bytes, p->length));
}

static int by_value(const void *a, const void *b)
{
	const uint64_t *x = a, *y = b;

	return (*x > *y) - (*x < *y);
}

/* Powers of two from the top: addresses cut to too few bits meet there. */
static void choose(struct places *p, uint64_t align, uint64_t seed)
{
	struct random r = { random_at(seed, 77) };
	uint64_t end = p->start + p->bytes;

	add_place(p, p->start);
	add_place(p, end - p->length);
	for (int bit = 62; bit >= 9; bit--)
		add_place(p, number_round_down(UINT64_C(1) << bit, align));
	for (uint64_t i = 1; i < FRACTIONS; i++)
		add_place(p, p->start + number_round_down(p->bytes / FRACTIONS * i, align));
	for (size_t tries = TRIES * p->room; p->count < p->room && tries; tries--)
		add_place(p, p->start + number_round_down(random_below(&r, p->bytes), align));
}

size_t verify_places_choose(
	uint64_t *offsets, size_t room, const struct verify_plan *plan, uint32_t align)
{
	struct places p = { offsets, 0, room, plan->region_start, plan->region_bytes,
		plan->sizes[0] };

	add_comb(&p, plan, align);
	choose(&p, align, plan->seed);
	qsort(offsets, p.count, sizeof *offsets, by_value);
	return p.count;
}
