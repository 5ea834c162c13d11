/* What was observed, on a page. */
#ifndef REPORT_PAGE_OBSERVE_H
#define REPORT_PAGE_OBSERVE_H

#include "record/observe.h"

struct text;

void page_add_observation(struct text *t, const struct observation *o);

#endif
