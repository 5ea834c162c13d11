/* Where the chunks of a saved-data file lie, on the target and in the file. */
#ifndef INTEGRITY_KEPT_LAYOUT_H
#define INTEGRITY_KEPT_LAYOUT_H

#include <stddef.h>
#include <stdint.h>

#include "integrity/kept.h"

enum { KEPT_EXTENT_BYTES = 16 }; /* of one extent in the table: u64 start, u64 bytes */

struct kept_layout {
	struct kept_extent *extents;
	size_t count;
	/* before each extent: chunks, and bytes of data */
	uint64_t *chunks_before, *bytes_before;
	uint64_t chunks, bytes; /* in all */
	uint64_t data_place; /* of the first chunk's head in the file */
};

struct kept_chunk {
	uint64_t at; /* on the target */
	size_t bytes;
	uint64_t place; /* of its head, in the file */
};

/* From an identity whose extents make sense. 0, or -ENOMEM. */
int kept_layout_init(struct kept_layout *l, const struct kept_identity *id);
void kept_layout_release(struct kept_layout *l); /* one that is all zero: nothing */

struct kept_chunk kept_layout_chunk(const struct kept_layout *l, uint64_t index);

/* The chunk that holds the byte-th byte saved, byte < l->bytes; *into: how far into it. */
uint64_t kept_layout_place(const struct kept_layout *l, uint64_t byte, uint64_t *into);

/* The table of several extents, to bytes and back. unpack: -EUCLEAN for one that does not fit id (ascending, apart,
 * on blocks, inside the target, of id->bytes in all). */
void kept_table_pack(unsigned char *out, const struct kept_identity *id);
int kept_table_unpack(
	struct kept_extent *out, const unsigned char *bytes, const struct kept_identity *id);

#endif
