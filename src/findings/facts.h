/* What was tested on what: the facts at the head of a summary and of a page. */
#ifndef FINDINGS_FACTS_H
#define FINDINGS_FACTS_H

#include <stdbool.h>

#include "record/run.h"

struct fact_visitor {
	void *context;
	/* value is as the record has it: clean it before showing it. */
	void (*fact)(void *context, const char *name, const char *value);
};

/* False when memory ran out and some are missing. */
bool facts_visit(const struct run *run, const struct fact_visitor *visitor);

#endif
