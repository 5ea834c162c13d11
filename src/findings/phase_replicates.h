/* How long requests spent in each phase on two sides, and which phase changed. */
#ifndef FINDINGS_PHASE_REPLICATES_H
#define FINDINGS_PHASE_REPLICATES_H

#include <stdbool.h>
#include <stddef.h>

#include "record/run.h"

/* Seconds of a request in each phase, a replicate each, of both sides of a point. Starts zeroed. */
struct phase_replicates {
	struct phase_side {
		double *seconds[RUN_PHASE_COUNT];
		size_t n, room;
	} side[2];
};

/* The usable passes of one run. 0, or -1 without memory. */
int phase_replicates_take(struct phase_replicates *c, int side,
	const struct run_pass *const *passes, size_t count, bool by_runs);
void phase_replicates_release(struct phase_replicates *c);

struct phase_change {
	bool seen; /* phases were, on both sides */
	double seconds[2][RUN_PHASE_COUNT]; /* means */
	/* The phase that changed most, the way the request's time did, if that is shown: its difference is beyond chance (Welch's
	 * t, p <= 0.05 over the four phases, Bonferroni), the larger part of the whole and of what the rates say, and no other
	 * phase makes up for half of it. */
	bool shown;
	enum run_phase phase;
};

/* by_rate_s: by how much a request takes longer by the rates compared, which have what phases don't: storing after the answer, other
 * passes. */
struct phase_change phase_replicates_change(const struct phase_replicates *c, double by_rate_s);

#endif
