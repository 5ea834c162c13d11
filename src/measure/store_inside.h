/* What the parts of store.h share: bursts of writes and how long they take to be stored. Nobody else needs it. */
#ifndef MEASURE_STORE_INSIDE_H
#define MEASURE_STORE_INSIDE_H

#include <stdbool.h>
#include <stdint.h>

#include "measure/store.h"

enum {
	MIB = 1 << 20,
	FULL_REQUESTS = 8, /* whose mean tells that the buffer is full */
	PLACE_LOOK = 16 * MIB, /* held up: by a full buffer, or by a slow place? */
	AGAIN_LOOK = 16 * MIB, /* does it matter that a place was written before? */
};

/* As fast, as far as a pass can tell. */
#define KEEPS_UP 0.94

/* A burst at the most, where nothing asks for more; a pass that waits for the next long request, and between two. */
static const uint64_t first_ns = UINT64_C(15000000000), level_patience_ns = 2000000000,
		      held_period_ns = UINT64_C(10000000000);

/* A burst: until any of the first line is reached, or it has met the knee. */
struct store_look {
	uint64_t request_bytes, most_bytes, most_ns;
	uint64_t pause_ns; /* before the flush */
	uint64_t gap_ns; /* after each request */
	bool until_knee;
};

static inline uint64_t store_least(uint64_t a, uint64_t b)
{
	return a < b ? a : b;
}

/* ---- store_bursts.c ---- */

/* Writing the same places over and over, a buffer need never fill: bursts stay within twice the region. */
uint64_t store_within_region(const struct store_plan *p, uint64_t bytes);
/* From 64 KiB on requests tell rates well; larger ones only where the passes have no smaller. */
uint64_t store_usual_request(const struct store_plan *p);
/* At s->at, which goes on, and round. *took_ns: until it was acknowledged. 0 or a negative errno with s->failure. */
int store_write_next(struct store *s, uint64_t length, uint64_t *took_ns);
/* Writes and keeps the curve. 0, 1 (asked to stop) or a negative errno. */
int store_burst(struct store *s, const struct store_look *l, struct storing_burst *out,
	const struct watch *watch);
/* A burst, and what shows when it is stored. */
int store_whole_burst(struct store *s, const struct store_look *l, struct storing_burst *out,
	const struct watch *watch);
/* A flush, whoever sends it. 0 or a negative errno. */
int store_flush_timed(struct store *s, double *seconds);
/* Until reads take their usual time again. *reads_s: see struct storing_burst; NULL: not wanted. 0, 1 (asked to stop) or a
 * negative errno. */
int store_settle(struct store *s, double *seconds, double *reads_s, const struct watch *watch);
/* Long enough to store what the long burst left, so that no flush that leaves some finds it again. */
void store_rest(struct store *s);
/* Do the last requests wait for room: all of them somewhat, or the very last for long? */
bool store_waits(const struct store *s, const uint64_t *took, uint64_t n);
/* Bursts until requests wait for room. *room: bytes that went in; *ns: how long that took; *full: they do wait. 0 or a
 * negative errno. */
int store_fill_up(
	struct store *s, uint64_t *room, uint64_t *ns, bool *full, const struct watch *watch);
/* Of the curve, for s->bursts.shape. */
void store_take_shape(struct store *s);
/* B/s at which such a burst was stored, as that way tells it. */
double store_told_rate(const struct store *s, const struct storing_burst *b, enum storing_by by);
/* Acknowledged until it was full: what it holds at most, were nothing stored meanwhile. */
double store_knee_bytes(const struct store_evidence *e);
/* Nothing tells when this target stores. */
void store_doubt(struct store *s);
/* Where the bus shows it, what the host lost is no wait for the target: a flush that was answered at once has not stored,
 * whenever the host took notice. Nor has one that never passed. */
double store_without_host(const struct store *s, const struct command_sum *bus, double seconds);
/* Half of the time is in requests at least that long: where single ones wait long for room, theirs; else all are like
 * that. */
uint64_t store_time_median(const struct histogram *h);
/* How many took that long. */
uint64_t store_count_from(const struct histogram *h, uint64_t least_ns);
/* Long requests among quick ones, which take some of the time: what is longer than that is one of them. 0: there are none. */
uint64_t store_long_request(const struct histogram *h);
/* Of n > 0, which are sorted. */
double store_middle_of(double *v, size_t n);
/* How far it has come. */
void store_show(const struct store *s, const struct watch *watch, uint64_t bytes, uint64_t most);

/* ---- store_places.c ---- */

/* Whether a burst was slowed down by a full buffer or by a slow place. Where that would take more than PLACE_LOOK, or too
 * long, it is not asked. */
int store_tell_place(struct store *s, const struct watch *watch);
/* Bytes of a pass that push all bursts out of the buffer: how much it holds is known to a burst's request or two. */
double store_pushes_out(const struct store *s);
/* Places that were not written before in this run, and the same once more. */
int store_learn_again(struct store *s, const struct watch *watch);

#endif
