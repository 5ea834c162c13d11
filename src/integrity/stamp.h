/* The stamp: what every test block says about itself. Byte by byte in blkassay-stamp(5); little-endian.
 *
 *   0   8  magic, the bytes 9E 62 6B 61 73 73 61 79
 *   8   8  seed of the run that wrote it
 *  16   8  byte offset on the target
 *  24   4  generation: which write of this block, from 1
 *  28   4  block length in bytes
 *  32 n-36 stream (integrity/stream.h), words 4 on
 * n-4   4  CRC-32 (ISO 3309, as zlib) of the n-4 bytes before it
 *
 * n is a power of two from 512 to 4096: the logical block, or 4096 where that is larger. */
#ifndef INTEGRITY_STAMP_H
#define INTEGRITY_STAMP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/stream.h"

enum { STAMP_BLOCK_MIN = 512, STAMP_BLOCK_MAX = 4096, STAMP_HEADER_BYTES = 32 };

#define STAMP_MAGIC UINT64_C(0x79617373616B629E)

struct stamp {
	uint32_t block_bytes;
	struct stream stream;
};

struct stamp_header {
	uint64_t seed;
	uint64_t offset;
	uint32_t generation;
	uint32_t block_bytes;
};

/* The stamped block for a target's logical block: that, or STAMP_BLOCK_MAX where it is larger. */
uint32_t stamp_block_bytes(uint32_t logical_block_bytes);

/* block_bytes as stamp_block_bytes gives it. About 4 KiB, no allocation. */
void stamp_init(struct stamp *s, uint64_t seed, uint32_t block_bytes);

/* block is aligned to 8 bytes, block_bytes long. */
void stamp_fill(const struct stamp *s, void *block, uint64_t offset, uint32_t generation);

/* Every block of a request; length a multiple of block_bytes. */
void stamp_fill_range(
	const struct stamp *s, void *buf, size_t length, uint64_t offset, uint32_t generation);

/* Exactly the block stamp_fill would make: header and content compared with the regenerated ones, CRC computed by
 * zlib. The fast way for blocks that are as they must be. */
bool stamp_holds(const struct stamp *s, const void *block, uint64_t offset, uint32_t generation);

/* Reads the header. False when the magic or the length is not a stamp's. Says nothing about the content. */
bool stamp_read(const void *block, struct stamp_header *out);

/* Does the CRC in the last four bytes hold? */
bool stamp_crc_holds(const void *block, uint32_t block_bytes);

#endif
