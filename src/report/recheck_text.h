/* The verdict on a cut, in words. */
#ifndef REPORT_RECHECK_TEXT_H
#define REPORT_RECHECK_TEXT_H

#include <stdint.h>

#include "record/cut.h"

struct text;

struct recheck_totals { /* over cycles */
	uint32_t cycles, broken_cycles;
	uint64_t promises, promises_broken;
	uint64_t untouched, untouched_broken, in_flight, in_flight_broken; /* blocks */
};

void recheck_totals_add(struct recheck_totals *t, const struct recheck_result *r);

/* Plain ASCII, at most 80 columns. */
void recheck_text(struct text *t, const struct recheck_result *r);
void recheck_totals_text(struct text *t, const struct recheck_totals *totals);

/* One line a cycle, for a run of many. */
void recheck_line(struct text *t, const struct recheck_result *r);

#endif
