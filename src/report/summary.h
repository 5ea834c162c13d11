/* The plain-text summary of a sweep: what was tested on what, the tables, what to notice. */
#ifndef REPORT_SUMMARY_H
#define REPORT_SUMMARY_H

#include <stdbool.h>

#include "record/run.h"

struct error;
struct text;

struct summary_style {
	unsigned columns; /* of the terminal; tables too wide go on below; at least 60 */
	bool utf8; /* else every character beyond ASCII becomes '?' */
	bool colour; /* bold headings, and one colour for what asks for a look */
};

/* Adds the summary to t. 0, or -1 with *err (out of memory). Takes any record that could be loaded, cut ones too. */
int summary_add(struct text *t, const struct run *run, const struct summary_style *style,
	struct error *err);

#endif
