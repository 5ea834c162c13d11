/* An explanation in words, for a screen of at least 60 columns. */
#ifndef REPORT_EXPLAIN_TEXT_H
#define REPORT_EXPLAIN_TEXT_H

#include "findings/explain.h"
#include "report/text_view.h"

struct text;

void explain_text_add(struct text *t, const struct run *run, const struct explanation *e,
	const struct text_style *style);

#endif
