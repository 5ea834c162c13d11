/* An explanation in words, for a screen of at least 60 columns. */
#ifndef REPORT_EXPLAIN_TEXT_H
#define REPORT_EXPLAIN_TEXT_H

#include "report/explain.h"
#include "report/summary.h"

struct text;

void explain_text_add(struct text *t, const struct run *run, const struct explanation *e,
	const struct summary_style *style);

/* What a table's findings mean, one sentence each, with the numbers they rest on. */
struct advice_visitor {
	void *context;
	void (*advice)(void *context, bool caution, const char *sentence);
};

void explain_advice_visit(const struct explained *x, const struct advice_visitor *v);

#endif
