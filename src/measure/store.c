/* Evidence of storing. */
#include "measure/store.h"

#include <math.h>
#include <string.h>

#include "base/imprint.h"
#include "measure/payload.h"
#include "measure/phases.h"
#include "measure/store_inside.h"
#include "medium/medium.h"

enum {
	FIRST_LOOK = 8 * MIB, /* twice the largest buffer that is likely in such a gadget */
	LONG_LOOK = 64 * MIB, /* with no evidence so far: a slow leak fills a buffer late */
	SMALL_LOOK = 8 * MIB, /* the same in small requests */
	PACE_LOOK = 16 * MIB, /* held up: is that the pace it keeps? */
	FINER = 8,
	EMPTY_REQUESTS = 4, /* of that size: the time they take empties a smaller buffer */
	FLUSHES = 3,
	PAIRS = 7, /* of a write and its flush */
};

/* Of the time, in requests of seldom_wait_ns and more. */
#define SELDOM_SHARE 0.1

static const uint64_t long_ns = UINT64_C(45000000000), small_ns = UINT64_C(20000000000),
		      pace_ns = UINT64_C(20000000000), seldom_wait_ns = 1000000000,
		      pairs_ns = 2000000000;

/* ---- before anything is timed ---- */

uint64_t store_most_bytes(const struct store_plan *p)
{
	return 2 * store_within_region(p, FIRST_LOOK) + store_within_region(p, LONG_LOOK) +
	       store_within_region(p, SMALL_LOOK) + store_within_region(p, PACE_LOOK) +
	       store_within_region(p, PLACE_LOOK) + store_within_region(p, AGAIN_LOOK) +
	       (PAIRS + 1) * (p->smallest_bytes + p->largest_bytes);
}

int store_init(struct store *s, struct medium *m, const struct store_plan *plan,
	struct pass_buffers *buffers)
{
	*s = (struct store){ .medium = m, .plan = plan, .buffers = buffers };
	/* Away from the start, where a card may keep quicker cells for the tables of its filesystem. */
	s->at = plan->region_start;
	if (plan->largest_bytes)
		s->at += plan->region_bytes / 2 / plan->largest_bytes * plan->largest_bytes;
	flusher_init(&s->flusher, m);
	return probe_init(&s->probe, m, plan->seed);
}

void store_release(struct store *s)
{
	probe_release(&s->probe);
}

/* Flushes with nothing to store. The very first may store what others left behind: it does not count. */
static int learn_flush(struct store *s, const struct watch *watch)
{
	double v[FLUSHES], bus[FLUSHES], host[FLUSHES], waited;
	int rc = store_flush_timed(s, &v[0]);
	double first = v[0];
	bool seen = true;

	rc = rc < 0 ? rc : store_settle(s, &waited, NULL, watch);
	for (int i = 0; !rc && i < FLUSHES; i++) {
		rc = store_flush_timed(s, &v[i]);
		bus[i] = (double)command_sum_wait_ns(&s->on_bus.flush) / 1e9;
		host[i] = fmax(0, v[i] - bus[i]);
		seen = seen && s->on_bus.flush.seen;
	}
	if (rc)
		return rc;
	if (seen) {
		s->flush_host_s = store_middle_of(host, FLUSHES);
		s->evidence.idle_flush_on_bus_ns = (uint64_t)(store_middle_of(bus, FLUSHES) * 1e9);
	}
	s->flush_seen = seen;
	s->bursts.idle_flush_s = store_middle_of(v, FLUSHES);
	s->bursts.flush_resolution_s = 0.0005 + 3 * (v[FLUSHES - 1] - v[0]);
	if (s->flusher.way == FLUSHER_REFUSED) /* once: it is not asked again */
		s->bursts.idle_flush_s = first;
	s->bursts.read_resolution_s = (double)(s->probe.limit_ns - s->probe.usual_ns) / 1e9;
	return 0;
}

/* ---- evidence from one request size ---- */

/* As short as the passes to come, and four times that; neither beyond what waits after the long burst, be it by its shape or
 * by the time that something waited for. */
