/* The header of a saved-data file. */
#include "integrity/kept_header.h"

#include <errno.h>
#include <stdbool.h>
#include <string.h>

#include "base/checksum.h"
#include "base/number.h"
#include "base/text.h"

static const char magic[] = "blkassay-kept ";
/* Raised to 2 for several extents, which an older reader would put back as one stretch, and to 3 for sums that cover the
 * header and every chunk. */
enum { ONE_STRETCH = 1, EXTENTS = 2 };

static void put_text(struct text *t, const char *key, const char *value)
{
	text_addf(t, "%s=", key);
	for (const unsigned char *c = (const unsigned char *)value; *c; c++) {
		if (*c < ' ' || *c == '%' || *c == 0x7f)
			text_addf(t, "%%%02X", *c);
		else
			text_add(t, (const char *)c, 1);
	}
	text_adds(t, "\n");
}

uint32_t kept_header_make(
	unsigned char out[KEPT_HEADER_BYTES], const struct kept_identity *id, uint32_t table)
{
	struct text t;
	uint32_t crc;

	text_init(&t);
	text_addf(&t, "%s%d\n", magic, KEPT_VERSION);
	put_text(&t, "token", id->token);
	put_text(&t, "place", id->place);
	text_addf(&t, "size=%llu\nblock=%u\nstart=%llu\nbytes=%llu\n",
		(unsigned long long)id->size_bytes, id->logical_block_bytes,
		(unsigned long long)id->start, (unsigned long long)id->bytes);
	put_text(&t, "run", id->run);
	put_text(&t, "kind", id->kind);
	text_addf(&t, "seed=%llu\n", (unsigned long long)id->seed);
	if (id->extents)
		text_addf(&t, "extents=%zu\ntable=%u\n", id->extent_count, table);
	memset(out, 0, KEPT_HEADER_BYTES);
	/* The longest text, all of it escaped, takes less than 2.5 KiB. */
	memcpy(out, t.bytes, t.length < KEPT_HEADER_BYTES - 4 ? t.length : 0);
	text_release(&t);
	crc = checksum_crc32(0, out, KEPT_HEADER_BYTES - 4);
	kept_put_u32(out + KEPT_HEADER_BYTES - 4, crc);
	return crc;
}

static int hex_value(char c)
{
	return c >= '0' && c <= '9' ? c - '0' : c >= 'A' && c <= 'F' ? c - 'A' + 10 : -1;
}

static bool get_text(char *out, size_t room, const char *value)
{
	size_t n = 0;

	while (*value) {
		int high = value[0] == '%' ? hex_value(value[1]) : -1;
		int low = high >= 0 ? hex_value(value[2]) : -1;

		if (n + 1 >= room || (*value == '%' && (low < 0 || (high == 0 && low == 0))))
			return false;
		if (low >= 0) {
			out[n++] = (char)(high << 4 | low);
			value += 3;
		} else {
			out[n++] = *value++;
		}
	}
	out[n] = 0;
	return true;
}

/* Bits of what a header must have said: in every version, with several extents, since version 3. */
enum {
	SEEN_ALL = 63,
	SEEN_EXTENTS = 64,
	SEEN_TABLE = 128,
	SEEN_RUN = 256,
	SEEN_KIND = 512,
	SEEN_SEED = 1024
};

static bool take_run(struct kept_identity *id, const char *key, const char *value, unsigned *seen)
{
	if (!strcmp(key, "run")) {
		*seen |= SEEN_RUN;
		return get_text(id->run, sizeof id->run, value);
	}
	if (!strcmp(key, "kind")) {
		*seen |= SEEN_KIND;
		return get_text(id->kind, sizeof id->kind, value);
	}
	if (!strcmp(key, "seed")) {
		*seen |= SEEN_SEED;
		return number_parse_u64(value, &id->seed) == 0;
	}
	return true;
}

