/* Charts and tables of a sweep on a page. */
#ifndef REPORT_PAGE_SWEEP_H
#define REPORT_PAGE_SWEEP_H

#include "findings/points.h"

struct error;
struct text;

int page_add_sweep(
	struct text *t, const struct run *run, const struct points *points, struct error *err);

#endif
