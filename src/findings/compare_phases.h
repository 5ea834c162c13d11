/* Which phase of requests changed between two builds. */
#ifndef FINDINGS_COMPARE_PHASES_H
#define FINDINGS_COMPARE_PHASES_H

#include "analysis/welch.h"
#include "findings/finding.h"
#include "findings/points.h"
#include "findings/table.h"

struct compared;
struct run_pass;

/* Seconds of a request in each phase, a replicate each, of both sides of a point. Starts zeroed. */
struct compare_phases {
	struct phase_replicates {
		double *seconds[RUN_PHASE_COUNT];
		size_t n, room;
	} side[2];
};

/* The usable passes of one run. 0, or -1 without memory. */
int compare_phases_take(struct compare_phases *c, int side, const struct run_pass *const *passes,
	size_t count, bool by_runs);
void compare_phases_release(struct compare_phases *c);

struct phase_change {
	bool seen; /* phases were, on both sides */
	double seconds[2][RUN_PHASE_COUNT]; /* means */
	/* The phase that changed most, the way the request's time did, if that is shown: its difference is beyond chance (Welch's
	 * t, p <= 0.05 over the four phases, Bonferroni) and the larger part of the whole. */
	bool shown;
	enum run_phase phase;
};

struct phase_change compare_phases_change(const struct compare_phases *c);

struct compare_phase_row {
	const struct compare_point *point;
	struct phase_change change;
};

extern const struct table_spec compare_phases_spec;

/* Rows of the points from first to end in which phases were seen on both sides. */
struct table compare_phases_table(
	struct pool *p, const struct compared *c, size_t first, size_t end);

/* One sentence a direction and order, at the largest request that is shown to be faster or slower. */
void compare_phases_add(
	struct findings *f, const struct compared *c, const struct finding_code *code);

#endif
