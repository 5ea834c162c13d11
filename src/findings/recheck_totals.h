/* Verdicts on cuts, counted over cycles. */
#ifndef FINDINGS_RECHECK_TOTALS_H
#define FINDINGS_RECHECK_TOTALS_H

#include <stdint.h>

#include "record/cut.h"

struct text;

struct recheck_totals { /* over cycles */
	uint32_t cycles, broken_cycles,
		not_shown_cycles; /* the last: with nothing tested or nothing cut */
	uint64_t promises, promises_broken;
	uint64_t untouched, untouched_broken, in_flight, in_flight_broken; /* blocks */
};

void recheck_totals_add(struct recheck_totals *t, const struct recheck_result *r);

/* A share as "8.7" or "100": two digits, never "1e+02". Returns buf. */
enum { RECHECK_PERCENT_MAX = 16 };
const char *recheck_percent(char buf[RECHECK_PERCENT_MAX], double share);

/* "none of 411 broken: a rate of at most 0.73 % (95 %)" */
void recheck_rate_add(struct text *t, uint64_t broken, uint64_t all);

#endif
