/* An audit on a page: one row a claim, with what was seen, the verdict and what would mend it. */
#ifndef REPORT_PAGE_AUDIT_H
#define REPORT_PAGE_AUDIT_H

#include "base/promise.h"

struct notice_visitor;
struct text;

/* The conclusion, as a sentence of what was found. */
void page_audit_found(const struct promises *f, const struct notice_visitor *visitor);

/* The table; after page_add_run. */
void page_add_audit(struct text *t, const struct promises *f);

#endif