static void choose_lengths(const struct store *s, uint64_t request, uint64_t *one, uint64_t *two)
{
	const struct storing_bursts *b = &s->bursts;
	double rate = b->full.bytes / b->full.ack_s;
	double waited = (b->full.flush_s + b->full.wait_s) * rate;
	double most = b->shape.knee ? b->shape.buffer_bytes : waited;
	double pass = rate * (double)s->plan->pass_ns / 2e9;
	uint64_t n = (uint64_t)(fmin(fmin(most / 8, pass), b->full.bytes / 32) / (double)request);

	n = n < 4 ? 4 : n;
	*one = n * request;
	*two = 4 * n * request;
}

static int short_bursts(struct store *s, uint64_t request, const struct watch *watch)
{
	struct store_look l = { .request_bytes = request, .most_ns = first_ns };
	uint64_t one, two;
	int rc = 0;

	choose_lengths(s, request, &one, &two);
	for (int i = 0; !rc && i < STORING_REPEATS; i++) {
		l.most_bytes = one;
		store_rest(s);
		rc = store_whole_burst(s, &l, &s->bursts.one[i], watch);
		l.most_bytes = two;
		store_rest(s);
		if (!rc)
			rc = store_whole_burst(s, &l, &s->bursts.two[i], watch);
	}
	return rc;
}

static bool responds(const struct store *s)
{
	const struct storing_bursts *b = &s->bursts;

	return b->full.wait_s > b->read_resolution_s ||
	       (b->flushes && b->full.flush_s - b->idle_flush_s > b->flush_resolution_s);
}

static void note_burst(struct store *s, uint64_t request)
{
	const struct storing_burst *f = &s->bursts.full;
	const struct storing_shape *shape = &s->bursts.shape;
	struct store_evidence *e = &s->evidence;

	e->request_bytes = request;
	e->burst_bytes = (uint64_t)f->bytes;
	e->burst_ns = (uint64_t)(f->ack_s * 1e9);
	e->burst_flush_ns = (uint64_t)(f->flush_s * 1e9);
	e->burst_wait_ns = (uint64_t)(f->wait_s * 1e9);
	/* In fits and starts, what is left depends on the moment. */
	if (!shape->in_starts)
		e->on_bus = s->full_on_bus;
	e->reads_wait = f->wait_s > s->bursts.read_resolution_s;
	e->held_up = shape->knee;
	e->buffer_bytes = shape->knee ? shape->buffer_bytes : 0;
	e->head_bps = shape->knee ? shape->head_rate : 0;
	e->drain_bps = shape->knee ? shape->drain_rate : 0;
}

/* How often long requests come, where that is often enough for a pass to be fair to them. */
static void take_period(struct store *s)
{
	const struct histogram *h = &s->buffers->latencies[0];
	uint64_t limit = store_long_request(h), ns = 0;

	if (limit)
		ns = h->sum / store_count_from(h, limit);
	s->period_ns = ns <= level_patience_ns ? ns : 0;
	/* Small requests may be too slow to show in time what others did. */
	if (ns && ns <= held_period_ns)
		s->period_bytes = s->bursts.full.bytes / (double)store_count_from(h, limit);
}

/* Long waits that take a good part of the time, but come too seldom for passes: a large buffer that is stored as a whole now
 * and then, or a card that stalls. Either way it does not keep the pace it has between them. */
static void take_seldom(struct store *s)
{
	const struct histogram *h = &s->buffers->latencies[0];
	uint64_t n = store_count_from(h, seldom_wait_ns), time = 0;

	for (size_t i = histogram_bin(seldom_wait_ns); i < HISTOGRAM_BINS; i++)
		time += h->bins[i] * histogram_bin_upper(i);
	if (n && (double)time > SELDOM_SHARE * (double)h->sum)
		s->seldom_bytes = s->bursts.full.bytes / (double)n;
}

static int look(struct store *s, const struct store_look *l, const struct watch *watch)
{
	int rc = store_whole_burst(s, l, &s->bursts.full, watch);

	if (rc)
		return rc;
	s->full_on_bus = s->on_bus;
	store_take_shape(s);
	take_period(s);
	take_seldom(s);
	return 0;
}

