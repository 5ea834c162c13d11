/* Passes, timed by what the evidence says of the target. */
#include "measure/store.h"

#include <math.h>
#include <string.h>

#include "measure/store_inside.h"
#include "medium/medium.h"

enum {
	OWN_READS = 50, /* what reads take of the time of storing: at most one in so much */
	LEVEL_REQUESTS = 16, /* of a pass, at least, to see that it is level */
	STARTS_REQUESTS = 64, /* between two waits: so that one more or less does not matter */
	STARTS_BUFFERS =
		4, /* in fits and starts: written before a pass may end without having waited */
	HELD_TRIES = 2,
	WAITING_SHARE = 4, /* timed from one wait to another: so much of the pass at least */
	COARSE_BUFFERS =
		24, /* of a pass whose requests are no smaller: how full it is at either end is chance */
};

/* A buffer in fits and starts that no request of a pass ever met full: of what was written, at most. */
#define STARTS_HIDDEN 0.06
/* Clearly longer: by that much; as fast, as far as own_rate can tell. */
#define HELD_TIMES 1.05

static const uint64_t held_patience_ns = UINT64_C(120000000000);

/* Push-back within a pass: its second half clearly slower than its first, stalls aside. */
static bool slows_down(const struct pass_result *r)
{
	double v[PASS_TRACE_MAX], half[2];
	unsigned n = r->trace_steps / 2;

	if (n < 4 || (r->waits && !pass_waits_evenly(r->waits, r->requests)))
		return false; /* few steps, or a rate in fits and starts: halves differ */
	for (int h = 0; h < 2; h++) {
		for (unsigned i = 0; i < n; i++)
			v[i] = (double)r->trace[(unsigned)h * n + i];
		half[h] = store_middle_of(v, n);
	}
	return half[0] > 1.08 * half[1];
}

static int settle_after(
	struct store *s, struct pass_result *out, bool *settled, const struct watch *watch)
{
	int rc = probe_settle(&s->probe, &out->settle_ns, settled, watch);

	if (rc < 0 && !out->failure.failed)
		out->failure = (struct pass_failure){
			.failed = true, .code = rc, .wanted = s->probe.unit, .probe = true
		};
	return rc < 0 ? rc : 0;
}

static bool never_passed(const struct pass_result *r)
{
	return r->flush_on_bus.seen && !r->flush_on_bus.commands;
}

/* Flush and settle: both count as storing where they do store. */
static void take_stored(struct store *s, struct pass_result *out, bool settled)
{
	uint64_t idle = s->evidence.idle_flush_ns, wait = out->settle_ns;
	uint64_t flush = (uint64_t)(1e9 * store_without_host(s, &out->flush_on_bus,
						  (double)out->flush_ns / 1e9));

	flush = flush > idle ? flush - idle : 0;
	if (!settled || (s->evidence.by == PASS_STORED_FLUSH && never_passed(out)))
		return;
	out->stored_ns = out->busy_ns + flush;
	if (s->evidence.by == PASS_STORED_FLUSH && wait * 10 < out->stored_ns) {
		out->stored_by = PASS_STORED_FLUSH;
		return;
	}
	if (s->probe.own_ns * OWN_READS > out->stored_ns + wait) {
		out->stored_ns = 0; /* reads took turns with storing */
		return;
	}
	/* Reads still waited after the flush, or they are what tells. */
	out->stored_by = PASS_STORED_SETTLED;
	if (wait)
		out->stored_ns = out->busy_ns + out->flush_ns + wait;
}

/* From nothing left to store to nothing left to store. */
static int pass_emptied(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	const struct watch *watch)
{
	bool settled = true;
	int rc = pass_run(s->medium, plan, s->buffers, out, watch);

	if (rc < 0 || out->failure.failed || out->interrupted)
		return rc;
	if (s->probe.usual_ns)
		rc = settle_after(s, out, &settled, watch);
	if (rc == 0 && !s->flusher.fell_silent && s->evidence.by != PASS_NOT_SHOWN)
		take_stored(s, out, settled);
	return 0; /* a read that failed is told as a failure of the pass */
}

