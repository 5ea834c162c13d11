/* Fuzz: a saved-data file, put back to a gadget model. The input is the text of the header up to a NUL, then data, with
 * an "extents=" in the header their table first; checksums, heads and end mark are made for it, unless it begins with
 * '!', which stands for a file as it is. */
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/checksum.h"
#include "base/error.h"
#include "base/text.h"
#include "fuzz.h"
#include "integrity/kept.h"
#include "integrity/kept_header.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"

enum { TARGET_BYTES = 1 << 20 };

static const char model[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 1Mi\nlink:\nrate = 4 MB/s\n"
	"card:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\nfirmware:\n"
	"unit = request\n";

/* magic, CRC32 of index and data, index. */
static void add_head(struct text *t, const char *magic, uint32_t crc, uint64_t index)
{
	unsigned char head[KEPT_HEAD_BYTES];

	memcpy(head, magic, 4);
	kept_put_u32(head + 4, crc);
	kept_put_u64(head + 8, index);
	text_add(t, (const char *)head, sizeof head);
}

/* The sums of a file being made; since version 3 they cover the header and every chunk. */
struct sums {
	const unsigned char *header; /* its CRC32 */
	bool cover_all;
	uint32_t end;
};

static void add_chunk(
	struct text *t, struct sums *s, uint64_t index, const uint8_t *data, size_t size)
{
	uint32_t crc = s->cover_all ? checksum_crc32(0, s->header, 4) : 0;
	unsigned char number[8];

	kept_put_u64(number, index);
	crc = checksum_crc32(checksum_crc32(crc, number, 8), data, size);
	add_head(t, "KDAT", crc, index);
	text_add(t, (const char *)data, size);
	kept_put_u32(number, crc);
	s->end = s->cover_all ? checksum_crc32(s->end, number, 4) : s->end;
}

/* As many chunks as the table asks for, as far as the data goes. */
static void add_places(struct text *t, struct sums *s, const uint8_t *table, size_t places,
	const uint8_t *data, size_t size)
{
	uint64_t chunks = 0;

	for (size_t i = 0; i < places; i++) {
		uint64_t wanted = kept_get_u64(table + i * 16 + 8);
		size_t length = wanted < size ? (size_t)wanted : size;

		add_chunk(t, s, chunks++, data, length);
		data += length;
		size -= length;
	}
}

static void build(struct text *t, const uint8_t *data, size_t size)
{
	unsigned char header[KEPT_HEADER_BYTES] = { 0 }, two[12];
	const uint8_t *nul = memchr(data, 0, size);
	size_t n = nul ? (size_t)(nul - data) : size, places = 0;
	const char *said;
	struct sums s = { .header = header + KEPT_HEADER_BYTES - 4 };
	uint64_t chunks = 1;

	memcpy(header, data, n < KEPT_HEADER_BYTES - 40 ? n : KEPT_HEADER_BYTES - 40);
	data += n + (nul != NULL);
	size -= n + (nul != NULL);
	said = strstr((const char *)header, "extents=");
	if (said)
		places = strtoul(said + 8, NULL, 10);
	if (places > size / 16)
		places = size / 16;
	if (said)
		sprintf((char *)header + strlen((const char *)header), "table=%u\n",
			checksum_crc32(0, data, places * 16));
	kept_put_u32(
		header + KEPT_HEADER_BYTES - 4, checksum_crc32(0, header, KEPT_HEADER_BYTES - 4));
	text_add(t, (const char *)header, sizeof header);
	text_add(t, (const char *)data, places * 16);
	/* The end mark's sum begins with the count, which the chunks do not change. */
	if (said)
		chunks = places;
	s.cover_all = !strncmp((const char *)header, "blkassay-kept 3\n", 16);
	memcpy(two, s.header, 4);
	kept_put_u64(two + 4, chunks);
	s.end = checksum_crc32(0, two, sizeof two);
	if (said)
		add_places(t, &s, data, places, data + places * 16, size - places * 16);
	else
		add_chunk(t, &s, 0, data, size);
	add_head(t, "KEND", s.end, chunks);
}

static void put_back(const struct kept *k)
{
	struct error err = { 0 };
	struct model_spec spec;
	struct kept_result result;
	struct medium *m;

	if (model_spec_parse(&spec, model, strlen(model), "t", &err) < 0 ||
		model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err) < 0)
		abort();
	if (kept_restore(k, m, KEPT_OVER_RUN, &result, NULL, &err) == 0 &&
		(kept_look_changed(&result.look) || result.bytes != kept_identity(k)->bytes))
		abort(); /* written over what nobody knows, or not all of it */
	kept_restore(k, m, KEPT_OVER_ALL, &result, NULL, &err);
	medium_close(m);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct error err = { 0 };
	struct kept *k;
	struct text t;
	char path[64];
	int fd;

	text_init(&t);
	if (size && data[0] == '!')
		text_add(&t, (const char *)data + 1, size - 1);
	else
		build(&t, data, size);
	fd = fuzz_file(path, (const uint8_t *)t.bytes, t.length);
	if (kept_open(&k, path, &err) == 0) {
		const struct kept_identity *id = kept_identity(k);

		/* The command refuses a target of another size or block; so does this. */
		if (kept_verify(k, NULL, &err) == 0 && id->size_bytes == TARGET_BYTES &&
			id->logical_block_bytes == 512)
			put_back(k);
		kept_close(k);
	} else if (!err.text[0]) {
		abort(); /* refused without a word */
	}
	text_release(&t);
	close(fd);
	return 0;
}