/* At the pace that is known now, so much of the first burst was not stored when it ended: the buffer holds that at least. */
static void raise_buffer(struct store *s, const struct storing_burst *first)
{
	struct storing_shape *shape = &s->bursts.shape;
	double backlog = first->bytes - shape->drain_rate * first->ack_s;

	/* If none of that was stored in between, it holds that and what has filled it now. */
	s->fills_bytes = shape->knee ? first->bytes + shape->knee_bytes : 0;
	if (!shape->knee || shape->in_starts || backlog <= shape->buffer_bytes)
		return;
	s->most_held_bytes = backlog + shape->buffer_bytes;
	shape->buffer_bytes = backlog;
	if (shape->head_rate > shape->drain_rate)
		shape->knee_bytes =
			backlog * shape->head_rate / (shape->head_rate - shape->drain_rate);
}

/* Nothing answers. Held up, does it keep that pace? Never held up, is it held up later? */
static int look_longer(struct store *s, uint64_t request, const struct watch *watch)
{
	struct storing_burst first = s->bursts.full;
	struct store_on_bus first_on_bus = s->full_on_bus;
	struct storing_shape shape = s->bursts.shape;
	struct store_look l = { .request_bytes = request };
	int rc;

	l.until_knee = !shape.knee;
	l.most_bytes = store_within_region(s->plan, shape.knee ? PACE_LOOK : LONG_LOOK);
	l.most_ns = shape.knee ? pace_ns : long_ns;
	/* A buffer that was filled late in the first burst would be full all through this one, which shows no knee then. */
	if (!shape.knee)
		medium_idle_ns(s->medium, (uint64_t)(first.ack_s * 1e9));
	rc = look(s, &l, watch);
	if (!rc && !shape.knee)
		raise_buffer(s, &first);
	if (rc || !shape.knee)
		return rc;
	if (s->bursts.shape.buffer_bytes >= shape.buffer_bytes || s->bursts.shape.in_starts)
		return 0;
	/* It began full: what the first burst showed of the buffer holds, but not of the pace it keeps. */
	if (s->bursts.shape.drain_rate < shape.head_rate)
		shape.drain_rate = s->bursts.shape.drain_rate;
	s->bursts.shape = shape;
	s->bursts.full = first;
	s->full_on_bus = first_on_bus;
	return 0;
}

static int repeat_bursts(struct store *s, const struct store_look *l,
	struct storing_burst out[STORING_REPEATS], const struct watch *watch)
{
	int rc = 0;

	for (int i = 0; !rc && i < STORING_REPEATS; i++) {
		store_rest(s);
		rc = store_whole_burst(s, l, &out[i], watch);
	}
	return rc;
}

/* What begins to store when it has been left alone for a while uses a long pause. */
static int try_long_pause(struct store *s, uint64_t request, enum storing_by by, bool *used,
	const struct watch *watch)
{
	const struct storing_burst *plain = storing_plain(&s->bursts, by);
	struct storing_burst paused[STORING_REPEATS];
	double pause_s = storing_long_pause(&s->bursts, by, plain);
	struct store_look l = { .request_bytes = request,
		.most_bytes = (uint64_t)plain->bytes,
		.most_ns = first_ns,
		.pause_ns = (uint64_t)(pause_s * 1e9) };
	int rc = repeat_bursts(s, &l, paused, watch);

	*used = storing_uses_pause(&s->bursts, by, plain, paused, pause_s);
	return rc;
}

/* But not many short ones, between requests: the smaller these are, the shorter, down to what is no wait for anybody. */
static int try_gaps(struct store *s, uint64_t request, enum storing_by by, bool *used,
	const struct watch *watch)
{
	const struct storing_burst *usual = storing_plain(&s->bursts, by);
	uint64_t fine = request / FINER / s->probe.unit * s->probe.unit;
	struct storing_burst plain[STORING_REPEATS], paused[STORING_REPEATS];
	struct store_look l = { .request_bytes = fine < s->probe.unit ? request : fine,
		.most_bytes = (uint64_t)usual->bytes,
		.most_ns = first_ns };
	int rc = repeat_bursts(s, &l, plain, watch);
	double gaps_s = storing_gaps(&s->bursts, by, plain);
	uint64_t count = l.most_bytes / l.request_bytes;

	/* Small requests may leave nothing. */
	if (!rc && storing_long_pause(&s->bursts, by, plain) <
			   storing_long_pause(&s->bursts, by, usual) / 2) {
		memcpy(plain, usual, sizeof plain);
		l.request_bytes = request;
		gaps_s = storing_gaps(&s->bursts, by, plain);
		count = l.most_bytes / request;
	}
	l.gap_ns = (uint64_t)(gaps_s * 1e9 / (double)count);
	s->gaps_ns = 0;
	if (!rc)
		rc = repeat_bursts(s, &l, paused, watch);
	/* They may have been longer than asked for. */
	gaps_s = (double)s->gaps_ns / STORING_REPEATS / 1e9;
	*used = storing_uses_gaps(&s->bursts, by, plain, paused, gaps_s);
	return rc;
}

