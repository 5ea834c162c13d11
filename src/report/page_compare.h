/* A comparison of two builds on a page: sentences, chart of ratios, table. */
#ifndef REPORT_PAGE_COMPARE_H
#define REPORT_PAGE_COMPARE_H

#include "findings/compare.h"

struct text;

/* After compared_finish. */
void page_add_comparison(struct text *t, const struct compared *c);

#endif
