/* An explained sweep as a view: what limits, what to do next and what it would give; then figures. */
#ifndef FINDINGS_EXPLAIN_VIEW_H
#define FINDINGS_EXPLAIN_VIEW_H

#include "findings/explain.h"
#include "findings/explain_codes.h"
#include "findings/explain_mix.h"
#include "findings/view.h"

struct error;

/* What --as gives; run and observation outlive the view. */
struct explain_seen {
	const struct run *run;
	const struct observation *observation;
};

/* run, e and seen (NULL: none) outlive the view. 0, or -1 with *err and nothing to release. */
int explain_view(struct view *v, const struct run *run, const struct explanation *e,
	const struct explain_seen *seen, struct error *err);

/* The findings alone, of the tables of one direction: what limits, then how far the figures carry. */
void explain_findings_of(
	struct findings *f, const struct explanation *e, enum run_direction direction);
/* Of all tables; the verdict first. */
void explain_findings_add(struct findings *f, const struct run *run, const struct explanation *e);

/* What an observation weighs in the sweep's figures. */
void explain_mix_findings_add(struct findings *f, const struct explain_mix *m,
	const struct run *swept, const struct explain_seen *seen);

extern const struct table_spec explain_tables_spec, explain_parts_spec, explain_points_spec,
	explain_stages_spec, explain_copies_spec, explain_mix_spec;

/* Rows of those tables. */
struct explain_table {
	const struct explained *x;
	const char *name; /* "sequential writes" */
	const char *culprits; /* codes with '+' between */
	const char *fixed_range; /* for people, in the unit of the fixed cost; NULL: no line */
};

enum explain_role { EXPLAIN_LIMITS, EXPLAIN_NEXT, EXPLAIN_PERHAPS };

struct explain_part { /* a cause of one table */
	const struct explained *x;
	const char *name;
	const struct culprit *culprit;
	enum explain_role role;
	const char *share_range, *rate_range; /* for people; NULL: nothing to gain */
};

struct explain_point {
	const struct explained *x;
	const struct cost_point *acknowledged;
	const struct cost_point *stored;
};

struct explain_copy {
	enum run_direction direction;
	const char *way; /* "measured", "in-turn", "overlapped" */
	uint64_t bytes, request_bytes;
	double seconds;
};

struct explain_mix_row {
	const char *of; /* "read", "write", "flush", "all" */
	double seconds[EXPLAIN_WAYS]; /* NaN: not known */
};

const char *explain_role_name(enum explain_role role); /* "limits", "next", "perhaps" */

#endif
