/* Ratios of two builds with their intervals: one line a point, 1 is no difference. */
#ifndef REPORT_CHART_RATIO_H
#define REPORT_CHART_RATIO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "record/run.h"

struct text;

enum ratio_verdict { RATIO_TOO_FEW, RATIO_NOT_SHOWN, RATIO_FASTER, RATIO_SLOWER };

struct ratio_row {
	enum run_direction direction;
	enum run_order order;
	uint32_t in_flight;
	uint64_t request_bytes;
	double ratio; /* new over base; <= 0: unknown, drawn as nothing */
	bool interval_known;
	double low, high;
	enum ratio_verdict verdict;
};

const char *ratio_verdict_name(enum ratio_verdict v); /* "faster", "not shown to differ", ... */

/* Shape and fill of a verdict, for keys: what svg_marker takes. */
unsigned ratio_verdict_style(enum ratio_verdict v, bool *hollow);

/* Rows in order of direction, order, requests in flight, size. False when no ratio is known: nothing is added then. */
bool chart_ratio(struct text *t, const char *title, const struct ratio_row *rows, size_t count);

#endif
