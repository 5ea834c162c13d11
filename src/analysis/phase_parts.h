/* What the phases of requests say of a gadget: which part of the time belongs to what it did, and how much of that grows with
 * the size. No inference from rates: these times were seen on its bus, or modelled. */
#ifndef ANALYSIS_PHASE_PARTS_H
#define ANALYSIS_PHASE_PARTS_H

#include <stdbool.h>
#include <stddef.h>

/* Link and card take turns by the phases where the shorter of the two takes that much of both: a cost per sector that only
 * happens to be as long as the data is the less likely the longer they are (ours). */
#define PHASES_TURN_SHARE 0.35

/* Means of a request of one size, in s. */
struct phase_size {
	double bytes;
	double command, data, status, host;
};

enum phase_part {
	PART_FETCH, /* reads: the data came later than the link needs */
	PART_REFUSE, /* writes: the data was taken more slowly than the link brings it */
	PART_STORE, /* work after the data, before the status */
	PART_NOT_READY, /* the command was taken late: still at work on the one before */
	PART_HOST, /* the host, in between */
	PART_LINK, /* the data on the link */
	PART_COUNT
};

struct phase_amount {
	double seconds, share; /* of the request looked at */
	bool line_known; /* two sizes at least, whose times lie on a line to within 10 % of the request's */
	double fixed, per_byte; /* s, s/B: seconds = fixed + per_byte * bytes; both >= 0 */
	double last_per_byte; /* from half the largest size on: what has stopped growing by then grows with no data */
};

struct phase_parts {
	bool known;
	bool link_beaten; /* the data took less time for each byte than that of the link */
	bool link_known; /* else PART_FETCH, PART_REFUSE and PART_LINK are 0, and so is the gain */
	double link, card; /* s/B, as given; 0: not known */
	double wait; /* s, as given */
	double bytes, seconds; /* the request looked at */
	struct phase_amount list[PART_COUNT];
	struct phase_amount data; /* the whole of that phase, whatever the link needs of it */
	/* Most that moving data and working on them at the same time could save of it; 0: nothing. By the phases alone a gadget
	 * that works on all data afterwards and one whose work just takes longer than the data look alike; what the card takes
	 * tells them apart. */
	double gain;
	bool gain_likely; /* it works for as long as the card does, which speaks for that, though longer work may end so by chance */
};

/* Sizes rise. wanted: the request looked at is the nearest of them. link, card: s/B that they need; 0: not known, as the link is
 * taken when the data is faster than that. wait: s that each phase may last only because its bus waits for a frame. */
struct phase_parts phase_parts_of(const struct phase_size *sizes, size_t count, bool write,
	double wanted, double link, double card, double wait);

#endif
