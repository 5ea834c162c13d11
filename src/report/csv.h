/* Passes as CSV: RFC 4180, one row a pass, columns from report/columns.h. */
#ifndef REPORT_CSV_H
#define REPORT_CSV_H

#include "record/run.h"

struct text;

/* Adds one field, quoted where RFC 4180 asks for it. Controls become '?'. guard: free text that a spreadsheet would
 * take for a formula (it begins with = + - @) gets a leading apostrophe. */
void csv_add_field(struct text *t, const char *value, bool guard);

/* Each adds one line with its CRLF. */
void csv_add_header(struct text *t);
void csv_add_pass(struct text *t, const struct run *run, const struct run_pass *pass);

#endif
