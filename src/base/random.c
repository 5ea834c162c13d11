/* Seeded numbers and permutations. */
#include "base/random.h"

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
		bits++;
	*p = (struct permutation){ .count = count, .right_bits = bits / 2 };
	p->right_mask = (UINT64_C(1) << p->right_bits) - 1;
	p->left_mask = (UINT64_C(1) << (bits - p->right_bits)) - 1;
	for (unsigned i = 0; i < PERMUTATION_ROUNDS; i++)
		p->keys[i] = random_at(seed, i + 1);
}

/* Each step changes one half by the other alone, so each can be undone: a bijection whatever the halves' sizes. */
static uint64_t feistel(const struct permutation *p, uint64_t value)
{
	uint64_t left = value >> p->right_bits, right = value & p->right_mask;

	for (unsigned i = 0; i < PERMUTATION_ROUNDS; i += 2) {
		left ^= random_mix(right ^ p->keys[i]) & p->left_mask;
		right ^= random_mix(left ^ p->keys[i + 1]) & p->right_mask;
	}
	return left << p->right_bits | right;
}

uint64_t permutation_at(const struct permutation *p, uint64_t index)
{
	uint64_t value = index;

	do
		value = feistel(p, value);
	while (value >= p->count);
	return value;
}