/* The flush after it waited for more than is lost in noise: so there is a backlog after all, at this request size. */
static bool backlog(const struct store *s, const struct pass_result *r)
{
	uint64_t idle = s->evidence.idle_flush_ns + (uint64_t)(s->bursts.flush_resolution_s * 1e9);

	return r->flush_ns > idle + r->busy_ns / 50;
}

/* Writes before a pass, untimed. What disturbs them disturbs the pass. */
struct lead {
	uint64_t bytes, device_errors;
	bool foreign;
};

static struct lead lead_of(const struct pass_result *r, uint64_t bytes_before)
{
	return (struct lead){ bytes_before + r->bytes, r->device_errors, r->foreign };
}

static void add_lead(struct pass_result *r, const struct lead *l)
{
	r->lead_bytes = l->bytes;
	r->device_errors += l->device_errors;
	r->foreign = r->foreign || l->foreign;
}

/* Timed after what `out` has of it so far, and from one long wait to another where single requests waited long there. */
static int level_timed(struct store *s, struct pass_plan *timed, struct pass_result *out,
	const struct watch *watch)
{
	struct lead before = lead_of(out, out->lead_bytes);
	int rc;

	timed->wait_ns = store_long_request(&out->latency_ns);
	rc = pass_run(s->medium, timed, s->buffers, out, watch);
	add_lead(out, &before);
	return rc;
}

/* Single requests waited for long, and it is not timed from one of them to another. Stalls are told as such (PASS_STALL_TIMES);
 * others may be a small buffer that is stored as a whole. */
static bool is_unfair(const struct pass_plan *timed, const struct pass_result *r)
{
	return r->waits < 2 && !r->stalls && (timed->wait_ns || store_long_request(&r->latency_ns));
}

/* Nothing ever held writes up for good. A quarter of the pass goes before it, untimed: a target that begins anew after a
 * flush is quicker at first. */
static int pass_level(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	const struct watch *watch)
{
	struct pass_plan lead = *plan, timed = *plan;
	int rc;

	lead.duration_ns = plan->duration_ns / 4;
	if (lead.duration_ns < s->period_ns + s->period_ns / 2)
		lead.duration_ns = s->period_ns + s->period_ns / 2;
	lead.least_bytes =
		(uint64_t)fmax(LEVEL_REQUESTS * (double)plan->request_bytes, 1.5 * s->period_bytes);
	lead.least_requests = 0;
	lead.flusher = NULL;
	lead.phases = NULL;
	lead.seed = random_at(plan->seed, 1);
	rc = pass_run(s->medium, &lead, s->buffers, out, watch);
	if (rc < 0 || out->failure.failed || out->interrupted)
		return rc;
	timed.wait_requests = STARTS_REQUESTS;
	timed.patience_ns =
		store_least(level_patience_ns, 2 * plan->duration_ns + 3 * s->period_ns);
	timed.least_bytes = LEVEL_REQUESTS * plan->request_bytes;
	rc = level_timed(s, &timed, out, watch);
	timed.patience_ns = held_period_ns;
	if (rc == 0 && !out->failure.failed && !out->interrupted && is_unfair(&timed, out))
		rc = level_timed(s, &timed, out, watch);
	if (rc < 0 || out->failure.failed || out->interrupted || slows_down(out) || backlog(s, out))
		return rc;
	out->stored_by = PASS_STORED_STEADY;
	out->stored_ns = out->busy_ns;
	return 0;
}

/* What was written in a row from one full buffer to the next. */
struct stretch {
	uint64_t bytes, ns; /* of the pass and its lead */
	uint64_t lead_bytes; /* written before the timed ones */
	bool rounds; /* timed from one long wait to another */
	uint64_t room, room_ns; /* what went in after it, until it was full again */
};

/* B/s at which requests of the pass were stored: the buffer that was full of bursts went first, at their rate; what the
 * top-up did not push out is still there, and what it put in beyond that pushed out some of its own. 0: it can't be told. */
static double own_rate(const struct store *s, const struct stretch *w, double buffer)
{
	const struct store_evidence *e = &s->evidence;
	double left = fmax(buffer - (double)w->room, 0);
	double bursts = fmax(buffer, (double)w->room);
	double seconds = (double)(w->ns + w->room_ns) / 1e9 - bursts / e->drain_bps;

	return seconds > 0 ? ((double)w->bytes - left) / seconds : 0;
}

