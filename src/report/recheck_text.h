/* The verdict on a cut, in words. */
#ifndef REPORT_RECHECK_TEXT_H
#define REPORT_RECHECK_TEXT_H

#include "findings/recheck_totals.h"
#include "record/cut.h"

struct text;

/* "KEPT: every promise made before the cut" */
const char *recheck_sentence(const struct recheck_result *r);

/* Plain ASCII, at most 80 columns. */
void recheck_text(struct text *t, const struct recheck_result *r);
void recheck_totals_text(struct text *t, const struct recheck_totals *totals);

/* One line a cycle, for a run of many. */
void recheck_line(struct text *t, const struct recheck_result *r);

#endif
