/* Marks in random data. */
#include "base/imprint.h"

#include <string.h>

#include "base/random.h"

enum {
	WORDS = IMPRINT_SECTOR / 8,
	GROUP = 8, /* words to a mark */
	MARK = 1, /* which word of a group it is */
	FROM = 2, /* which one it is made from */
	/* A serial number: in the upper 16 bits one of at most 64 writers, below less than 2^40 sectors. */
	WRITERS_MAX = 64,
	SERIAL_BITS = 40,
};

static void load(uint64_t words[WORDS], const void *sector)
{
	memcpy(words, sector, IMPRINT_SECTOR);
}

/* The key of the marks is no number that data could be made of. */
static uint64_t key_of(uint64_t seed)
{
	return random_mix(~random_at(seed, UINT64_C(1) << 48));
}

void imprint_put(void *buf, size_t length, uint64_t seed)
{
	uint64_t key = key_of(seed);
	unsigned char *bytes = buf;

	length -= length % IMPRINT_SECTOR;
	for (size_t i = 0; i < length; i += 8 * GROUP) {
		uint64_t word;

		memcpy(&word, bytes + i + 8 * FROM, sizeof word);
		word = random_mix(word ^ key);
		memcpy(bytes + i + 8 * MARK, &word, sizeof word);
	}
}

static int marks_that_hold(const uint64_t words[WORDS], uint64_t seed)
{
	uint64_t key = key_of(seed);
	int hold = 0;

	for (int i = 0; i < WORDS; i += GROUP)
		hold += words[i + MARK] == random_mix(words[i + FROM] ^ key);
	return hold;
}

/* The inverse of random_mix: each shift is undone by repeating it, each factor by its inverse modulo 2^64. */
static uint64_t unmix(uint64_t z)
{
	z ^= z >> 31 ^ z >> 62;
	z *= UINT64_C(0x319642B2D24D8EC3);
	z ^= z >> 27 ^ z >> 54;
	z *= UINT64_C(0x96DE1B173F119089);
	return z ^ z >> 30 ^ z >> 60;
}

static bool is_serial(uint64_t word)
{
	uint64_t n = unmix(word);

	return n >> 48 < WRITERS_MAX && (n & ((UINT64_C(1) << 48) - 1)) >> SERIAL_BITS == 0;
}

/* The words are numbers in a row, as far as they are neither the serial number nor marks. */
static bool is_in_a_row(const uint64_t words[WORDS], bool marked)
{
	uint64_t base = unmix(words[FROM]) - FROM * RANDOM_GAMMA;

	for (uint64_t i = 1; i < WORDS; i++)
		if (!(marked && i % GROUP == MARK) &&
			words[i] != random_mix(base + i * RANDOM_GAMMA))
			return false;
	return is_serial(words[0]) || words[0] == random_mix(base);
}

bool imprint_fits(const void *sector, uint64_t seed)
{
	uint64_t words[WORDS];

	load(words, sector);
	return marks_that_hold(words, seed) == WORDS / GROUP && is_in_a_row(words, true);
}

bool imprint_fits_unmarked(const void *sector)
{
	uint64_t words[WORDS];

	load(words, sector);
	return is_in_a_row(words, false);
}

bool imprint_marks_hold(const void *sector, uint64_t seed)
{
	uint64_t words[WORDS];

	load(words, sector);
	return marks_that_hold(words, seed) >= WORDS / GROUP / 2;
}

bool imprint_is_timed_data(const void *sector)
{
	uint64_t words[WORDS];

	load(words, sector);
	for (int i = FROM; i + 1 < GROUP; i++)
		if (unmix(words[i + 1]) - unmix(words[i]) != RANDOM_GAMMA)
			return false;
	return true;
}