/* A buffer in fits and starts that no request met full may have been filled by the pass with none of it, or with all. In the
 * middle that is off by half. */
static double hidden_in_starts(const struct store *s, const struct stretch *w)
{
	double share = s->evidence.buffer_bytes / (double)w->bytes;

	return share > STARTS_HIDDEN ? 1 : share / 2;
}

/* Did all requests wait for room: for clearly longer than such a one takes where there is room? */
static bool is_held(const struct store *s, const struct pass_result *r)
{
	for (unsigned i = 0; i < s->free_count; i++)
		if (s->free_times[i].request_bytes == r->bytes / r->requests)
			return (double)r->busy_ns >
			       HELD_TIMES * (double)(s->free_times[i].ns * r->requests);
	return false;
}

/* Requests that did not wait may come more slowly than they are stored, or may be filling what they found: then they were
 * stored more slowly than that. */
static bool keeps_up(const struct store *s, const struct pass_result *r, const struct stretch *w)
{
	double least = KEEPS_UP * (double)r->bytes * 1e9 / (double)r->busy_ns;

	/* Where two bursts filled it together it holds more than that by an unknown part. */
	return own_rate(s, w, s->evidence.buffer_bytes) > least &&
	       own_rate(s, w, fmax(s->evidence.buffer_bytes, s->most_held_bytes)) > least;
}

/* Nearly all take so long, and about as long as each other. */
static bool is_even(const struct histogram *h, uint64_t wait_ns)
{
	return store_count_from(h, wait_ns) * 10 >= h->total * 9 &&
	       histogram_quantile(h, 0.9) < 2 * histogram_quantile(h, 0.1);
}

static int burst_failed(const struct store *s, struct pass_result *out)
{
	out->failure = s->failure;
	return 0;
}

/* How a pass with the buffer full is timed, by how requests before it waited: from one that waited for room to another, and
 * where only single ones do, for long, over several of their rounds: true. */
static bool time_by_waits(
	const struct store *s, const struct pass_result *before, struct pass_plan *timed)
{
	const struct histogram *h = &before->latency_ns;
	uint64_t rare = s->in_starts ? 0 : store_long_request(h);
	double buffer = s->evidence.buffer_bytes;

	timed->wait_ns = s->in_starts ? s->wait_ns : rare ? rare : store_time_median(h) / 2;
	if (s->in_starts || rare || !is_even(h, timed->wait_ns))
		timed->wait_requests = STARTS_REQUESTS;
	if (s->in_starts)
		timed->least_bytes = (uint64_t)(STARTS_BUFFERS * buffer);
	else if (rare)
		timed->least_bytes = STARTS_BUFFERS * timed->request_bytes * h->total /
				     store_count_from(h, rare);
	else if (buffer < 2 * (double)timed->request_bytes)
		timed->least_bytes = (uint64_t)(COARSE_BUFFERS * buffer);
	return s->in_starts || rare;
}

static bool is_cut(int rc, const struct pass_result *r)
{
	return rc < 0 || r->failure.failed || r->interrupted;
}

/* One stretch of writes with the buffer full, after `before`; adds it to *w. */
static int held_stretch(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	struct stretch *w, const struct watch *watch)
{
	struct lead before = lead_of(out, w->lead_bytes);
	int rc = pass_run(s->medium, plan, s->buffers, out, watch);

	w->lead_bytes = before.bytes;
	add_lead(out, &before);
	w->bytes += out->bytes;
	w->ns += out->busy_ns;
	return rc;
}

/* It waited late in the pass only: it had to come to a place where it does, and what is timed there says nothing of where it
 * began. Rounds of a buffer come from the start on. */
static bool waits_in_places(const struct pass_result *r)
{
	return r->waits > 1 && r->requests * WAITING_SHARE < r->all_requests;
}

/* Timed; once more where single requests turn out to wait for long, so that it is fair to those. *fair: it is. */
static int held_timed(struct store *s, struct pass_plan *timed, struct pass_result *out,
	struct stretch *w, bool *fair, const struct watch *watch)
{
	int rc = 0;

