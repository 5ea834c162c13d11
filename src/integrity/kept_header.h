/* The header of a saved-data file, to bytes and back. */
#ifndef INTEGRITY_KEPT_HEADER_H
#define INTEGRITY_KEPT_HEADER_H

#include <stdint.h>

#include "integrity/kept.h"

enum { KEPT_HEADER_BYTES = 4096, KEPT_CHUNK_BYTES = 1 << 20, KEPT_HEAD_BYTES = 16 };
enum { KEPT_VERSION = 3 };

/* What ties the parts of a file together. */
struct kept_sums {
	unsigned version;
	uint32_t header;
	uint32_t table; /* with several extents */
};

/* Of the newest version. table: the CRC32 of the table, if there is one. Returns the header's CRC32. */
uint32_t kept_header_make(
	unsigned char out[KEPT_HEADER_BYTES], const struct kept_identity *id, uint32_t table);

/* id->extents stays NULL: with id->extent_count the table follows. 0; -EBADMSG: not such a file; -EUCLEAN: damaged or
 * senseless; -ENOTSUP: of a newer version. */
int kept_header_parse(struct kept_identity *id, struct kept_sums *sums,
	const unsigned char bytes[KEPT_HEADER_BYTES]);

static inline void kept_put_u32(unsigned char *at, uint32_t n)
{
	for (int i = 0; i < 4; i++)
		at[i] = (unsigned char)(n >> (8 * i));
}

static inline void kept_put_u64(unsigned char *at, uint64_t n)
{
	kept_put_u32(at, (uint32_t)n);
	kept_put_u32(at + 4, (uint32_t)(n >> 32));
}

static inline uint32_t kept_get_u32(const unsigned char *at)
{
	return (uint32_t)at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 |
	       (uint32_t)at[3] << 24;
}

static inline uint64_t kept_get_u64(const unsigned char *at)
{
	return kept_get_u32(at) | (uint64_t)kept_get_u32(at + 4) << 32;
}

#endif
