/* A verify run on a page: what it found, where, and of which class. */
#ifndef REPORT_PAGE_VERIFY_H
#define REPORT_PAGE_VERIFY_H

#include "record/verify.h"

struct text;

/* May reorder v->ranges. */
void page_add_verify(struct text *t, struct verify_record *v);

#endif
