/* What an audit means: which promises are kept, which are broken and how that is mended, and which were not shown or not
 * asked. */
#ifndef FINDINGS_AUDIT_VIEW_H
#define FINDINGS_AUDIT_VIEW_H

#include "base/promise.h"
#include "findings/view.h"

struct error;
struct run;
struct view_word;

/* Both outlive the view. 0, or -1 with *err and nothing to release. */
int audit_view(
	struct view *v, const struct run *run, const struct promises *promises, struct error *err);

extern const struct finding_code audit_codes[];
extern const size_t audit_code_count;

extern const struct table_spec audit_summary_spec, audit_promises_spec;

/* What "name" and "verdict" of a promise may be: see findings/record_view.h. */
bool audit_word(size_t i, struct view_word *out);

/* ---- rows of those tables; the summary is a struct promises ---- */

struct audit_line {
	const struct promise *promise;
	const char *title; /* "flush: broken" */
	const char *tested_what; /* "flushes"; NULL: a promise that this version does not know */
	const char *tested; /* "5 flushes"; NULL: not known */
};

#endif
