/* What happened over several cuts, counted. */
#ifndef FINDINGS_CUT_TOTALS_H
#define FINDINGS_CUT_TOTALS_H

#include <stdbool.h>
#include <stdint.h>

#include "record/cut_load.h"

struct cut_totals {
	uint64_t cuts, rechecked, broken, not_shown; /* cuts; the last: with nothing tested */
	uint64_t promises, promises_broken; /* writes; of the cuts that tested something */
	uint64_t blocks[RECHECK_DUTIES], broken_blocks[RECHECK_DUTIES];
	uint64_t in_flight_old, in_flight_new, forgotten;
	uint64_t disordered; /* cuts that did not keep the order */
};

void cut_totals_add(struct cut_totals *t, const struct recheck_result *r);
void cut_totals(struct cut_totals *out, const struct cut_record *record);

/* Cuts that tested something. */
static inline uint64_t cut_totals_tested(const struct cut_totals *t)
{
	return t->rechecked - t->not_shown;
}

/* Written, and ended so that something may have been cut; nobody looked yet. */
bool cut_is_unseen(const struct cut_cycle *c);

#endif
