/* The pseudo-random bytes that fill a test block: any block's from (seed, offset, generation) alone, never stepped.
 *
 * Two SplitMix64 sequences (base/random.h), each read by counter: a table of 512 words made once from the seed, and
 * eight words made for each block. Word i of a block is table[i] ^ key[i mod 8]. This costs one load and one XOR a
 * word, so the content check is nearly free beside the CRC on any processor, with no wide multiplication; the price is
 * that two blocks of one run differ by a pattern of 64 bytes. Incompressible for storage, not for cryptography. */
#ifndef INTEGRITY_STREAM_H
#define INTEGRITY_STREAM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { STREAM_WORDS = 512, STREAM_KEYS = 8 };

struct stream {
	/* SplitMix64(seed) outputs 1..512; first, where vectors like it */
	uint64_t table[STREAM_WORDS];
	uint64_t seed;
};

void stream_init(struct stream *s, uint64_t seed);

/* The eight words of one block: SplitMix64(start) outputs 1..8, where
 * start = mix(SplitMix64(seed) output (2^32 + generation) + offset). */
void stream_key(
	const struct stream *s, uint64_t offset, uint32_t generation, uint64_t key[STREAM_KEYS]);

/* count: a multiple of 8, at most 512. Words are little-endian in memory, which must be aligned to 8 bytes. */
void stream_fill(
	const struct stream *s, const uint64_t key[STREAM_KEYS], uint64_t *words, size_t count);

/* Are words[first..count-1], with first < 8, the stream's? The last word is compared under last_mask only. */
bool stream_matches(const struct stream *s, const uint64_t key[STREAM_KEYS], const uint64_t *words,
	size_t first, size_t count, uint64_t last_mask);

#endif
