/* One request size against link and card: what is known of them, and the rates they allow. Which of it limits is told by
 * culprit.h; the sentences are made by the report. */
#ifndef ANALYSIS_DIAGNOSE_H
#define ANALYSIS_DIAGNOSE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/cost.h"
#include "analysis/usb.h"

struct diagnose_input {
	const struct cost_line *line;
	const struct cost_point *points; /* until all was stored */
	size_t point_count; /* >= 1 */
	uint64_t usual_bytes; /* the request size looked at */
	double block_bytes;
	double fixed_s; /* of a request, whatever its size */
	const struct usb_link *usb; /* NULL: not known */
	double link; /* B/s, measured by the user; 0: not given */
	double card; /* B/s in this direction, measured by the user; 0: not given */
	double card_ceiling; /* B/s, of the card's bus; 0: not given */
};

struct stage_budget {
	uint64_t bytes;
	bool interpolated; /* this size was not measured: taken from its neighbours */
	double measured; /* B/s */
	double link, card; /* B/s used below; 0: unknown */
	bool link_is_ceiling, card_is_ceiling; /* no measured rates */
	/* B/s with the fixed cost: link and card one after the other; overlapped, the first block's way in included. 0:
	 * link or card is unknown */
	double in_turn, overlapped;
};

struct diagnosis {
	struct stage_budget usual;
	bool phased_beaten; /* some size is faster than one phase a frame: that bound is not in force here */
	double fastest; /* B/s at any size */
	bool link_beaten, card_beaten; /* the stated rate, or the ceiling, is below that */
	bool link_impossible, card_impossible; /* the stated rate is above the ceiling */
};

void diagnose(struct diagnosis *d, const struct diagnose_input *in);

/* A stated rate may be off by so much. */
#define DIAGNOSE_SLACK 0.06

#endif
