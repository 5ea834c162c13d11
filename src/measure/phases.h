/* Where the time of requests goes, phase by phase, while a pass runs: from the kernel's USB monitor on a thread of its own,
 * or from a model. */
#ifndef MEASURE_PHASES_H
#define MEASURE_PHASES_H

#include <stdbool.h>
#include <stdint.h>

#include "measure/histogram.h"
#include "medium/command_times.h"

struct error;
struct medium;
struct phases;
struct usbmon_filter;

/* Why there is nothing to show. */
enum phases_state {
	PHASES_NOT_WATCHED,
	PHASES_SEEN,
	PHASES_DROPPED, /* the monitor lost events */
	PHASES_BROKEN, /* commands that came to no status, or resets */
	PHASES_OTHERS, /* not just the commands of this pass */
	PHASES_CLOCK, /* the wall clock was set meanwhile, by which the monitor tells the time */
};

enum { PHASES_STATES = 6 };

/* Of the reads, or the writes, of one pass. */
struct phase_times {
	enum phases_state state;
	uint64_t commands, bytes;
	uint64_t
		others; /* commands in between that move no such data, such as the kernel's look for a medium */
	bool others_slow; /* these took more than 5 % of the time: what the pass timed is not its own work alone */
	bool bus_shared; /* other devices moved more than 5 % as much on that bus meanwhile */
	uint64_t dropped; /* events lost, whosever they were */
	struct histogram
		ns[COMMAND_PHASES]; /* a command each; the host's: where there is one before it */
};

/* What all commands of an observation add up to, by what they did and how much. */
enum { PHASES_SIZES = 24 };

struct phases_sum {
	uint64_t commands, bytes;
	/* the host's without the time between commands, in which nobody may have wanted anything */
	uint64_t ns[COMMAND_PHASES];
	uint64_t longest_ns; /* of one command */
};

struct phases_tally {
	enum phases_state state; /* SEEN, DROPPED or CLOCK */
	uint64_t dropped, broken;
	/* by enum command_deed and size: up to 512 B << index */
	struct phases_sum sums[COMMAND_DEEDS][PHASES_SIZES];
};

/* Watches a model (filter NULL) or that disk on its bus. 0, or -1 with *err: what is in the way. */
int phases_open(struct phases **out, struct medium *m, const struct usbmon_filter *filter,
	struct error *err);
void phases_close(struct phases *p); /* closing NULL does nothing */

/* From here on reads (or writes) of that many bytes are noted in *into. */
void phases_begin(struct phases *p, bool write, uint64_t request_bytes, struct phase_times *into);
/* Takes what the monitor still has of it, and judges it: `bytes` were moved by the caller's own count. */
void phases_end(struct phases *p, uint64_t bytes);

/* The same for everything that is sent from here on. */
void phases_begin_all(struct phases *p, struct phases_tally *into);
void phases_end_all(struct phases *p);

/* Sums up the commands of one kind from here to the end. p may be NULL: nothing is seen. Not while a pass or an observation
 * is noted. */
void phases_begin_stretch(struct phases *p, enum command_deed deed);
void phases_end_stretch(struct phases *p, struct command_sum *out);

#endif
