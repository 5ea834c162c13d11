/* Lines described once: a table of fields says of each kind of line which keys it has, where each lies in a plain struct,
 * and what it means. A line is written from it, read into it and documented by it (blkassay-record(5)).
 *
 *   #define HERE struct run_end
 *   static const struct field fields[] = {
 *           FIELD("status", status, "complete, interrupted or failed"),
 *           FIELD_SECONDS("took_seconds", took_ns, "from first to last"),
 *   };
 *   #undef HERE
 *   const struct line_kind line_end = LINE_KIND("end", fields, "The last line.", .synced = true); */
#ifndef RECORD_FIELD_H
#define RECORD_FIELD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "record/series.h"

struct line;
struct text;

enum field_type {
	FIELD_IS_U64,
	FIELD_IS_U32,
	FIELD_IS_I64,
	FIELD_IS_INT,
	FIELD_IS_BOOL, /* 0 or 1 */
	FIELD_IS_DOUBLE,
	FIELD_IS_TEXT, /* char[]; longer values are cut */
	FIELD_IS_NS, /* uint64_t nanoseconds, in seconds to the last digit */
	FIELD_IS_MS, /* uint64_t milliseconds, in seconds */
	FIELD_IS_WORD, /* an enum, as one of the words; an unknown word is as good as none */
	FIELD_IS_FLAGS, /* uint32_t; words of its bits, joined by '+' */
	FIELD_IS_LIST, /* uint64_t[], parted by commas */
	FIELD_IS_SERIES, /* struct series: rows of numbers, parted by commas */
	FIELD_IS_SPECIAL, /* written and read by functions of its own */
};

/* At most 64 to a kind of line. `from` and `to` are the struct. */
struct field {
	const char *key;
	enum field_type type;
	size_t offset, size; /* in the struct */
	/* unit and what else a reader must know; "" when the key says it all */
	const char *meaning;
	size_t when; /* offset of a bool, plus 1: written when that is set, which reading does; 0: always */
	size_t count; /* of a list: offset of the uint64_t with its length, plus 1; 0: it is always full */
	const char *const *words; /* of a word or flags, ended by NULL */
	const char *shape; /* of a series */
	void (*put)(struct text *t, const void *from); /* special: the value alone */
	bool (*take)(const char *value, void *to);
};

struct line_kind {
	const char *name;
	const struct field *fields;
	size_t count;
	const char *meaning;
	bool synced; /* on the disk before its writer goes on */
	bool closes; /* says what stands before it (record/tally.h) */
};

/* Adds all fields to the line being built. */
void line_put_fields(struct text *t, const struct line_kind *k, const void *from);

/* What is missing, or of another form, stays as it is in *to. Returns which fields were there, bit i for fields[i]. */
uint64_t line_take_fields(const struct line *l, const struct line_kind *k, void *to);

/* ---- for the tables; HERE is the struct, and the type of a member is that of its field ---- */

#define FIELD_TYPE_OF(member) \
	_Generic((((HERE *)0)->member),     \
		uint64_t: FIELD_IS_U64,     \
		uint32_t: FIELD_IS_U32,     \
		int64_t: FIELD_IS_I64,      \
		int: FIELD_IS_INT,          \
		bool: FIELD_IS_BOOL,        \
		double: FIELD_IS_DOUBLE,    \
		char *: FIELD_IS_TEXT)
#define FIELD_AT(member) .offset = offsetof(HERE, member), .size = sizeof(((HERE *)0)->member)
#define FIELD(name, member, says)                                                                 \
	{                                                                                         \
		.key = (name), .type = FIELD_TYPE_OF(member), FIELD_AT(member), .meaning = (says) \
	}
#define FIELD_WHEN(name, member, known, says)                                                      \
	{                                                                                          \
		.key = (name), .type = FIELD_TYPE_OF(member), FIELD_AT(member), .meaning = (says), \
		.when = offsetof(HERE, known) + 1                                                  \
	}
#define FIELD_AS(name, kind, member, says, ...)                                                 \
	{                                                                                       \
		.key = (name), .type = (kind), FIELD_AT(member), .meaning = (says), __VA_ARGS__ \
	}
#define FIELD_IF(member) .when = (offsetof(HERE, member) + 1)
#define FIELD_COUNT(member) .count = (offsetof(HERE, member) + 1)
#define FIELD_NS(name, member, says) FIELD_AS(name, FIELD_IS_NS, member, says, )
#define FIELD_MS(name, member, says) FIELD_AS(name, FIELD_IS_MS, member, says, )
#define LINE_KIND(called, table, says, ...)                                                    \
	{                                                                                      \
		.name = (called), .fields = (table), .count = sizeof(table) / sizeof *(table), \
		.meaning = (says), __VA_ARGS__                                                 \
	}

#endif
