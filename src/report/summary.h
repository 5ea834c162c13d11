/* The plain-text summary of a sweep: what was tested on what, the tables, what to notice. */
#ifndef REPORT_SUMMARY_H
#define REPORT_SUMMARY_H

#include <stdbool.h>

#include "record/run.h"

struct error;
struct text;

struct text_style;

/* Adds the summary to t. 0, or -1 with *err (out of memory). Takes any record that could be loaded, cut ones too. */
int summary_add(
	struct text *t, const struct run *run, const struct text_style *style, struct error *err);

#endif
