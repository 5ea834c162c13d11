/* A verify run on a page: what is damaged where, and of which class. */
#ifndef REPORT_PAGE_VERIFY_H
#define REPORT_PAGE_VERIFY_H

#include "record/verify.h"

struct text;

/* The damage map, counts and ranges; after page_add_run. */
void page_add_verify(struct text *t, const struct verify_record *v);

#endif
