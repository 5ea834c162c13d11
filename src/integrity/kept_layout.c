/* Where the chunks of a saved-data file lie. */
#include "integrity/kept_layout.h"

#include <errno.h>
#include <stdlib.h>

#include "base/number.h"
#include "integrity/kept_header.h"

static uint64_t chunks_of(uint64_t bytes)
{
	return bytes / KEPT_CHUNK_BYTES + (bytes % KEPT_CHUNK_BYTES != 0);
}

static struct kept_extent extent_at(const struct kept_identity *id, size_t i)
{
	return id->extents ? id->extents[i] : (struct kept_extent){ id->start, id->bytes };
}

static size_t extents_of(const struct kept_identity *id)
{
	return id->extents ? id->extent_count : 1;
}

static uint64_t data_place(const struct kept_identity *id)
{
	return KEPT_HEADER_BYTES + (id->extents ? id->extent_count * KEPT_EXTENT_BYTES : 0);
}

uint64_t kept_file_bytes(const struct kept_identity *id)
{
	uint64_t bytes = data_place(id) + KEPT_HEAD_BYTES;

	for (size_t i = 0; i < extents_of(id); i++) {
		struct kept_extent e = extent_at(id, i);

		bytes += e.bytes + chunks_of(e.bytes) * KEPT_HEAD_BYTES;
	}
	return bytes;
}

int kept_layout_init(struct kept_layout *l, const struct kept_identity *id)
{
	size_t n = extents_of(id);

	*l = (struct kept_layout){ .count = n,
		.extents = calloc(n, sizeof *l->extents),
		.chunks_before = calloc(n, sizeof *l->chunks_before),
		.bytes_before = calloc(n, sizeof *l->bytes_before),
		.data_place = data_place(id) };
	if (!l->extents || !l->chunks_before || !l->bytes_before) {
		kept_layout_release(l);
		return -ENOMEM;
	}
	for (size_t i = 0; i < n; i++) {
		l->extents[i] = extent_at(id, i);
		l->chunks_before[i] = l->chunks;
		l->bytes_before[i] = l->bytes;
		l->chunks += chunks_of(l->extents[i].bytes);
		l->bytes += l->extents[i].bytes;
	}
	return 0;
}

void kept_layout_release(struct kept_layout *l)
{
	free(l->extents);
	free(l->chunks_before);
	free(l->bytes_before);
	*l = (struct kept_layout){ 0 };
}

/* The last extent that has no more than `value` before it. */
static size_t extent_of(const struct kept_layout *l, const uint64_t *before, uint64_t value)
{
	size_t low = 0, high = l->count;

	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;

		if (before[middle] <= value)
			low = middle;
		else
			high = middle;
	}
	return low;
}

struct kept_chunk kept_layout_chunk(const struct kept_layout *l, uint64_t index)
{
	size_t i = extent_of(l, l->chunks_before, index);
	uint64_t into = (index - l->chunks_before[i]) * KEPT_CHUNK_BYTES;
	uint64_t left = l->extents[i].bytes - into;

	return (struct kept_chunk){
		.at = l->extents[i].start + into,
		.bytes = left < KEPT_CHUNK_BYTES ? (size_t)left : KEPT_CHUNK_BYTES,
		.place = l->data_place + index * KEPT_HEAD_BYTES + l->bytes_before[i] + into,
	};
}

void kept_table_pack(unsigned char *out, const struct kept_identity *id)
{
	for (size_t i = 0; i < id->extent_count; i++, out += KEPT_EXTENT_BYTES) {
		kept_put_u64(out, id->extents[i].start);
		kept_put_u64(out + 8, id->extents[i].bytes);
	}
}

int kept_table_unpack(
	struct kept_extent *out, const unsigned char *bytes, const struct kept_identity *id)
{
	uint64_t block = id->logical_block_bytes, end = 0, sum = 0;

	for (size_t i = 0; i < id->extent_count; i++, bytes += KEPT_EXTENT_BYTES) {
		struct kept_extent e = { kept_get_u64(bytes), kept_get_u64(bytes + 8) };

		if (e.start < end || !e.bytes || e.start % block || e.bytes % block ||
			!number_add_u64(e.start, e.bytes, &end) || end > id->size_bytes)
			return -EUCLEAN;
		sum += e.bytes; /* apart and inside the target: no overflow */
		out[i] = e;
	}
	return sum == id->bytes && out[0].start == id->start ? 0 : -EUCLEAN;
}

uint64_t kept_layout_place(const struct kept_layout *l, uint64_t byte, uint64_t *into)
{
	size_t i = extent_of(l, l->bytes_before, byte);

	byte -= l->bytes_before[i];
	*into = byte % KEPT_CHUNK_BYTES;
	return l->chunks_before[i] + byte / KEPT_CHUNK_BYTES;
}
