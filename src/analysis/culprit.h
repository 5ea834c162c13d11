/* What limits a gadget: the causes that the figures allow, from how time grows with size and from what is known of link
 * and card.
 *
 * Every explanation of the figures is tried: stages in turn or overlapped, costs of a request, a sector, the host, the
 * bus's frames, the card's units. Those that need no value made up to fit rule out the others. Each of the rest says how
 * much time each cause takes, that is, by how much a request would be shorter without it. What all of them name is
 * sure; causes named by some only can't be told apart by these figures and are named together. */
#ifndef ANALYSIS_CULPRIT_H
#define ANALYSIS_CULPRIT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/cause.h"
#include "analysis/frames.h"
#include "analysis/growth.h"

/* A stage's rate in B/s as somebody knows it. */
struct stage_known {
	double rate; /* measured, right to within 5 %; 0: not given */
	double ceiling; /* it cannot be faster; 0: no such bound known */
};

struct culprit_input {
	const struct growth_set *growths;
	/* the same if requests wait for frames of the bus, which time then follows in steps; NULL: they don't, or the
	 * shapes above hold either way */
	const struct growth_set *framed;
	uint64_t bytes; /* the request looked at */
	double pieces; /* device requests it makes */
	double block_bytes;
	unsigned in_flight;
	bool write;
	bool behind; /* writes are known to be acknowledged before the card has them */
	bool may_buffer; /* or they may be */
	/* behind: what host, link and firmware take of the request at the most, until it is acknowledged; 0: not known */
	double front_s;
	struct stage_known link, card;
	double frame_s; /* of the bus; 0: none, or not known */
	double frame_bytes_per_s; /* data at most, in whole frames */
	enum frames_evidence frames;
	bool doubt_in_turn; /* something else says that link and card do not take turns */
	double stall_s; /* of such a request, in the long run */
	double backlog_s; /* of such a request: waits for earlier writes */
};

/* Time is removed from a request of `seconds`; low and high over the explanations that name the cause. */
struct culprit {
	enum cause cause;
	double share_low, share_high;
	double seconds_low, seconds_high; /* of the request without the cause */
};

enum culprit_doubt {
	CULPRIT_NO_SHAPE = 1, /* time follows size in none of the known ways */
	CULPRIT_NOT_STORED, /* writes that are only shown to be acknowledged; for the caller to set */
	CULPRIT_TOO_FEW, /* sizes too few, so that nothing checks the shape, or too near each other */
	CULPRIT_LINK_BEATEN, /* the stated link is slower than what was measured */
	CULPRIT_CARD_BEATEN,
	CULPRIT_IMPOSSIBLE, /* it rests on a rate above what the link or the card's bus carries; for the caller to set */
	CULPRIT_PHASES_AGAINST, /* the phases on the bus contradict it; for the caller to set */
};

/* Do link and card take turns? As far as their rates say. */
enum turns { TURNS_OPEN, TURNS_SHOWN, TURNS_REFUTED };

struct culprits {
	enum turns turns;
	struct culprit list
		[CAUSE_COUNT]; /* what limits: all that can't be told apart; largest share first */
	size_t count; /* >= 1 */
	/* The least of it is what would be saved if requests in flight hid as long a pause of the host as they can. */
	bool pause_may_hide;
	/* What comes after them in every explanation: one cause, or a fixed cost with all the names it may have. */
	struct culprit next[CAUSE_COUNT];
	size_t next_count;
	struct culprit perhaps; /* takes CULPRIT_SHARE or more in some explanation */
	bool perhaps_known;
	double seconds; /* of the request now */
	double fixed_s; /* of it, whatever its size */
	enum culprit_doubt doubt; /* why it is unknown; 0 */
};

/* From this share of the time on, what firmware or host can change counts before link and card. */
#define CULPRIT_SHARE 0.20
/* Below this share of the largest one a cause is the next, not one of them. */
#define CULPRIT_NEAR 0.75
/* Named by every explanation with at least CULPRIT_SHARE and this share of the largest one, it is sure, and rules out
 * those that are not. */
#define CULPRIT_SURE 0.6
/* From this share on it stands beside link or card. */
#define CULPRIT_BESIDE 0.15

void culprits_find(struct culprits *c, const struct culprit_input *in);

/* Takes back what was named. */
void culprits_give_up(struct culprits *c, enum culprit_doubt doubt);

bool culprits_have(const struct culprits *c, enum cause cause);

#endif
