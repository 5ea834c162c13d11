/* The header of a saved-data file. */
#include "integrity/kept_header.h"

#include <errno.h>
#include <stdbool.h>
#include <string.h>

#include "base/checksum.h"
#include "base/number.h"
#include "base/text.h"

static const char magic[] = "blkassay-kept ";
static const char version[] = "1";

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

uint32_t kept_header_make(unsigned char out[KEPT_HEADER_BYTES], const struct kept_identity *id)
{
	struct text t;
	uint32_t crc;

	text_init(&t);
	text_addf(&t, "%s%s\n", magic, version);
	put_text(&t, "token", id->token);
	put_text(&t, "place", id->place);
	text_addf(&t, "size=%llu\nblock=%u\nstart=%llu\nbytes=%llu\n",
		(unsigned long long)id->size_bytes, id->logical_block_bytes,
		(unsigned long long)id->start, (unsigned long long)id->bytes);
	memset(out, 0, KEPT_HEADER_BYTES);
	/* The longest text, all of it escaped, takes less than 2.2 KiB. */
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

/* One KEY=VALUE; unknown keys are for later versions and pass. */
static bool take_line(struct kept_identity *id, char *line, unsigned *seen)
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
	return true;
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

int kept_header_parse(
	struct kept_identity *id, uint32_t *crc, const unsigned char bytes[KEPT_HEADER_BYTES])
{
	char text[KEPT_HEADER_BYTES];
	char *line, *rest = text;
	unsigned seen = 0;

	*id = (struct kept_identity){ 0 };
	if (memcmp(bytes, magic, sizeof magic - 1) != 0)
		return -EBADMSG;
	*crc = kept_get_u32(bytes + KEPT_HEADER_BYTES - 4);
	if (*crc != checksum_crc32(0, bytes, KEPT_HEADER_BYTES - 4))
		return -EUCLEAN;
	memcpy(text, bytes, KEPT_HEADER_BYTES - 4);
	text[KEPT_HEADER_BYTES - 4] = 0;
	line = strsep(&rest, "\n");
	if (strcmp(line + sizeof magic - 1, version) != 0)
		return -ENOTSUP;
	while ((line = strsep(&rest, "\n")) && *line)
		if (!take_line(id, line, &seen))
			return -EUCLEAN;
	return seen == 63 && makes_sense(id) ? 0 : -EUCLEAN;
}
