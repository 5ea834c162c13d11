/* An explanation in words, for a screen of at least 60 columns. */
#ifndef REPORT_EXPLAIN_TEXT_H
#define REPORT_EXPLAIN_TEXT_H

#include "findings/explain.h"
#include "report/summary.h"

struct text;

void explain_text_add(struct text *t, const struct run *run, const struct explanation *e,
	const struct summary_style *style);

#endif
