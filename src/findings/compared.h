/* Sweeps of two builds set against each other, point by point. Runs are taken one at a time, so that memory holds one
 * record and the figures drawn from the others. */
#ifndef FINDINGS_COMPARED_H
#define FINDINGS_COMPARED_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/compare.h"
#include "base/pool.h"
#include "findings/finding.h"
#include "findings/phase_replicates.h"
#include "findings/table.h"
#include "findings/view.h"
#include "record/run.h"

struct error;

enum compare_side { COMPARE_BASE, COMPARE_NEW };

/* Noticed while runs are taken. */
enum compare_noticed { REMARK_CONDITIONS, REMARK_UNFINISHED, REMARK_DAMAGED };

struct compare_remark {
	enum compare_noticed what;
	const char *sentence;
	struct compare_remark *next;
};

/* Logarithms of one side of one point; a replicate is a pass, or with several runs on a side a run (the mean of its
 * passes): what differs from one plugging-in to the next is then part of the noise. */
struct replicates {
	double *rate, *stored, *p99; /* log B/s until acknowledged and until stored, log seconds */
	size_t n, stored_n, p99_n, room;
	double slowest_s; /* of all requests */
};

/* With fewer the 99th percentile is the slowest request, and a pass that did more of them looks slower by arithmetic. */
enum { COMPARE_P99_REQUESTS = RUN_P99_REQUESTS };

/* Which rates of a point are compared. */
enum compare_basis {
	COMPARE_STORED, /* reads, and writes that both sides show to be stored */
	COMPARE_ACKNOWLEDGED, /* neither side shows it */
	COMPARE_ONE_STORED, /* one does, the other does not: none can be */
};

struct compare_point {
	enum compare_basis basis;
	enum run_direction direction;
	enum run_order order;
	uint32_t in_flight;
	uint64_t request_bytes;
	struct replicates side[2];
	struct phase_replicates phases;
	struct comparison rate;
	/* where all passes of a run have COMPARE_P99_REQUESTS or more: those that have are the quick ones; too few: base_n or
	 * fresh_n is 0 */
	struct comparison p99;
	struct compare_gate_point gate;
	bool modelled; /* one of the sides at least */
};

/* Points of one direction, order and number in flight are shown together. */
bool compare_same_table(const struct compare_point *a, const struct compare_point *b);

struct compared {
	bool by_runs; /* replicates are runs */
	bool anyway; /* differing conditions are told, not refused */
	bool modelled;
	size_t runs[2], passes[2], left_out[2];
	size_t failed[2]; /* of those left out: errors, or resets of the device */
	bool unfinished[2]; /* a run of that side did not end */
	size_t broke[2]; /* runs that ended in an error */
	bool watched, shared; /* the first run: phases, on its bus; with other devices on it */
	bool overruled; /* something below would not have been taken, or not have passed, without `anyway` */
	struct run *heads; /* of all runs, in the order they were taken; without their passes */
	char first_started[2][24], last_started[2][24]; /* ISO 8601, UTC: they sort as text */
	struct compare_point *points;
	size_t count, room;
	size_t gate_needed; /* replicates a side for an equally fast build to pass the gate; 0: unknown */
	size_t one_sided; /* points that only one side has: dropped by compared_finish */
	size_t lacking[2]; /* of those, the ones that this side lacks */
	struct pool pool;
	struct compare_remark *remarks,
		**next_remark; /* differing conditions and the like; in the pool */
};

void compared_init(struct compared *c, size_t base_runs, size_t new_runs, bool anyway);

/* Loads one more run and draws what is needed from it. All of the base come first. 0, or -1 with *err: cannot be read,
 * is no sweep, given twice, or not comparable. */
int compared_take(struct compared *c, enum compare_side side, const char *path, struct error *err);

/* Compares: rates and p99 each as a family of their own. 0, or -1 with *err (no point in common, out of memory). */
int compared_finish(struct compared *c, struct error *err);

/* Were all runs of one side recorded before all of the other? Then whatever drifts (a card that fills, a host that
 * warms up) looks like a difference of the builds. */
bool compared_one_after_the_other(const struct compared *c);

/* What keeps a gate undecided though every point that both sides have would pass it. */
enum gate_hold {
	GATE_FREE,
	GATE_HELD_BY_NEW, /* the new side lacks points of the base */
	GATE_HELD_BY_BASE, /* the base did not finish, and lacks points of the new side */
	GATE_HELD_BY_FAILURES, /* more passes of the new side failed: what they lost is in no figure */
	GATE_HELD_BY_END, /* more runs of the new side ended in an error: what would have followed is not known */
	GATE_HELD_BY_BUILDS, /* by what the gadgets say of themselves the sides may not be the two builds */
};

/* The release gate, as asked for and as answered. */
struct gate_request {
	bool given;
	double allowed; /* 0.05: 5 % slower */
	struct compare_gate result;
	enum gate_hold held;
};

/* May the new build be slower by more than gate->allowed anywhere? Fills gate->result and the points' gate. What was not
 * measured passes no gate. 0, or -1 with *err without memory. */
int compared_gate(struct compared *c, struct gate_request *gate, struct error *err);

/* What it means. c stays the caller's and outlives the view. 0, or -1 with *err. */
int compare_view(struct view *v, const struct compared *c, const struct gate_request *gate,
	struct error *err);

void compared_release(struct compared *c);

/* ---- the parts of the view ---- */

struct compare_summary { /* the one row of compare_summary_spec */
	const char *speaks_of; /* "runs" or "builds" */
	bool gate_given;
	struct compare_gate gate;
	double allowed;
	size_t runs[2], passes[2];
};

void compare_findings_add(
	struct findings *f, const struct compared *c, const struct gate_request *gate);

/* Points whose verdict it is. */
size_t compare_count(const struct compared *c, enum compare_verdict v);

extern const struct finding_code compare_codes[];
extern const size_t compare_code_count;
extern const struct table_spec compare_points_spec, compare_tails_spec, compare_summary_spec;

#endif
