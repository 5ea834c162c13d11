/* A journal of cuts on a page. */
#ifndef REPORT_PAGE_CUT_H
#define REPORT_PAGE_CUT_H

#include "record/cut_load.h"
#include "record/run.h"

struct text;

/* The verdict, the cuts, and where damage lies; after page_add_run. */
void page_add_cut(struct text *t, const struct run *run, const struct cut_record *r);

#endif
