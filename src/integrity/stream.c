/* The filler of test blocks: fill and compare, written so that compilers vectorise them. */
#include "integrity/stream.h"

#include <endian.h>

#include "base/random.h"

/* On x86-64 a second copy for processors with wider vectors, chosen when the program is loaded. That is before the
 * address sanitizer is ready, so not under it; and only with gcc, since not every clang links such copies. */
#if defined __x86_64__ && defined __GLIBC__ && !defined __clang__ && !defined __SANITIZE_ADDRESS__
#define WIDE_TOO __attribute__((target_clones("avx2", "default")))
#else
#define WIDE_TOO
#endif

void stream_init(struct stream *s, uint64_t seed)
{
	s->seed = seed;
	for (size_t i = 0; i < STREAM_WORDS; i++)
		s->table[i] = htole64(random_at(seed, i + 1));
}

void stream_key(
	const struct stream *s, uint64_t offset, uint32_t generation, uint64_t key[STREAM_KEYS])
{
	/* Counters from 2^32 on, so that no key is ever derived from a word of the table. The mix is a bijection:
	 * two offsets of one generation never share a start. */
	uint64_t start = random_mix(random_at(s->seed, (UINT64_C(1) << 32) + generation) + offset);

	for (size_t i = 0; i < STREAM_KEYS; i++)
		key[i] = htole64(random_at(start, i + 1));
}

WIDE_TOO void stream_fill(
	const struct stream *s, const uint64_t key[STREAM_KEYS], uint64_t *words, size_t count)
{
	/* A local copy tells the compiler that the words written are not the key. */
	uint64_t k[STREAM_KEYS];

	for (size_t j = 0; j < STREAM_KEYS; j++)
		k[j] = key[j];
	for (size_t i = 0; i < count; i += STREAM_KEYS)
		for (size_t j = 0; j < STREAM_KEYS; j++)
			words[i + j] = s->table[i + j] ^ k[j];
}

/* Eight words at a time, in eight lanes: so the compiler keeps all of them in vector registers. */
static inline __attribute__((always_inline)) void collect(uint64_t wrong[STREAM_KEYS],
	const uint64_t *words, const uint64_t *table, const uint64_t *key, const uint64_t *mask)
{
	for (size_t j = 0; j < STREAM_KEYS; j++)
		wrong[j] |= (words[j] ^ table[j] ^ key[j]) & mask[j];
}

WIDE_TOO bool stream_matches(const struct stream *s, const uint64_t key[STREAM_KEYS],
	const uint64_t *words, size_t first, size_t count, uint64_t last_mask)
{
	static const uint64_t from[2 * STREAM_KEYS] = { 0, 0, 0, 0, 0, 0, 0, 0, UINT64_MAX,
		UINT64_MAX, UINT64_MAX, UINT64_MAX, UINT64_MAX, UINT64_MAX, UINT64_MAX,
		UINT64_MAX };
	const uint64_t to[STREAM_KEYS] = { UINT64_MAX, UINT64_MAX, UINT64_MAX, UINT64_MAX,
		UINT64_MAX, UINT64_MAX, UINT64_MAX, htole64(last_mask) };
	uint64_t wrong[STREAM_KEYS] = { 0 }, any = 0;
	size_t last = count - STREAM_KEYS;

	collect(wrong, words, s->table, key, from + STREAM_KEYS - first);
	for (size_t i = STREAM_KEYS; i < last; i += STREAM_KEYS)
		for (size_t j = 0; j < STREAM_KEYS; j++)
			wrong[j] |= words[i + j] ^ s->table[i + j] ^ key[j];
	collect(wrong, words + last, s->table + last, key, to);
	for (size_t j = 0; j < STREAM_KEYS; j++)
		any |= wrong[j];
	return any == 0;
}