static bool take_extents(struct kept_identity *id, struct kept_sums *sums, const char *key,
	const char *value, unsigned *seen)
{
	uint64_t n = 0;

	if (!strcmp(key, "extents")) {
		*seen |= SEEN_EXTENTS;
		if (number_parse_u64(value, &n) < 0 || n < 1 || n > KEPT_EXTENTS_MAX)
			return false;
		id->extent_count = (size_t)n;
	} else if (!strcmp(key, "table")) {
		*seen |= SEEN_TABLE;
		if (number_parse_u64(value, &n) < 0 || n > UINT32_MAX)
			return false;
		sums->table = (uint32_t)n;
	}
	return true;
}

/* One KEY=VALUE; unknown keys are for later versions and pass. */
static bool take_line(struct kept_identity *id, struct kept_sums *sums, char *line, unsigned *seen)
{
	char *value = strchr(line, '=');
	uint64_t block = 0;

	if (!value)
		return false;
	*value++ = 0;
	if (!strcmp(line, "token")) {
		*seen |= 1;
		return get_text(id->token, sizeof id->token, value);
	}
	if (!strcmp(line, "place")) {
		*seen |= 2;
		return get_text(id->place, sizeof id->place, value);
	}
	if (!strcmp(line, "size")) {
		*seen |= 4;
		return number_parse_u64(value, &id->size_bytes) == 0;
	}
	if (!strcmp(line, "block")) {
		*seen |= 8;
		if (number_parse_u64(value, &block) < 0 || block > UINT32_MAX)
			return false;
		id->logical_block_bytes = (uint32_t)block;
	} else if (!strcmp(line, "start")) {
		*seen |= 16;
		return number_parse_u64(value, &id->start) == 0;
	} else if (!strcmp(line, "bytes")) {
		*seen |= 32;
		return number_parse_u64(value, &id->bytes) == 0;
	}
	return take_extents(id, sums, line, value, seen) && take_run(id, line, value, seen);
}

static bool makes_sense(const struct kept_identity *id)
{
	uint64_t end;

	return *id->token && id->logical_block_bytes >= 512 &&
	       id->logical_block_bytes <= KEPT_CHUNK_BYTES &&
	       number_is_power_of_two(id->logical_block_bytes) && id->bytes > 0 &&
	       id->bytes % id->logical_block_bytes == 0 &&
	       id->start % id->logical_block_bytes == 0 &&
	       number_add_u64(id->start, id->bytes, &end) && end <= id->size_bytes &&
	       end <= INT64_MAX;
}

static unsigned wanted_in(unsigned version, unsigned seen)
{
	unsigned wanted = SEEN_ALL;

	if (version == EXTENTS || (version > EXTENTS && seen & (SEEN_EXTENTS | SEEN_TABLE)))
		wanted |= SEEN_EXTENTS | SEEN_TABLE;
	if (version > EXTENTS)
		wanted |= SEEN_RUN | SEEN_KIND | SEEN_SEED;
	return wanted;
}

int kept_header_parse(struct kept_identity *id, struct kept_sums *sums,
	const unsigned char bytes[KEPT_HEADER_BYTES])
{
	char text[KEPT_HEADER_BYTES];
	char *line, *rest = text;
	unsigned seen = 0;
	uint64_t version;

	*id = (struct kept_identity){ 0 };
	*sums = (struct kept_sums){ 0 };
	if (memcmp(bytes, magic, sizeof magic - 1) != 0)
		return -EBADMSG;
	sums->header = kept_get_u32(bytes + KEPT_HEADER_BYTES - 4);
	if (sums->header != checksum_crc32(0, bytes, KEPT_HEADER_BYTES - 4))
		return -EUCLEAN;
	memcpy(text, bytes, KEPT_HEADER_BYTES - 4);
	text[KEPT_HEADER_BYTES - 4] = 0;
	line = strsep(&rest, "\n");
	if (number_parse_u64(line + sizeof magic - 1, &version) < 0 || version < ONE_STRETCH ||
		version > KEPT_VERSION)
		return -ENOTSUP;
	sums->version = (unsigned)version;
	while ((line = strsep(&rest, "\n")) && *line)
		if (!take_line(id, sums, line, &seen))
			return -EUCLEAN;
	return seen == wanted_in(sums->version, seen) && makes_sense(id) ? 0 : -EUCLEAN;
}
