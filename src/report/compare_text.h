/* A comparison in words and as CSV. */
#ifndef REPORT_COMPARE_TEXT_H
#define REPORT_COMPARE_TEXT_H

#include <stdbool.h>

#include "findings/compare.h"
#include "report/text_view.h"

struct text;

struct gate_request {
	bool given;
	double allowed; /* 0.05: 5 % slower */
	struct compare_gate result;
};

void compare_text_add(struct text *t, const struct compared *c, const struct gate_request *gate,
	const struct text_style *style);

/* One column of the CSV: blkassay-comparison(5) says the same. */
struct compare_column {
	const char *key;
	const char *meaning;
	/* Adds the value; nothing when it is not known. Numbers and fixed words only: no quoting is ever needed. */
	void (*value)(struct text *t, const struct compared *c, const struct compare_point *p);
};

extern const struct compare_column compare_columns[];
extern const size_t compare_column_count;

/* RFC 4180: a line of names, then one row a point. */
void compare_csv_add(struct text *t, const struct compared *c);

#endif