/* What is stored only because it is flushed, read or left alone does not count as stored while nobody does that. */
static int try_pause(
	struct store *s, uint64_t request, enum storing_by *by, const struct watch *watch)
{
	bool used = true;
	int rc = try_long_pause(s, request, *by, &used, watch);

	if (!rc && used)
		rc = try_gaps(s, request, *by, &used, watch);
	if (rc || used)
		return rc;
	s->evidence.waits_for_idle = true;
	*by = STORING_NOT_SHOWN;
	return 0;
}

static bool is_shown(enum storing_by by)
{
	return by == STORING_FLUSH || by == STORING_SETTLED;
}

/* A long burst, and if anything waits for what that left, what it makes of shorter ones. */
static int examine_quickly(struct store *s, uint64_t request, bool small, enum storing_by *by,
	const struct watch *watch)
{
	struct store_look first = { .request_bytes = request,
		.most_bytes = store_within_region(s->plan, small ? SMALL_LOOK : FIRST_LOOK),
		.most_ns = small ? small_ns : first_ns,
		.until_knee = true };
	int rc = look(s, &first, watch);

	if (!rc && responds(s))
		rc = short_bursts(s, request, watch);
	if (rc)
		return rc;
	*by = storing_judge(&s->bursts);
	return is_shown(*by) ? try_pause(s, request, by, watch) : 0;
}

/* What holds few requests, or little more than what is on its way, shows in smaller ones. */
static int examine_finer(
	struct store *s, uint64_t *request, enum storing_by *by, const struct watch *watch)
{
	struct storing_bursts coarse = s->bursts;
	struct store_on_bus coarse_on_bus = s->full_on_bus;
	uint64_t fine = *request / FINER / s->probe.unit * s->probe.unit;
	enum storing_by found = *by;
	int rc;

	if (fine < s->probe.unit)
		return 0;
	s->bursts.request_bytes = (double)fine;
	rc = examine_quickly(s, fine, false, &found, watch);
	if (rc || is_shown(found)) {
		*by = found;
		*request = fine;
		return rc;
	}
	s->bursts = coarse;
	s->full_on_bus = coarse_on_bus;
	return 0;
}

/* B/s of the last quarter of the burst, by the clock. 0: it can't be told. */
static double late_rate(const struct curve *c)
{
	size_t i = c->count ? c->count - 1 : 0;
	double end = c->count ? c->seconds[i] : 0, bytes = c->count ? c->bytes[i] : 0;

	while (i && c->seconds[i - 1] > 0.75 * end)
		i--;
	return i && c->seconds[i] < end ? (bytes - c->bytes[i]) / (end - c->seconds[i]) : 0;
}

/* Bursts that a large buffer took whole show how fast it stores when it is flushed or left alone. While it is written to it
 * may store more slowly: a longer one that fills it shows that, and if so, only a full buffer tells. */
static int try_full(
	struct store *s, uint64_t request, enum storing_by *by, const struct watch *watch)
{
	struct storing_burst first = s->bursts.full;
	struct store_on_bus first_on_bus = s->full_on_bus;
	struct storing_shape shape = s->bursts.shape;
	struct store_look l = { .request_bytes = request,
		.most_bytes = store_within_region(s->plan, LONG_LOOK),
		.most_ns = long_ns,
		.until_knee = true };
	double late;
	int rc;

	store_rest(s);
	rc = look(s, &l, watch);
	if (rc)
		return rc;
	late = s->bursts.shape.knee ? s->bursts.shape.drain_rate : late_rate(&s->curve);
	if (late > 0 && late < KEEPS_UP * store_told_rate(s, &first, *by)) {
		*by = STORING_NOT_SHOWN;
		return 0;
	}
	if (s->bursts.shape.knee)
		return 0; /* seen full, and at the same pace: that is the burst to speak of */
	/* Freely, if it did not end more slowly. */
	if (late * s->bursts.full.ack_s >= KEEPS_UP * s->bursts.full.bytes)
		s->longest_bytes = (uint64_t)s->bursts.full.bytes;
	s->bursts.full = first;
	s->full_on_bus = first_on_bus;
	s->bursts.shape = shape;
	return 0;
}

