/* Seeded numbers and permutations. */
#include "base/random.h"

enum { ROUNDS = 6 };

uint64_t random_below(struct random *r, uint64_t bound)
{
	uint64_t limit, n;

	if (!bound)
		return 0;
	/* Reject the incomplete last stretch, so that every value is equally likely. */
	limit = UINT64_MAX - UINT64_MAX % bound;
	do
		n = random_next(r);
	while (n >= limit);
	return n % bound;
}

double random_unit(struct random *r)
{
	return (double)(random_next(r) >> 11) * 0x1p-53;
}

void permutation_init(struct permutation *p, uint64_t count, uint64_t seed)
{
	unsigned bits = 2;

	while (bits < 64 && count > UINT64_C(1) << bits)
		bits += 2;
	*p = (struct permutation){ .count = count, .seed = seed, .half_bits = bits / 2 };
}

static uint64_t feistel(const struct permutation *p, uint64_t value)
{
	uint64_t mask = (UINT64_C(1) << p->half_bits) - 1;
	uint64_t left = value >> p->half_bits, right = value & mask;

	for (unsigned round = 0; round < ROUNDS; round++) {
		uint64_t key = random_at(p->seed, round + 1);
		uint64_t mixed = left ^ (random_mix(right ^ key) & mask);

		left = right;
		right = mixed;
	}
	return left << p->half_bits | right;
}

uint64_t permutation_at(const struct permutation *p, uint64_t index)
{
	uint64_t value = index;

	do
		value = feistel(p, value);
	while (value >= p->count);
	return value;
}
