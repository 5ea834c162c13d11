/* What was observed, in words and as CSV. */
#ifndef REPORT_OBSERVE_TEXT_H
#define REPORT_OBSERVE_TEXT_H

#include "record/observe.h"
#include "report/text_view.h"

struct error;
struct notice_visitor;
struct text;

/* What was observed on what, tables, then the sentences. 0, or -1 with *err (out of memory). */
int observe_text_add(struct text *t, const struct run *run, const struct observation *o,
	const struct text_style *style, struct error *err);

/* What to notice, in sentences. */
void observe_sentences_visit(
	const struct run *run, const struct observation *o, const struct notice_visitor *v);

/* RFC 4180. One row a second and direction (what=second), one a request size and direction (what=size). */
void observe_csv_header(struct text *t);
void observe_csv(struct text *t, const struct run *run, const struct observation *o);

#endif
