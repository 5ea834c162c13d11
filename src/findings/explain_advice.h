/* What the findings of an explained table mean, one sentence each, with the numbers they rest on. */
#ifndef FINDINGS_EXPLAIN_ADVICE_H
#define FINDINGS_EXPLAIN_ADVICE_H

#include <stdbool.h>

#include "findings/explain.h"

struct advice_visitor {
	void *context;
	void (*advice)(void *context, bool caution, const char *sentence);
};

void explain_advice_visit(const struct explained *x, const struct advice_visitor *v);

#endif
