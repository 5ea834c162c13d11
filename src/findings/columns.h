/* Columns, described once: CSV, plain text and the page all draw from these tables. */
#ifndef FINDINGS_COLUMNS_H
#define FINDINGS_COLUMNS_H

#include <stdbool.h>
#include <stddef.h>

#include "findings/points.h"
#include "record/run.h"

struct text;

/* One row a pass: the CSV. */
struct pass_row {
	const struct run *run;
	const struct run_pass *pass;
};

struct pass_column {
	const char *key; /* name in the first line */
	const char *meaning; /* with its unit; blkassay-csv(5) says the same */
	bool free_text; /* comes from a person or a device: needs guarding */
	void (*value)(struct text *out, const struct pass_row *row); /* nothing added: unknown */
};

extern const struct pass_column pass_columns[];
extern const size_t pass_column_count;

/* One row a point: the tables of the summary and of the page. */
struct point_column {
	const char *heading;
	const char *meaning; /* for the page and the man page */
	unsigned width; /* of text, with a blank before it */
	/* Whether a table of these points needs the column at all. */
	bool (*shown)(const struct points *table);
	void (*value)(struct text *out, const struct point *p);
};

extern const struct point_column point_columns[];
extern const size_t point_column_count;

#endif
