/* What limits one direction: measured rates set against link and card, and what follows. Numbers and classes only;
 * the sentences are made by the report. */
#ifndef ANALYSIS_DIAGNOSE_H
#define ANALYSIS_DIAGNOSE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/cost.h"
#include "analysis/usb.h"

struct diagnose_input {
	const struct cost_line *line;
	const struct cost_point *points;
	size_t point_count; /* >= 1 */
	uint64_t usual_bytes; /* the request size the host uses most */
	const struct usb_link *usb; /* NULL: not known */
	double link; /* B/s, measured by the user; 0: not given */
	double card; /* B/s in this direction, measured by the user; 0: not given */
	double card_ceiling; /* B/s, of the card's bus; 0: not given */
	double behind; /* acknowledged over stored rate where they differ most; 1 or less: no difference */
};

enum stage_verdict {
	STAGES_UNKNOWN, /* link or card is not known */
	STAGES_SLOWER, /* below STAGES_SLACK of one after the other: neither explains it */
	STAGES_IN_TURN, /* degree of overlap below 0.25 */
	STAGES_PARTLY,
	STAGES_OVERLAPPED, /* degree above 0.75 */
	STAGES_FASTER, /* more than 5 % above the slower stage: link or card is faster than stated */
};

#define STAGES_SLACK 0.85

/* One request size. */
struct stage_budget {
	uint64_t bytes;
	bool interpolated; /* this size was not measured: taken from its neighbours */
	double measured; /* B/s */
	double packed,
		phased; /* B/s the link could reach with such requests (analysis/usb.h); 0: unknown */
	double link, card; /* B/s used below; 0: unknown */
	double in_turn, overlapped, degree;
	double unexplained_s; /* of each request, beyond link and card one after the other */
	enum stage_verdict verdict;
	enum stage_verdict verdict_at_ceiling; /* with the link at its table ceiling instead */
	double link_if_in_turn; /* the link rate that would make it exactly one after the other; 0: none */
};

enum diagnosis_finding {
	FINDING_FLAT = 1 << 0, /* rate hardly grows with size and is far below link (and card) */
	FINDING_FLAT_OR_CARD = 1 << 1, /* the same, but the card itself may be that slow */
	FINDING_FIXED_DOMINATES = 1 << 2, /* half of a usual request or more is fixed cost */
	/* a usual or the largest request within 10 % of the link's bound */
	FINDING_AT_LINK = 1 << 3,
	/* near the bound of one phase a frame: maybe the host, not the card */
	FINDING_FRAME_BOUND = 1 << 4,
	FINDING_BEHIND = 1 << 5, /* acknowledged before stored */
	FINDING_LINK_ASSUMED = 1 << 6, /* a stage verdict rests on a link rate nobody measured */
	FINDING_LINK_DECIDES = 1 << 7, /* the stage verdict changes with the link rate */
	FINDING_CARD_IS_CEILING = 1 << 8, /* the card's rate is only its bus's ceiling */
};

struct diagnosis {
	struct stage_budget usual, largest;
	unsigned findings; /* enum diagnosis_finding */
	double fixed_share; /* of a usual request's time, 0..1; 0 when there is no line */
	double flat_reference; /* B/s that FLAT was judged against */
	bool phased_beaten; /* some size is faster than one phase a frame: that bound is not in force here */
};

void diagnose(struct diagnosis *d, const struct diagnose_input *in);

const char *stage_verdict_name(enum stage_verdict v); /* "one after the other", ... */

#endif
