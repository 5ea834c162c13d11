/* Stamped blocks: making, checking, reading. */
#include "integrity/stamp.h"

#include <endian.h>
#include <string.h>

#include "base/checksum.h"
#include "base/number.h"

enum { HEADER_WORDS = STAMP_HEADER_BYTES / 8, CRC_BYTES = 4 };

uint32_t stamp_block_bytes(uint32_t logical_block_bytes)
{
	return logical_block_bytes > STAMP_BLOCK_MAX ? STAMP_BLOCK_MAX : logical_block_bytes;
}

void stamp_init(struct stamp *s, uint64_t seed, uint32_t block_bytes)
{
	s->block_bytes = block_bytes;
	stream_init(&s->stream, seed);
}

static void make_header(
	const struct stamp *s, uint64_t offset, uint32_t generation, uint64_t header[HEADER_WORDS])
{
	header[0] = htole64(STAMP_MAGIC);
	header[1] = htole64(s->stream.seed);
	header[2] = htole64(offset);
	header[3] = htole64(generation | (uint64_t)s->block_bytes << 32);
}

void stamp_fill(const struct stamp *s, void *block, uint64_t offset, uint32_t generation)
{
	uint64_t key[STREAM_KEYS], header[HEADER_WORDS];
	size_t covered = s->block_bytes - CRC_BYTES;
	uint32_t crc;

	stream_key(&s->stream, offset, generation, key);
	stream_fill(&s->stream, key, block, s->block_bytes / 8);
	make_header(s, offset, generation, header);
	memcpy(block, header, sizeof header);
	crc = htole32(checksum_crc32(0, block, covered));
	memcpy((uint8_t *)block + covered, &crc, sizeof crc);
}

void stamp_fill_range(
	const struct stamp *s, void *buf, size_t length, uint64_t offset, uint32_t generation)
{
	for (size_t at = 0; at < length; at += s->block_bytes)
		stamp_fill(s, (uint8_t *)buf + at, offset + at, generation);
}

bool stamp_crc_holds(const void *block, uint32_t block_bytes)
{
	size_t covered = block_bytes - CRC_BYTES;
	uint32_t crc;

	memcpy(&crc, (const uint8_t *)block + covered, sizeof crc);
	return le32toh(crc) == checksum_crc32(0, block, covered);
}

bool stamp_holds(const struct stamp *s, const void *block, uint64_t offset, uint32_t generation)
{
	uint64_t key[STREAM_KEYS], header[HEADER_WORDS];

	make_header(s, offset, generation, header);
	if (memcmp(block, header, sizeof header) != 0)
		return false;
	stream_key(&s->stream, offset, generation, key);
	/* The upper half of the last word is the CRC, which is no part of the stream. */
	return stamp_crc_holds(block, s->block_bytes) &&
	       stream_matches(&s->stream, key, block, HEADER_WORDS, s->block_bytes / 8, UINT32_MAX);
}

bool stamp_read(const void *block, struct stamp_header *out)
{
	uint64_t header[HEADER_WORDS];

	memcpy(header, block, sizeof header);
	if (le64toh(header[0]) != STAMP_MAGIC)
		return false;
	*out = (struct stamp_header){
		.seed = le64toh(header[1]),
		.offset = le64toh(header[2]),
		.generation = (uint32_t)le64toh(header[3]),
		.block_bytes = (uint32_t)(le64toh(header[3]) >> 32),
	};
	return number_is_power_of_two(out->block_bytes) && out->block_bytes >= STAMP_BLOCK_MIN &&
	       out->block_bytes <= STAMP_BLOCK_MAX;
}
