/* Right blocks by the GiB through the judge: it must not cry wolf once. Every block size, offsets over the whole 64-bit
 * range, many seeds and generations; a flipped bit now and then shows that the judge was awake. */
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/random.h"
#include "integrity/judge.h"

enum { CHUNK = 1024 * 1024 };

static struct judge judge;
static _Alignas(64) uint8_t chunk[CHUNK];

/* Wrong verdicts on one chunk. */
static uint64_t judge_chunk(struct random *r)
{
	uint32_t n = 512U << random_below(r, 4), generation = 1 + (uint32_t)random_below(r, 1000);
	uint64_t offset = random_next(r) / CHUNK * CHUNK, wrong = 0;
	uint64_t hurt = random_below(r, CHUNK);
	struct verdict v;

	if (random_below(r, 64) == 0)
		offset = UINT64_MAX / CHUNK * CHUNK;
	judge_init(&judge, random_next(r), n);
	stamp_fill_range(&judge.stamp, chunk, CHUNK, offset, generation);
	for (uint64_t at = 0; at < CHUNK; at += n)
		wrong +=
			judge_block(&judge, chunk + at, offset + at, generation, &v) != DAMAGE_NONE;
	chunk[hurt] ^= (uint8_t)(1U << random_below(r, 8));
	hurt = hurt / n * n;
	return wrong + (judge_block(&judge, chunk + hurt, offset + hurt, generation, &v) !=
			       DAMAGE_BIT_ERROR);
}

int main(int argc, char **argv)
{
	uint64_t gib = argc > 1 ? strtoull(argv[1], NULL, 10) : 1, wrong = 0;
	struct random r = { argc > 2 ? strtoull(argv[2], NULL, 10) : 1 };

	for (uint64_t i = 0; i < gib * 1024; i++)
		wrong += judge_chunk(&r);
	printf("%" PRIu64 " GiB judged, %" PRIu64 " wrong verdicts\n", gib, wrong);
	return wrong != 0;
}