static int examine_size(struct store *s, uint64_t *request, bool small, enum storing_by *by,
	const struct watch *watch)
{
	int rc;

	s->bursts.request_bytes = (double)*request;
	rc = examine_quickly(s, *request, small, by, watch);
	if (!rc && !is_shown(*by) && responds(s))
		rc = examine_finer(s, request, by, watch);
	if (!rc && is_shown(*by) && !s->bursts.shape.knee) {
		rc = try_full(s, *request, by, watch);
		if (rc || !is_shown(*by))
			return rc;
	}
	if (rc || is_shown(*by))
		return rc;
	/* Small requests found nothing: they have been looked at for long enough. */
	rc = small && *by == STORING_LEVEL ? 0 : look_longer(s, *request, watch);
	if (!rc && s->bursts.shape.knee && *by == STORING_LEVEL)
		*by = STORING_NOT_SHOWN;
	return rc;
}

static uint64_t written_freely(const struct store *s)
{
	return s->longest_bytes ? s->longest_bytes : (uint64_t)s->bursts.full.bytes;
}

static void prepare_held(struct store *s, uint64_t request)
{
	const struct storing_shape *shape = &s->bursts.shape;
	double head = (double)request / shape->head_rate,
	       drain = (double)request / shape->drain_rate;

	s->held = true;
	s->in_starts = shape->in_starts;
	s->wait_ns = shape->in_starts ? s->long_ns : (uint64_t)(sqrt(head * drain) * 1e9);
}

static void conclude(struct store *s, enum storing_by by, uint64_t request)
{
	struct store_evidence *e = &s->evidence;

	if (by == STORING_LEVEL && s->seldom_bytes > 0) {
		e->buffer_bytes = s->seldom_bytes;
		return;
	}
	s->told_by = by;
	if (by == STORING_FLUSH)
		e->by = PASS_STORED_FLUSH;
	else if (by == STORING_SETTLED)
		e->by = PASS_STORED_SETTLED;
	else if (s->bursts.shape.knee || by == STORING_LEVEL)
		e->by = PASS_STORED_STEADY;
	s->level = by == STORING_LEVEL;
	if (e->by == PASS_STORED_STEADY && !s->level)
		prepare_held(s, request);
}

/* A card that keeps up with large requests may not with small ones, which cost it more each. */
static int examine_small(struct store *s, uint64_t *request, enum storing_by *by, uint64_t *freely,
	const struct watch *watch)
{
	int rc;

	/* A small buffer, too small to show in large requests, is still full of the last of them. */
	medium_idle_ns(s->medium, (uint64_t)(EMPTY_REQUESTS * 1e9 * (double)*request *
					     s->bursts.full.ack_s / s->bursts.full.bytes));
	*request = s->plan->smallest_bytes;
	rc = examine_size(s, request, true, by, watch);
	*freely = store_least(*freely, written_freely(s));
	return rc;
}

void store_host_was_away(struct store *s)
{
	s->evidence.host_away = true;
	store_doubt(s);
}

/* What the device itself counted, and what was asked of it. */
struct tally {
	struct medium_counts counts;
	uint64_t read, written;
	bool known;
};

static struct tally tally_of(struct store *s)
{
	struct tally t = { .read = s->probe.bytes, .written = s->written };

	/* The kernel counts a request a moment after it answered. */
	medium_idle_ns(s->medium, 2000000);
	t.known = medium_counts(s->medium, &t.counts) == 0;
	return t;
}

/* A reset throws away what waits, and others' requests wait with ours: nothing tells then. */
static void compare_tallies(struct store *s, const struct tally *before)
{
	struct store_evidence *e = &s->evidence;
	struct tally after = tally_of(s);
	const struct medium_counts *a = &before->counts, *b = &after.counts;

	if (!before->known || !after.known)
		return;
	if (a->errors_known && b->errors_known && b->errors > a->errors)
		e->device_errors = b->errors - a->errors;
	/* After an error the kernel asks again: nobody else's doing. */
	e->foreign = !e->device_errors &&
		     (b->read_bytes - a->read_bytes > after.read - before->read ||
			     b->written_bytes - a->written_bytes > after.written - before->written);
	if (e->device_errors || e->foreign)
		store_doubt(s);
}

