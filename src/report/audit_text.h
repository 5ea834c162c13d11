/* An audit as plain text: what was tested, each line with claim, verdict, evidence and mend, and the one sentence. */
#ifndef REPORT_AUDIT_TEXT_H
#define REPORT_AUDIT_TEXT_H

#include "base/promise.h"
#include "record/run.h"
#include "report/text_view.h"

struct error;
struct text;

/* Adds it to t. 0, or -1 with *err (out of memory). */
int audit_text_add(struct text *t, const struct run *run, const struct promises *f,
	const struct text_style *style, struct error *err);

#endif
