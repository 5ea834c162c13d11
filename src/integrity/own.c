/* Test data known by its content. */
#include "integrity/own.h"

#include <endian.h>
#include <string.h>

#include "base/imprint.h"
#include "base/number.h"
#include "integrity/stamp.h"

enum {
	WORDS = OWN_SECTOR / 8,
	PARTS = STREAM_WORDS / WORDS, /* sectors of the longest stamped block */
	HEADER_WORDS = STAMP_HEADER_BYTES / 8,
	PAIRS_ENOUGH = 24, /* of 56 */
};

void own_init(struct own *o, uint64_t seed)
{
	o->seed = seed;
	stream_init(&o->stream, seed);
}

/* A block's words are the table's, each under one of eight keys in turn, which follow from offset and generation: the
 * header's have to lead to those that are seen. */
static bool header_fits(const struct own *o, const uint64_t *words, const uint64_t *key)
{
	uint64_t wanted[STREAM_KEYS];
	struct stamp_header h;

	if (!stamp_read(words, &h) || h.seed != o->seed)
		return false;
	stream_key(&o->stream, h.offset, h.generation, wanted);
	return !memcmp(wanted, key, sizeof wanted) &&
	       (h.block_bytes > OWN_SECTOR || stamp_crc_holds(words, h.block_bytes));
}

/* In the last four bytes of a block stands its CRC; where it ends is only known from its header. */
static uint64_t last_mask(const uint64_t *words, int part)
{
	struct stamp_header h;

	if (part == 0)
		return stamp_read(words, &h) && h.block_bytes > OWN_SECTOR ? UINT64_MAX
									   : htole64(UINT32_MAX);
	return number_is_power_of_two((uint64_t)part + 1) ? htole64(UINT32_MAX) : UINT64_MAX;
}

static bool part_fits(const struct own *o, const uint64_t *words, int part)
{
	const uint64_t *table = o->stream.table + part * WORDS;
	uint64_t key[STREAM_KEYS];

	/* From words that are never header or CRC. */
	for (int j = 0; j < STREAM_KEYS; j++)
		key[j] = words[STREAM_KEYS + j] ^ table[STREAM_KEYS + j];
	for (int i = part ? 0 : HEADER_WORDS; i + 1 < WORDS; i++)
		if ((words[i] ^ table[i]) != key[i % STREAM_KEYS])
			return false;
	if ((words[WORDS - 1] ^ table[WORDS - 1] ^ key[STREAM_KEYS - 1]) & last_mask(words, part))
		return false;
	return part || header_fits(o, words, key);
}

bool own_fits(const struct own *o, const void *sector)
{
	for (int part = 0; part < PARTS; part++)
		if (part_fits(o, sector, part))
			return true;
	return imprint_fits(sector, o->seed);
}

/* Without the keys: words eight apart differ from the table's by the same. A header and a CRC spoil five of the pairs. */
static bool part_is_like(const uint64_t *words, const uint64_t *table)
{
	int pairs = 0;

	for (int i = 0; i + STREAM_KEYS < WORDS; i++)
		pairs += (words[i] ^ table[i]) == (words[i + STREAM_KEYS] ^ table[i + STREAM_KEYS]);
	return pairs >= PAIRS_ENOUGH;
}

bool own_wrote(const struct own *o, const void *sector)
{
	for (int part = 0; part < PARTS; part++)
		if (part_is_like(sector, o->stream.table + part * WORDS))
			return true;
	return imprint_marks_hold(sector, o->seed);
}

size_t own_find(struct own_trace *out, const void *buf, size_t length)
{
	struct stamp_header h;

	*out = (struct own_trace){ 0 };
	if (length < OWN_SECTOR)
		return 0;
	if (stamp_read(buf, &h) && h.block_bytes <= length && stamp_crc_holds(buf, h.block_bytes)) {
		*out = (struct own_trace){ true, h.seed };
		return h.block_bytes;
	}
	return imprint_is_timed_data(buf) ? OWN_SECTOR : 0;
}
