/* What a sweep means: rates by request size, how long requests took, what limits the figures. */
#ifndef FINDINGS_SWEEP_VIEW_H
#define FINDINGS_SWEEP_VIEW_H

#include "findings/details.h"
#include "findings/explain.h"
#include "findings/points.h"
#include "findings/view.h"

struct error;
struct run;
struct view_word;

/* Takes any sweep that could be loaded, cut ones too; reads the record's details again. run outlives the view. 0, or -1
 * with *err and nothing to release. */
int sweep_view(struct view *v, const struct run *run, struct error *err);

/* ---- its parts ---- */

/* Thresholds, named because they are judgements of ours; blkassay-method(7) tells them too. */
#define SWEEP_WIDE_SPREAD \
	0.05 /* half the interval, or with no interval half the range, of the median */
#define SWEEP_STALL_TIMES 20.0 /* slowest request against the median one ... */
#define SWEEP_STALL_SECONDS 0.05 /* ... and at least this long */
#define SWEEP_STALL_SHARE 0.02 /* of the time: or as much in stalls altogether */
#define SWEEP_BURST_NS 100e6 /* a burst that is over sooner shows nothing (analysis/storing.c) */
#define SWEEP_HIDES \
	0.1 /* the largest share of a rate that a buffer of that share of what was written freely hides */
#define SWEEP_ENOUGH 0.95 /* of the best rate: named with the smallest request that reaches it */
#define SWEEP_COVERED 0.9 /* of the region: what is left is not spoken of */
#define SWEEP_SPLIT 1.02 /* device requests per request: a few more are somebody else's */
#define SWEEP_BEHIND 1.10 /* acknowledged over stored */

/* Do stalls matter at this point? */
bool sweep_stalls(const struct point *p);

void sweep_findings_add(struct findings *f, const struct run *run, const struct points *points);

extern const struct finding_code sweep_codes[];
extern const size_t sweep_code_count;

/* What is in "flags": see findings/record_view.h. */
bool sweep_flag_word(size_t i, struct view_word *out);

/* Rows: struct point, sweep_pass, sweep_times, sweep_stretch, run; of the fit, which screens alone have, sweep_fit. */
extern const struct table_spec sweep_points_spec, sweep_passes_spec, sweep_times_spec,
	sweep_stretches_spec, sweep_plan_spec, sweep_fit_spec;

struct sweep_pass {
	const struct run_pass *pass;
	const char *flags; /* NULL: none */
};

struct sweep_times { /* of all requests of a point */
	const struct point *point;
	const struct detail *detail;
};

struct sweep_stretch { /* extremes within the passes of a point that are kept */
	const struct point *point;
	size_t drawn, passes;
	double step_s, slowest_bps, slowest_at_s, fastest_bps;
	size_t slowest_pass; /* of the drawn ones, from 1 */
};

struct sweep_fit {
	const struct explained *explained;
	const char *fixed_range, *rate_range;
};

/* Charts, made in the pool; NULL when there is nothing to draw. details: one a point of `table`. */
const struct chart *sweep_chart_rates(struct pool *p, const struct points *points,
	const struct run *run, const struct explanation *e, enum run_direction direction);
const struct chart *sweep_chart_times(
	struct pool *p, const struct points *table, const struct detail *details);
const struct chart *sweep_chart_traces(
	struct pool *p, const struct points *table, const struct detail *details);

#endif
