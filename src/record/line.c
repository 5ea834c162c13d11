/* One line of a record. */
#include "record/line.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/clean.h"
#include "base/number.h"

enum { CRC_TAIL = 10 }; /* " ~" and eight digits */

void line_begin(struct text *t, uint64_t number, const char *kind)
{
	text_reset(t);
	t->failed = false; /* a line that had no memory was refused; the next one is another */
	text_addf(t, "%llu %s", (unsigned long long)number, kind);
}

void line_put_text(struct text *t, const char *key, const char *value)
{
	text_addf(t, " %s=", key);
	while (*value) {
		uint32_t c = 0;
		size_t n = clean_utf8_next(value, &c);
		bool plain = n && clean_is_printable(c) && !strchr(" %=~", *value);

		n = n ? n : 1;
		if (plain)
			text_add(t, value, n);
		for (size_t i = 0; !plain && i < n; i++)
			text_addf(t, "%%%02X", (unsigned char)value[i]);
		value += n;
	}
}

void line_put_u64(struct text *t, const char *key, uint64_t value)
{
	text_addf(t, " %s=%llu", key, (unsigned long long)value);
}

void line_put_i64(struct text *t, const char *key, int64_t value)
{
	text_addf(t, " %s=%lld", key, (long long)value);
}

void line_put_double(struct text *t, const char *key, double value)
{
	char buf[40];

	snprintf(buf, sizeof buf, "%.15g", value);
	if (strtod(buf, NULL) != value)
		snprintf(buf, sizeof buf, "%.17g", value);
	text_addf(t, " %s=%s", key, buf);
}

void line_put_fixed(struct text *t, uint64_t value, unsigned digits)
{
	char buf[32];
	size_t n = (size_t)snprintf(
		buf, sizeof buf, "%0*llu", (int)digits + 1, (unsigned long long)value);
	size_t end = n;

	while (end > n - digits && buf[end - 1] == '0')
		end--;
	text_add(t, buf, n - digits);
	if (end > n - digits) {
		text_add(t, ".", 1);
		text_add(t, buf + n - digits, end - (n - digits));
	}
}

void line_end(struct text *t)
{
	text_addf(t, " ~%08X\n", checksum_crc32(0, t->bytes, t->length));
}

static int hex_value(char c)
{
	if (c >= '0' && c <= '9')
		return c - '0';
	if (c >= 'A' && c <= 'F')
		return c - 'A' + 10;
	return -1;
}

static bool crc_matches(const char *bytes, size_t length)
{
	const char *digits = bytes + length - 8;
	uint32_t crc = 0;

	for (int i = 0; i < 8; i++) {
		int v = hex_value(digits[i]);

		if (v < 0)
			return false;
		crc = crc << 4 | (uint32_t)v;
	}
	return crc == checksum_crc32(0, bytes, length - CRC_TAIL);
}

int line_parse(struct line *out, char *bytes, size_t length)
{
	char *end, *kind, *rest;

	if (length < CRC_TAIL + 3 || memchr(bytes, 0, length) ||
		memcmp(bytes + length - CRC_TAIL, " ~", 2) != 0 || !crc_matches(bytes, length))
		return -EBADMSG;
	end = bytes + length - CRC_TAIL;
	end[0] = 0; /* over " ~": ends the last field */
	end[1] = 0; /* and the list of fields */
	kind = strchr(bytes, ' ');
	if (!kind)
		return -EBADMSG;
	*kind++ = 0;
	if (number_parse_u64(bytes, &out->number) < 0 || !*kind)
		return -EBADMSG;
	rest = strchr(kind, ' ');
	if (rest)
		*rest++ = 0;
	else
		rest = end;
	for (char *c = rest; c < end; c++)
		if (*c == ' ')
			*c = 0;
	out->old = false;
	out->kind = kind;
	out->fields = rest;
	return 0;
}

const char *line_get_raw(const struct line *l, const char *key)
{
	size_t n = strlen(key);

	for (const char *f = l->fields; *f; f += strlen(f) + 1)
		if (*f == *key && !strncmp(f, key, n) && f[n] == '=')
			return f + n + 1;
	return NULL;
}

void line_value_text(const char *value, char *out, size_t room)
{
	size_t n = 0;

	while (*value && n + 1 < room) {
		if (value[0] == '%' && hex_value(value[1]) >= 0 && hex_value(value[2]) >= 0) {
			out[n++] = (char)(hex_value(value[1]) << 4 | hex_value(value[2]));
			value += 3;
		} else {
			out[n++] = *value++;
		}
	}
	out[n] = 0;
}

bool line_value_i64(const char *value, int64_t *out)
{
	uint64_t n;

	if (number_parse_u64(value + (*value == '-'), &n) < 0 || n > INT64_MAX)
		return false;
	*out = *value == '-' ? -(int64_t)n : (int64_t)n;
	return true;
}

bool line_value_double(const char *value, double *out)
{
	char *end;
	double d;

	if (!*value)
		return false;
	d = strtod(value, &end);
	if (*end || !isfinite(d))
		return false;
	*out = d;
	return true;
}

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static bool append_digit(uint64_t *n, unsigned digit)
{
	return number_multiply_u64(*n, 10, n) && number_add_u64(*n, digit, n);
}

bool line_value_fixed(const char **at, unsigned digits, uint64_t *out)
{
	const char *c = *at;
	uint64_t n = 0;

	if (!is_digit(*c))
		return false;
	for (; is_digit(*c); c++)
		if (!append_digit(&n, (unsigned)(*c - '0')))
			return false;
	c += *c == '.' && is_digit(c[1]);
	for (unsigned i = 0; i < digits; i++) {
		if (!append_digit(&n, is_digit(*c) ? (unsigned)(*c - '0') : 0))
			return false;
		c += is_digit(*c);
	}
	while (is_digit(*c))
		c++;
	*at = c;
	*out = n;
	return true;
}

bool line_get_text(const struct line *l, const char *key, char *out, size_t room)
{
	const char *v = line_get_raw(l, key);

	if (v)
		line_value_text(v, out, room);
	return v != NULL;
}

bool line_get_u64(const struct line *l, const char *key, uint64_t *out)
{
	const char *v = line_get_raw(l, key);

	return v && number_parse_u64(v, out) == 0;
}
