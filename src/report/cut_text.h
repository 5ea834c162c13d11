/* A journal of cuts as plain text and as CSV: what was written, what the target promised, how each cut came, and the verdict. */
#ifndef REPORT_CUT_TEXT_H
#define REPORT_CUT_TEXT_H

#include "record/cut_load.h"
#include "record/run.h"
#include "report/recheck_text.h"
#include "report/text_view.h"

struct error;
struct text;

/* Wraps at style->columns; 0, or -1 with *err (out of memory). */
int cut_text_add(struct text *t, const struct run *run, const struct cut_record *r,
	const struct text_style *style, struct error *err);

/* One row a cut; each adds lines with their CRLF. Columns: blkassay-csv(5). */
void cut_csv_header(struct text *t);
void cut_csv_add(struct text *t, const struct run *run, const struct cut_record *r);

#endif
