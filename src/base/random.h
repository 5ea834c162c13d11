/* Seeded randomness: SplitMix64 and a permutation made from it. State lives with the caller; no global seed.
 * SplitMix64: Steele, Lea, Flood, "Fast Splittable Pseudorandom Number Generators", OOPSLA 2014. */
#ifndef BASE_RANDOM_H
#define BASE_RANDOM_H

#include <stdint.h>

#define RANDOM_GAMMA UINT64_C(0x9E3779B97F4A7C15)

static inline uint64_t random_mix(uint64_t z)
{
	z = (z ^ (z >> 30)) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94D049BB133111EB);
	return z ^ (z >> 31);
}

/* Output k (k = 1, 2, ...) of SplitMix64(seed), without stepping. */
static inline uint64_t random_at(uint64_t seed, uint64_t k)
{
	return random_mix(seed + k * RANDOM_GAMMA);
}

struct random {
	uint64_t state;
};

static inline uint64_t random_next(struct random *r)
{
	r->state += RANDOM_GAMMA;
	return random_mix(r->state);
}

/* Uniform in 0..bound-1 without bias; bound 0 gives 0. */
uint64_t random_below(struct random *r, uint64_t bound);

/* Uniform in [0, 1). */
double random_unit(struct random *r);

/* A bijection on 0..count-1 chosen by seed, any element in O(1), no memory: a Feistel network over just enough bits,
 * walked until the value falls inside (Black and Rogaway, "Ciphers with Arbitrary Finite Domains", CT-RSA 2002, cycle
 * walking: fewer than two steps on average). */
enum { PERMUTATION_ROUNDS = 6 };

struct permutation {
	uint64_t count;
	uint64_t keys[PERMUTATION_ROUNDS];
	unsigned right_bits;
	uint64_t left_mask, right_mask;
};

void permutation_init(struct permutation *p, uint64_t count, uint64_t seed);
uint64_t permutation_at(const struct permutation *p, uint64_t index); /* index < count */

#endif
