/* Sentences for kinds of run that have no view yet: what run_findings_add says, handed over one by one. */
#ifndef FINDINGS_NOTICES_H
#define FINDINGS_NOTICES_H

#include <stdbool.h>

#include "record/run.h"

enum notice_kind {
	NOTICE_FINDING, /* what was found */
	NOTICE_CAUTION, /* what limits how far the figures can be trusted, or asks for a look */
};

struct notice_visitor {
	void *context;
	/* sentence: plain text, may hold a stranger's text: clean it before showing it. */
	void (*notice)(void *context, enum notice_kind kind, const char *sentence);
	/* What is to be pasted, after its sentence: one line, to be shown as it is. NULL: sentences alone are wanted. */
	void (*command)(void *context, const char *command);
};

/* False when memory ran out and some are missing. */
bool notices_visit(const struct run *run, const struct notice_visitor *visitor);

#endif
