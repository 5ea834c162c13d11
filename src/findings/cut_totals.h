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
	uint64_t lossy; /* cuts that tested something and lost what no promise covered */
	/* of the cuts that tested something: record/flush_pairs.h */
	uint64_t flush_pairs, flush_pairs_grew;
	bool by_answer; /* of some at least, every answered write is promised: none may be lost */
	uint64_t answer_cuts; /* of these, cuts that tested something */
	/* of the cuts that tested something: writes with FUA; cuts right after one, which no flush had covered */
	uint64_t throughs, through_cuts;
};

void cut_totals_add(struct cut_totals *t, const struct recheck_result *r);
void cut_totals(struct cut_totals *out, const struct cut_record *record);

/* In more pairs than chance deals out: sign test, 1 %. */
bool cut_totals_flushes_grow(const struct cut_totals *t);

/* What kept asks for beyond that a cut tested something and nothing is broken. */
enum cut_lack {
	CUT_LACKS_NOTHING,
	/* Where each answer is a promise, nothing but cuts shows that it is kept, and what waits for a moment only is met by few:
	 * so many as leave at most a fifth of such cuts that may break one. */
	CUT_LACKS_ANSWERS,
	/* Where only flushes promise, some cut has to have lost what none had covered: a target that loses nothing may have had
	 * all the time, or power of its own. */
	CUT_LACKS_LOSS,
	/* And flushes have to take longer the more there is to store: else they may do nothing, and what they covered was stored
	 * in its own time. */
	CUT_LACKS_FLUSHES,
	/* What FUA alone is worth shows where it was the last thing to be answered. That cuts come in time is known by then: so
	 * many as leave at most a half. */
	CUT_LACKS_FUA,
};
enum {
	CUT_ANSWERS_LEAST = 14,
	CUT_FUA_LEAST = 5
}; /* 1 - 0.05^(1/14) = 0.19, 1 - 0.05^(1/5) = 0.45 */

enum cut_lack cut_totals_lack(const struct cut_totals *t);
enum recheck_conclusion cut_totals_conclude(const struct cut_totals *t);

/* Cuts that tested something. */
static inline uint64_t cut_totals_tested(const struct cut_totals *t)
{
	return t->rechecked - t->not_shown;
}

/* Written, and ended so that something may have been cut; nobody looked yet. */
bool cut_is_unseen(const struct cut_cycle *c);

#endif
