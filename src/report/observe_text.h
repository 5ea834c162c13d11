/* What was observed, in words and as CSV. */
#ifndef REPORT_OBSERVE_TEXT_H
#define REPORT_OBSERVE_TEXT_H

#include "record/observe.h"

struct text;

/* Plain ASCII, at most 80 columns. */
void observe_text(struct text *t, const struct run *run, const struct observation *o);

/* RFC 4180. One row a second and direction (what=second), one a request size and direction (what=size). */
void observe_csv_header(struct text *t);
void observe_csv(struct text *t, const struct run *run, const struct observation *o);

#endif
