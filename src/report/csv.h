/* CSV: RFC 4180. */
#ifndef REPORT_CSV_H
#define REPORT_CSV_H

#include <stdbool.h>

struct error;
struct sink;
struct text;
struct view;

/* Whether its kind of run has any CSV. */
bool csv_has(const struct view *v);

/* The rows of all its tables that belong in a CSV, under the columns of all of them; `header`: after a line of their names.
 * t is scratch. 0, or -1 with *err. */
int csv_add_view(struct text *t, const struct view *v, bool header, const struct sink *sink,
	struct error *err);

/* Adds one field, quoted where RFC 4180 asks for it. What is not plain text becomes '?' (base/clean.h). guard: free text that a spreadsheet would
 * take for a formula (it begins with = + - @) gets a leading apostrophe. */
void csv_add_field(struct text *t, const char *value, bool guard);

#endif
