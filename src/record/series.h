/* Rows of numbers in one value of a line: "a:b,a:b,...". */
#ifndef RECORD_SERIES_H
#define RECORD_SERIES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text;

enum { SERIES_COLUMNS_MAX = 3 };

/* One array a column; reading fills them up to room. */
struct series {
	uint64_t *columns[SERIES_COLUMNS_MAX];
	size_t rows, room;
	bool whole; /* all of the value was read: there was room, and every row had its form */
};

/* shape: one letter a column. 'c': a number as it is; 'n': nanoseconds, written as seconds. */
void series_put(struct text *t, const char *shape, const struct series *s);
void series_take(const char *value, const char *shape, struct series *s);

/* Rows to be written; they are not changed. NULL for columns that the shape does not have. */
struct series series_of(const uint64_t *a, const uint64_t *b, const uint64_t *c, size_t rows);

#endif
