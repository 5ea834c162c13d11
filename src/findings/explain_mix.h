/* A sweep weighed by the requests that a host was seen to send. */
#ifndef FINDINGS_EXPLAIN_MIX_H
#define FINDINGS_EXPLAIN_MIX_H

#include "findings/explain.h"
#include "record/observe_lines.h"

enum { EXPLAIN_NOW, EXPLAIN_WHOLE, EXPLAIN_OVERLAPPED, EXPLAIN_WAYS };

/* Seconds by direction and way; NaN: not known. NOW: as swept; writes until they are stored, where that is shown. WHOLE: link and card one after the other
 * for each whole request, plus the fixed cost of a request. OVERLAPPED: the slower of the two, plus the fixed cost. */
struct explain_mix {
	double seconds[2][EXPLAIN_WAYS];
	bool present[2]; /* requests of that direction were observed */
	bool shown; /* writes are shown to be stored in that time */
	double flush_s; /* all observed flushes, beyond the time in which their writes are stored; NaN: not known */
	double total[EXPLAIN_WAYS];
	double busy_s; /* observed: at least one request in flight */
	double off; /* total now over busy, less 1; NaN when either is not known */
	/* the size on which most of the predicted time goes */
	bool worst_known;
	enum run_direction worst_direction;
	uint64_t worst_bytes;
	double worst_share; /* of the total now */
	bool means_only; /* not traced: one mean size a direction */
};

void explain_mix_make(
	struct explain_mix *m, const struct explanation *e, const struct observation *o);

#endif