static int examine_sizes(struct store *s, const struct watch *watch)
{
	uint64_t request = store_usual_request(s->plan), freely;
	enum storing_by by = STORING_NOT_SHOWN;
	int rc = examine_size(s, &request, false, &by, watch);

	if (rc)
		return rc;
	freely = written_freely(s);
	if (by == STORING_LEVEL && s->plan->smallest_bytes < request)
		rc = examine_small(s, &request, &by, &freely, watch);
	if (rc)
		return rc;
	note_burst(s, request);
	s->evidence.free_bytes = freely;
	conclude(s, by, request);
	return 0;
}

static int flushed_write(struct store *s, uint64_t length, double *seconds)
{
	uint64_t write_ns;
	double flush_s = 0;
	int rc = store_write_next(s, length, &write_ns);

	if (!rc)
		rc = store_flush_timed(s, &flush_s);
	*seconds = (double)write_ns / 1e9 + flush_s;
	return rc;
}

/* One behind the other; the first comes after something else. */
static int flushed_writes(
	struct store *s, uint64_t length, struct store_flushed *out, const struct watch *watch)
{
	uint64_t began = medium_now_ns(s->medium);
	double took[PAIRS + 1] = { 0 }, waited;
	size_t n = 0;
	int rc = 0;

	while (!rc && n <= PAIRS && (n < 2 || medium_since_ns(s->medium, began) < pairs_ns)) {
		if (watch_should_stop(watch))
			return 1;
		rc = flushed_write(s, length, &took[n++]);
	}
	if (!rc)
		*out = (struct store_flushed){ length,
			(uint64_t)(store_middle_of(took + 1, n - 1) * 1e9) };
	/* A flush that leaves some of it leaves nothing to what comes next. */
	return rc ? rc : store_settle(s, &waited, NULL, watch);
}

/* What a host that flushes each write will see. Whether it is stored then is another matter. */
static int learn_flushed(struct store *s, const struct watch *watch)
{
	const struct store_plan *p = s->plan;
	int rc;

	if (!flusher_works(&s->flusher))
		return 0;
	rc = flushed_writes(s, p->smallest_bytes, &s->evidence.flushed[0], watch);
	if (!rc && p->largest_bytes > p->smallest_bytes)
		rc = flushed_writes(s, p->largest_bytes, &s->evidence.flushed[1], watch);
	return rc;
}

/* Errors of a target that refuses a flush, or does not answer it, come before the first burst: they disturb none. */
static int examine(struct store *s, const struct watch *watch)
{
	struct tally before;
	int rc;

	phases_begin_stretch(s->plan->phases, DEED_READ);
	rc = probe_learn(&s->probe);
	phases_end_stretch(s->plan->phases, &s->evidence.usual_reads);
	if (!rc)
		rc = learn_flush(s, watch);
	if (rc)
		return rc;
	s->bursts.flushes = flusher_works(&s->flusher);
	before = tally_of(s);
	rc = examine_sizes(s, watch);
	if (!rc)
		rc = store_tell_place(s, watch);
	if (!rc)
		rc = store_learn_again(s, watch);
	if (!rc)
		rc = learn_flushed(s, watch);
	if (!rc)
		compare_tallies(s, &before);
	return rc;
}

int store_examine(struct store *s, const struct watch *watch)
{
	struct store_evidence *e = &s->evidence;
	int rc;

	s->bursts =
		(struct storing_bursts){ .request_bytes = (double)store_usual_request(s->plan) };
	payload_fill(s->buffers->memory[0], (size_t)s->plan->largest_bytes, s->plan->seed);
	imprint_put(s->buffers->memory[0], (size_t)s->plan->largest_bytes, s->buffers->seed);
	rc = examine(s, watch);
	e->flusher = s->flusher.way;
	e->idle_flush_ns = (uint64_t)(s->bursts.idle_flush_s * 1e9);
	e->usual_read_ns = s->probe.usual_ns;
	e->failed_reads = s->probe.failed;
	return rc;
}