	*fair = false;
	for (int i = 0; i < HELD_TRIES && !*fair; i++) {
		bool rounds = time_by_waits(s, out, timed);

		rc = held_stretch(s, timed, out, w, watch);
		if (is_cut(rc, out))
			return rc;
		w->rounds = rounds && out->waits > 1;
		*fair = (s->in_starts || w->rounds || !store_long_request(&out->latency_ns)) &&
			!waits_in_places(out);
	}
	return rc;
}

/* How long requests like these take where there is room: after a rest that would empty a buffer that is stored by itself.
 * Once for each size. */
static int learn_free(struct store *s, const struct pass_plan *lead, struct pass_result *out,
	struct stretch *w, const struct watch *watch)
{
	const struct store_evidence *e = &s->evidence;
	double fit = e->buffer_bytes / 2 / (double)lead->request_bytes;
	struct pass_plan few = *lead;
	int rc;

	for (unsigned i = 0; i < s->free_count; i++)
		if (s->free_times[i].request_bytes == lead->request_bytes)
			return 0;
	if (s->in_starts || s->free_count == STORE_FREE_MAX)
		return 0;
	medium_idle_ns(s->medium, (uint64_t)(1.5e9 * e->buffer_bytes / e->drain_bps));
	few.least_bytes = (uint64_t)fmin(fmax(fit, 1), FULL_REQUESTS) * lead->request_bytes;
	rc = held_stretch(s, &few, out, w, watch);
	if (!is_cut(rc, out))
		s->free_times[s->free_count++] = (struct store_free_time){ lead->request_bytes,
			histogram_quantile(&out->latency_ns, 0.5) };
	return rc;
}

/* With the buffer full: first filled with bursts, then with requests of the pass, so that what is drained is theirs. */
static int fill_held(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	struct stretch *w, bool *full, const struct watch *watch)
{
	struct pass_plan lead = *plan;
	struct stretch before = { 0 };
	int rc;

	lead.duration_ns = 0;
	lead.least_requests = 0;
	lead.flusher = NULL;
	lead.phases = NULL;
	lead.seed = random_at(plan->seed, 1);
	rc = learn_free(s, &lead, out, &before, watch);
	if (is_cut(rc, out))
		return rc;
	rc = store_fill_up(s, &w->lead_bytes, &w->room_ns, full, watch);
	if (rc < 0)
		return burst_failed(s, out);
	lead.least_bytes = (uint64_t)fmax(store_pushes_out(s), 1.5 * s->period_bytes);
	rc = held_stretch(s, &lead, out, w, watch);
	return rc;
}

/* Timed from one request that waited for room to another. */
static int pass_held(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	const struct watch *watch)
{
	struct pass_plan timed = *plan;
	struct stretch w = { 0 };
	bool full[2] = { false, false }, fair = false;
	double hidden = 0;
	int rc = fill_held(s, plan, out, &w, &full[0], watch);

	timed.flusher = NULL;
	timed.patience_ns = held_patience_ns;
	if (!is_cut(rc, out))
		rc = held_timed(s, &timed, out, &w, &fair, watch);
	if (is_cut(rc, out))
		return rc;
	/* From wait to wait: whatever it was that they waited for, it comes round. */
	if (w.rounds)
		full[0] = full[1] = true;
	else
		rc = store_fill_up(s, &w.room, &w.room_ns, &full[1], watch);
	if (rc < 0)
		return burst_failed(s, out);
	if (!full[0] || !full[1] || !fair || slows_down(out))
		return 0;
	if (s->in_starts && !w.rounds)
		hidden = hidden_in_starts(s, &w);
	else if (!w.rounds && !is_held(s, out) && !keeps_up(s, out, &w))
		hidden = 1;
	if (hidden > 0.5)
		return 0;
	out->stored_by = PASS_STORED_STEADY;
	out->stored_ns = (uint64_t)((double)out->busy_ns / (1 - hidden));
	return 0;
}

int store_pass(struct store *s, const struct pass_plan *plan, struct pass_result *out,
	const struct watch *watch)
{
	struct pass_plan flushed = *plan;

	flushed.flusher = &s->flusher;
	memset(out, 0, sizeof *out);
	if (s->held)
		return pass_held(s, plan, out, watch);
	return s->level ? pass_level(s, &flushed, out, watch)
			: pass_emptied(s, &flushed, out, watch);
}
