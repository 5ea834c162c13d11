/* Tables, described once: text, page, CSV and JSON all draw from these rows. A kind of run describes its tables as
 * constants (struct table_spec) and hands out rows: an array of any struct, which the columns' functions read. */
#ifndef FINDINGS_TABLE_H
#define FINDINGS_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/value.h"

struct table;

struct column {
	/* for programs, with its unit: "stored_bytes_per_second"; NULL: for people alone */
	const char *key;
	const char *heading; /* for people; NULL: for programs alone */
	/* page, man page; a column with the meaning of its neighbour may leave it NULL */
	const char *meaning;
	unsigned width; /* least width of text with the blanks before it; 0: what its cells need */
	bool words; /* aligned left */
	/* whether people need it with these rows; NULL: always */
	bool (*shown)(const struct table *t);
	struct value (*value)(const void *row);
};

/* How JSON has it. */
enum json_form {
	JSON_ARRAY, /* of objects, under the table's key */
	JSON_OBJECT, /* its one row, under the table's key; null without a row */
	JSON_BARE, /* the columns of its one row stand among the view's own keys */
};

/* What a row of CSV begins with: which run it belongs to. */
enum csv_lead {
	CSV_NONE, /* the table is not in the CSV */
	CSV_BARE, /* nothing */
	CSV_RUN, /* run, label */
	CSV_RUN_TARGET, /* run, label, target */
};

struct table_spec {
	const char *key; /* in JSON: "points"; of JSON_BARE a name for the lists of keys */
	const char *meaning; /* what a row is; man page */
	enum json_form json;
	enum csv_lead csv; /* the same for all tables of a kind that are in its CSV */
	/* Rows are long: people see each as a block of lines, one a column that is known, under its first column. */
	bool blocks;
	const char *csv_what; /* of several tables in one CSV: column `what` of these rows */
	size_t row_bytes;
	/* text shows it as a bar beside each row where there is room, against the greatest of them; NULL: no bars */
	struct value (*bar)(const void *row);
	const struct column *columns;
	size_t column_count;
};

/* Defines the function of a column: what `expression` says of the row, a `type` named `r`. */
/* NOLINTBEGIN(bugprone-macro-parentheses): a type and a name take none */
#define COLUMN_VALUE(function, type, r, expression)      \
	static struct value function(const void *row_at) \
	{                                                \
		const type *r = row_at;                  \
                                                         \
		return expression;                       \
	}
/* NOLINTEND(bugprone-macro-parentheses) */

/* Columns of an array in a table_spec. */
#define TABLE_COLUMNS(array) .columns = (array), .column_count = sizeof(array) / sizeof *(array)

/* Some rows under their description: all of a run's, or a part of them for one place on a screen. */
struct table {
	const struct table_spec *spec; /* NULL: no table */
	const void *rows; /* count of them, spec->row_bytes each */
	size_t count;
};

struct value table_value(const struct table *t, size_t row, const struct column *c);

/* Whether people see the column with these rows. */
bool table_shows(const struct table *t, const struct column *c);

#endif
