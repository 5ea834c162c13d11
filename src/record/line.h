/* One line of a record: `NUMBER KIND key=value key=value ... ~CRC`. See blkassay-record(5).
 * Values are UTF-8; bytes of blanks, '%', '=', '~' and of all that is not plain text (base/clean.h) are written as %XX,
 * so that a line splits at single blanks and is safe to look at.
 * CRC is eight hex digits of CRC-32 (ISO 3309, as zlib) over everything before " ~". */
#ifndef RECORD_LINE_H
#define RECORD_LINE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/text.h"

/* Building. The text is reset by _begin and ends with a newline after _end. */
void line_begin(struct text *t, uint64_t number, const char *kind);
void line_put_text(struct text *t, const char *key, const char *value);
void line_put_u64(struct text *t, const char *key, uint64_t value);
void line_put_i64(struct text *t, const char *key, int64_t value);
/* Shortest that reads back the same. */
void line_put_double(struct text *t, const char *key, double value);
/* A whole number of 10^-digits, without needless zeros: 1500 of 3 digits is 1.5. */
void line_put_fixed(struct text *t, uint64_t value, unsigned digits);
void line_end(struct text *t);

/* Reading: points into the caller's buffer, which line_parse changes in place (values stay escaped until asked). */
struct line {
	bool old; /* of a record of version 1: its names are looked up in record/old_names.h */
	uint64_t number;
	const char *kind;
	char *fields; /* NUL-separated key=value, ended by an empty one */
};

/* bytes[length] must be writable (it becomes NUL); length excludes the newline. 0, or -EBADMSG when the CRC or the
 * form is wrong. The line is taken for one of this version. */
int line_parse(struct line *out, char *bytes, size_t length);

/* A value as it stands, still escaped. NULL when the key is absent. */
const char *line_get_raw(const struct line *l, const char *key);
/* Each returns false when the key is absent or not of that form (*out then unchanged). */
bool line_get_text(const struct line *l, const char *key, char *out,
	size_t room); /* cut to room, always NUL-ended */
bool line_get_u64(const struct line *l, const char *key, uint64_t *out);

/* A value that was looked up, in its form; false when it is not of that form (*out then unchanged). */
void line_value_text(const char *value, char *out, size_t room);
bool line_value_i64(const char *value, int64_t *out);
bool line_value_double(const char *value, double *out);
/* What line_put_fixed wrote at *at, which moves behind it; digits beyond that many are cut off. */
bool line_value_fixed(const char **at, unsigned digits, uint64_t *out);

#endif
