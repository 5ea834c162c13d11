/* The seeded writes of `cut`. */
#include "integrity/cut_plan.h"

enum {
	CELL_BYTES = 128 * 1024, /* of which the last eighth is fence */
	LARGEST_BYTES = 64 * 1024,
	CELL_BLOCKS_MIN = 16,
	STRETCH = 32, /* writes with the same rates of flushes and write-throughs */
	PAUSE_ONE_IN = 32,
	PAUSE_MAX_NS = 20000000,
	NEVER = 1 << 30, /* one in so many: not in any run */
};

static uint32_t cell_blocks(uint32_t block_bytes)
{
	uint32_t n = CELL_BYTES / block_bytes;

	return n < CELL_BLOCKS_MIN ? CELL_BLOCKS_MIN : n;
}

uint64_t cut_plan_cell_bytes(uint32_t block_bytes)
{
	return (uint64_t)cell_blocks(block_bytes) * block_bytes;
}

void cut_plan_init(struct cut_plan *p, uint64_t seed, uint64_t region_start, uint64_t region_bytes,
	uint32_t block_bytes)
{
	uint32_t cell = cell_blocks(block_bytes);

	*p = (struct cut_plan){
		.random = { .state = seed },
		.region_start = region_start,
		.cells = region_bytes / block_bytes / cell,
		.block_bytes = block_bytes,
		.cell_blocks = cell,
		.fence_blocks = cell / 8,
		.largest_blocks = LARGEST_BYTES / block_bytes ? LARGEST_BYTES / block_bytes : 1,
		.next = CUT_BASELINE + 1,
	};
}

static bool one_in(struct cut_plan *p, uint64_t n)
{
	return random_below(&p->random, n) == 0;
}

/* Each power of two up to the largest is as likely as the next, and lengths in between occur. */
static uint32_t pick_blocks(struct cut_plan *p)
{
	unsigned octaves = 1;
	uint32_t top;

	while (p->largest_blocks >> octaves)
		octaves++;
	top = UINT32_C(1) << random_below(&p->random, octaves);
	return one_in(p, 2) ? top : 1 + (uint32_t)random_below(&p->random, top);
}

/* Cut to what lies between the start of its cell and the fence. */
static void place(struct cut_plan *p, struct cut_write *w, uint64_t block, uint32_t blocks)
{
	uint64_t cell = block / p->cell_blocks, open = p->cell_blocks - p->fence_blocks;
	uint64_t inside = block % p->cell_blocks;

	if (cell >= p->cells || inside >= open) {
		cell = (cell + 1) % p->cells;
		inside = 0;
	}
	if (blocks > open - inside)
		blocks = (uint32_t)(open - inside);
	w->at = p->region_start + (cell * p->cell_blocks + inside) * p->block_bytes;
	w->bytes = blocks * p->block_bytes;
}

/* From a flush after every second write to one after 32: a small buffer is caught by the first, a large one by the
 * last. */
static void change_rates(struct cut_plan *p)
{
	p->flush_one_in = UINT32_C(2) << random_below(&p->random, 5);
	/* A write-through often empties the buffer as well, and would hide a flush that does not: half the stretches go without. */
	p->through_one_in = one_in(p, 2) ? NEVER : UINT32_C(1) << random_below(&p->random, 6);
}

void cut_plan_next(struct cut_plan *p, struct cut_write *out)
{
	if (p->next % STRETCH == CUT_BASELINE + 1)
		change_rates(p);

	const struct cut_write *last = &p->recent[(p->next - 1) % CUT_RECENT];
	const struct cut_write *old = &p->recent[random_below(&p->random, CUT_RECENT)];
	uint64_t where = random_below(&p->random, 4);
	uint64_t last_block = (last->at - p->region_start) / p->block_bytes;
	uint32_t blocks = pick_blocks(p);

	*out = (struct cut_write){ .number = p->next };
	/* Half go on where the last one ended, as a file copy does; a quarter overlap what may still be in a buffer;
	 * a quarter go anywhere. */
	if (where < 2 && last->number)
		place(p, out, last_block + last->bytes / p->block_bytes, blocks);
	else if (where == 2 && old->number)
		place(p, out,
			(old->at - p->region_start) / p->block_bytes +
				random_below(&p->random, old->bytes / p->block_bytes),
			blocks);
	else
		place(p, out, random_below(&p->random, p->cells * p->cell_blocks), blocks);
	out->through = one_in(p, p->through_one_in);
	out->flush = one_in(p, p->flush_one_in);
	if (one_in(p, PAUSE_ONE_IN))
		out->pause_ns = random_below(&p->random, PAUSE_MAX_NS);
	p->recent[p->next % CUT_RECENT] = *out;
	p->next++;
}
