/* A sweep explained: per table of points the cost line, the stages and what was found. Plain figures; explain_text.h
 * turns them into words. */
#ifndef FINDINGS_EXPLAIN_H
#define FINDINGS_EXPLAIN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/card_bus.h"
#include "analysis/cost.h"
#include "analysis/culprit.h"
#include "analysis/diagnose.h"
#include "analysis/phase_parts.h"
#include "analysis/stall.h"
#include "analysis/wander.h"
#include "record/run.h"

struct error;

/* What the user knows; 0: not given. */
struct explain_known {
	double link; /* B/s, measured */
	double card[2]; /* B/s by enum run_direction, measured */
	struct card_bus bus; /* ceilings */
	uint64_t usual_bytes; /* the host's usual request, > 0 */
	uint64_t copy_bytes; /* 0: no copy time asked for */
};

/* Acknowledged over stored rate: from here on it is said. */
#define EXPLAIN_BEHIND 1.05
/* A burst's rate over that of storing: from here on it shows a buffer. */
#define EXPLAIN_AHEAD 1.2

enum explain_given { EXPLAIN_GIVEN_LINK, EXPLAIN_GIVEN_CARD };

/* One direction, order and number in flight. */
struct explained {
	enum run_direction direction;
	enum run_order order;
	uint32_t in_flight;
	double block_bytes; /* of the target */
	struct cost_point points[COST_POINTS_MAX]; /* until the last answer: acknowledged */
	/* Until all of it was stored, at the sizes where that is shown; where it is shown of none, the same as points, and
	 * nothing is said of what could be gained. */
	struct cost_point stored[COST_POINTS_MAX];
	struct cost_point
		quick[COST_POINTS_MAX]; /* the quickest requests: with nothing to wait for */
	size_t point_count;
	bool shown; /* writes: that they are stored in that time; true for reads */
	double idle_flush_s; /* of a flush with nothing to store, or of one that is refused */
	bool flush_refused;
	struct explained_flushed {
		uint64_t request_bytes;
		double seconds;
	} flushed
		[2]; /* single writes and the flush after each, two sizes, ascending; 0 s: not timed */
	size_t passes, left_out; /* left out: passes cut, with errors, or with I/O by others */
	struct cost_line line;
	struct wander wander; /* what passes have in common with those before and after them */
	struct diagnosis diagnosis;
	bool link_known, card_known; /* measured rates were given */
	struct growth_set growths, framed; /* of stored costs, without stalls; in steps of frames */
	struct culprits culprits; /* at judged_bytes */
	enum frames_evidence frames;
	uint64_t judged_bytes; /* the usual request, or the nearest size that was measured */
	struct stalls stalls; /* waits among usual requests */
	struct phase_parts phases; /* not known: they were not seen */
	/* The rates as given without which other causes would be as likely: bits 1 << enum explain_given. */
	unsigned rests_on;
	bool doubt_in_turn; /* the other direction does not take turns */
	/* What the rates named alone is contradicted by its phases: they have too little of this part. */
	bool phases_against;
	enum cause against; /* that they do not bear out */
	double phases_typical[RUN_PHASE_COUNT]; /* s that half of the commands take at most */
	bool bus_shared; /* other devices moved data on the bus */
	bool phases_apart; /* they add up to another time than the rates have */
	bool phases_stalled; /* stalls are part of their means */
	unsigned ruled_out; /* by them, of what the rates allowed: bits 1 << enum cause */
	bool buffered; /* writes that were acknowledged before the card had them */
	bool backlog; /* stalls are reads that wait for earlier writes */
	double behind; /* acknowledged over stored, at its largest */
	uint64_t behind_at; /* request size there */
	double behind_flush_s; /* storing after the last answer there, mean */
	bool behind_flushed; /* it was the closing flush that waited for it */
	double behind_bytes; /* what was still on its way: that time at the stored rate */
	const struct usb_link *usb; /* NULL: not a USB link, or its speed is unknown */
};

struct explanation {
	struct explained *tables; /* by direction, order, in flight */
	size_t count;
	struct explain_known known;
};

/* 0, or -1 with *err. A run without usable passes gives count 0. */
int explanation_make(struct explanation *e, const struct run *run,
	const struct explain_known *known, struct error *err);
void explanation_release(struct explanation *e);

/* The first table of that direction and fewest in flight, sequential before random; NULL when there is none. */
const struct explained *explanation_of(const struct explanation *e, enum run_direction direction);

#endif
