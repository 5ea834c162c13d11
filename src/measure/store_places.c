/* Does the rate depend on the place, or on writing it again? */
#include "measure/store.h"

#include <math.h>

#include "measure/store_inside.h"

enum {
	AGAIN_REQUESTS = 16,
	AGAIN_BUFFERS = 8,
};

#define AGAIN_S 0.1
/* By the pace of the bursts, what is asked of places takes no longer than that; else it is not asked. */
#define PLACE_S 20.0
#define AGAIN_MOST_S 40.0
#define AGAIN_DIFFERS 1.1

/* ---- a place, or a buffer? ---- */

/* A full buffer is full wherever one writes: with no pause, back at the places that were quick, requests have to wait as well.
 * Where they do not, it was the place that slowed the burst down. */
static int is_place(struct store *s, bool *place, const struct watch *watch)
{
	uint64_t request = s->evidence.request_bytes, room, ns, next, took, sum = 0;
	uint64_t n = (uint64_t)(s->bursts.shape.knee_bytes / (double)request);
	bool full;
	int rc = store_fill_up(s, &room, &ns, &full, watch);

	*place = false;
	if (rc < 0 || !full)
		return rc;
	n = n < 2 * FULL_REQUESTS ? 2 * FULL_REQUESTS : n;
	next = s->at;
	s->at = s->bursts.full.at;
	for (uint64_t i = 0; i < n && !watch_should_stop(watch); i++) {
		rc = store_write_next(s, request, &took);
		if (rc < 0)
			return rc;
		sum += i < n / 2 ? 0 : took;
	}
	s->at = next;
	*place = sum < (n - n / 2) * s->wait_ns;
	return 0;
}

int store_tell_place(struct store *s, const struct watch *watch)
{
	double bytes = 3 * store_knee_bytes(&s->evidence);
	bool place = false;
	int rc = 0;

	if (s->held && !s->in_starts && bytes < PLACE_LOOK &&
		bytes < PLACE_S * s->evidence.drain_bps)
		rc = is_place(s, &place, watch);
	if (!place)
		return rc;
	store_doubt(s);
	/* Nor was a buffer seen full, by which a flush might be judged. */
	s->evidence.by_place = true;
	s->evidence.held_up = false;
	s->evidence.buffer_bytes = s->evidence.head_bps = s->evidence.drain_bps = 0;
	return rc;
}

/* ---- written before, or not? ---- */

double store_pushes_out(const struct store *s)
{
	const struct store_evidence *e = &s->evidence;

	return 1.1 * fmax(store_knee_bytes(e), s->fills_bytes) + 2 * (double)e->request_bytes;
}

/* Large ones tell most of the card. */
static uint64_t again_request(const struct store *s)
{
	return s->held ? s->evidence.request_bytes : store_usual_request(s->plan);
}

/* So much goes before the timed bytes: with the buffer full, what is stored while these are written. */
static uint64_t again_lead(const struct store *s)
{
	uint64_t request = again_request(s);
	double bytes = s->held    ? store_pushes_out(s)
		       : s->level ? AGAIN_REQUESTS * (double)request
				  : 0;

	return (uint64_t)bytes / request * request;
}

/* Enough to tell; of a buffer in fits and starts several rounds. */
static uint64_t again_timed(const struct store *s)
{
	const struct storing_burst *f = &s->bursts.full;
	uint64_t request = again_request(s);
	double bytes = fmax(AGAIN_REQUESTS * (double)request, f->bytes / f->ack_s * AGAIN_S);

	if (s->in_starts)
		bytes = fmax(bytes, AGAIN_BUFFERS * s->evidence.buffer_bytes);
	return (uint64_t)bytes / request * request;
}

/* Bytes a second, of bursts with all that they left to be stored. */
static double pace(const struct store *s)
{
	const struct storing_burst *f = &s->bursts.full;

	return s->held ? s->evidence.drain_bps : f->bytes / (f->ack_s + f->flush_s + f->wait_s);
}

/* *seconds: until the timed bytes were stored, as this target's passes tell it. */
static int write_there(struct store *s, uint64_t at, double *seconds, const struct watch *watch)
{
	struct store_look l = { .request_bytes = again_request(s), .most_ns = first_ns };
	struct storing_burst b = { 0 };
	int rc = 0;

	s->at = at;
	l.most_bytes = again_lead(s);
	if (l.most_bytes)
		rc = store_burst(s, &l, &b, watch);
	l.most_bytes = again_timed(s);
	if (!rc && (s->held || s->level))
		rc = store_burst(s, &l, &b, watch);
	else if (!rc)
		rc = store_whole_burst(s, &l, &b, watch);
	*seconds = s->held || s->level ? b.ack_s : b.bytes / store_told_rate(s, &b, s->told_by);
	return rc;
}

/* Clearly longer: each of them than each of the others. */
static bool is_longer(const double *a, const double *b)
{
	double least = a[0], most = b[0];

	for (int i = 1; i < STORING_REPEATS; i++) {
		least = fmin(least, a[i]);
		most = fmax(most, b[i]);
	}
	return least > AGAIN_DIFFERS * most;
}

int store_learn_again(struct store *s, const struct watch *watch)
{
	const struct store_plan *p = s->plan;
	struct store_evidence *e = &s->evidence;
	uint64_t each = again_lead(s) + again_timed(s), all = 2 * STORING_REPEATS * each;
	uint64_t at = s->at;
	double first[STORING_REPEATS], again[STORING_REPEATS];
	int rc = 0;

	/* Bursts lie one behind the other: once they came round, no place is left that was not written. */
	if (e->by == PASS_NOT_SHOWN || all > AGAIN_LOOK || s->written + all > p->region_bytes ||
		!((double)all < AGAIN_MOST_S * pace(s)))
		return 0;
	for (int i = 0; !rc && i < STORING_REPEATS; i++) {
		if (at + each > p->region_start + p->region_bytes)
			at = p->region_start;
		rc = write_there(s, at, &first[i], watch);
		if (!rc)
			rc = write_there(s, at, &again[i], watch);
		at = s->at;
	}
	if (rc || (!is_longer(first, again) && !is_longer(again, first)))
		return rc;
	e->again_bytes = again_timed(s);
	e->first_ns = (uint64_t)(1e9 * store_middle_of(first, STORING_REPEATS));
	e->again_ns = (uint64_t)(1e9 * store_middle_of(again, STORING_REPEATS));
	return 0;
}
