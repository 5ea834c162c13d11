/* An audit on a page: one row a claim, with what was seen, the verdict and what would mend it. */
#ifndef REPORT_PAGE_AUDIT_H
#define REPORT_PAGE_AUDIT_H

#include "base/finding.h"

struct text;

void page_add_audit(struct text *t, const struct findings *f);

#endif
