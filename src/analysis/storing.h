/* What shows when a target has stored what it acknowledged. Bursts of writes of three lengths are timed: until the last
 * answer, through a flush, and until single reads take their usual time again. A flush, or the wait of a read, counts as
 * storing when
 *   - it answers to the burst: it waits for what the burst left behind, as much as that must be;
 *   - a byte more takes as long after a short burst as in the long run, so that no start is mistaken for a rate;
 *   - no burst seems stored faster than that: who comes back early gives himself away there;
 *   - reads wait for storing, and do not take turns with it: many short waits hold storing up as long as the reads take.
 * Where neither does, only a buffer that was seen to be full tells: writes then go at the pace of storing.
 * Pure. The thresholds are judgements of ours (common practice, no source). */
#ifndef ANALYSIS_STORING_H
#define ANALYSIS_STORING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/curve.h"

struct storing_burst {
	double bytes;
	double ack_s; /* first request sent to last answered */
	double flush_s; /* of the flush right after; 0 without one */
	double wait_s; /* after that, until reads took their usual time: beyond that usual time */
	double reads_s; /* of wait_s: what reads take anyway, which did not end it */
	uint64_t at; /* where its first request went */
};

enum { STORING_REPEATS = 3 };

/* How the requests of a burst took their time. */
struct storing_times {
	double median_s;
	double time_median_s; /* half of the time is in requests that took that long or longer */
	double long_ones,
		longer_ones; /* requests that took half, or one and a half, of that or longer */
	double requests; /* all of them */
};

/* How acknowledgements of a long burst went: freely all along, or freely at first and then held up. */
struct storing_shape {
	bool known; /* enough of them to tell */
	bool knee; /* held up */
	bool in_starts; /* in fits and starts: most of the time in single requests, the others free */
	double head_rate, drain_rate; /* B/s; the same without a knee */
	double buffer_bytes; /* how far ahead of storing the target goes; 0 without a knee */
	double knee_bytes; /* acknowledged when the buffer was full */
};

void storing_shape_of(
	struct storing_shape *out, const struct curve *c, const struct storing_times *times);

struct storing_bursts {
	double request_bytes;
	bool flushes; /* the target takes flushes */
	double idle_flush_s; /* with nothing to store */
	double flush_resolution_s, read_resolution_s; /* what can be told from noise */
	struct storing_burst one[STORING_REPEATS], two[STORING_REPEATS]; /* two is longer */
	struct storing_burst full; /* the burst whose shape that is */
	struct storing_shape shape;
};

enum storing_by {
	STORING_NOT_SHOWN, /* neither, though a buffer was seen full: writes may be timed while it is */
	STORING_LEVEL, /* neither, and nothing held the writes up: no backlog shows at all */
	STORING_FLUSH,
	STORING_SETTLED,
};

enum storing_by storing_judge(const struct storing_bursts *b);

/* The bursts to compare those with a pause with: the shorter ones that leave enough to see, as the less is left, the shorter
 * the pauses that can be told from noise. STORING_REPEATS of them. */
const struct storing_burst *storing_plain(const struct storing_bursts *b, enum storing_by by);

/* A pause between such a burst and its flush (or the reads) that can be told from noise, in seconds: as long as storing half
 * of what is left takes. Gaps between its requests, all in all: the least. */
double storing_long_pause(
	const struct storing_bursts *b, enum storing_by by, const struct storing_burst *plain);
double storing_gaps(
	const struct storing_bursts *b, enum storing_by by, const struct storing_burst *plain);

/* A target that stores by itself uses such a pause: that much less is left to wait for; and with gaps all is stored as soon
 * as without. One that stores only when it is flushed, read or left alone for a while does not, and what was measured holds
 * for that use alone. plain, paused: STORING_REPEATS each; the ack_s of those with gaps has them in it. */
bool storing_uses_pause(const struct storing_bursts *b, enum storing_by by,
	const struct storing_burst *plain, const struct storing_burst *paused, double pause_s);
bool storing_uses_gaps(const struct storing_bursts *b, enum storing_by by,
	const struct storing_burst *plain, const struct storing_burst *paused, double gaps_s);

#endif
