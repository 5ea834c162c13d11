/* Evidence of storing, and passes by it. */
#include "measure/store.h"

#include <errno.h>
#include <math.h>
#include <string.h>

#include "base/imprint.h"
#include "measure/payload.h"
#include "measure/phases.h"
#include "medium/medium.h"

enum {
	MIB = 1 << 20,
	FIRST_LOOK = 8 * MIB, /* twice the largest buffer that is likely in such a gadget */
	LONG_LOOK = 64 * MIB, /* with no evidence so far: a slow leak fills a buffer late */
	SMALL_LOOK = 8 * MIB, /* the same in small requests */
	PACE_LOOK = 16 * MIB, /* held up: is that the pace it keeps? */
	AGAIN_LOOK = 16 * MIB, /* does it matter that a place was written before? */
	AGAIN_REQUESTS = 16,
	AGAIN_BUFFERS = 8,
	PLACE_LOOK = 16 * MIB, /* held up: by a full buffer, or by a slow place? */
	USUAL_REQUEST =
		64 * 1024, /* for bursts: fast enough, and not too coarse for a small buffer */
	FINER = 8,
	EMPTY_REQUESTS = 4, /* of that size: the time they take empties a smaller buffer */
	KNEE_CHECK = 32, /* requests before the first look for a knee */
	FLUSHES = 3,
	PAIRS = 7, /* of a write and its flush */
	OWN_READS = 50, /* what reads take of the time of storing: at most one in so much */
	FULL_REQUESTS = 8, /* whose mean tells that the buffer is full */
	LEVEL_REQUESTS = 16, /* of a pass, at least, to see that it is level */
	STARTS_REQUESTS = 64, /* between two waits: so that one more or less does not matter */
	STARTS_BUFFERS =
		4, /* in fits and starts: written before a pass may end without having waited */
	HELD_TRIES = 2,
	WAITING_SHARE = 4, /* timed from one wait to another: so much of the pass at least */
	COARSE_BUFFERS =
		24, /* of a pass whose requests are no smaller: how full it is at either end is chance */
};

/* Of the time in long requests: less than that matters to no rate. */
#define LONG_SHARE 0.03
/* Of the time, in requests of seldom_wait_ns and more. */
#define SELDOM_SHARE 0.1
/* A buffer in fits and starts that no request of a pass ever met full: of what was written, at most. */
#define STARTS_HIDDEN 0.06
#define AGAIN_S 0.1
/* By the pace of the bursts, what is asked of places takes no longer than that; else it is not asked. */
#define PLACE_S 20.0
#define AGAIN_MOST_S 40.0
#define AGAIN_DIFFERS 1.1
/* Clearly longer: by that much; as fast, as far as own_rate can tell. */
#define HELD_TIMES 1.05
#define KEEPS_UP 0.94

static const uint64_t first_ns = UINT64_C(15000000000), long_ns = UINT64_C(45000000000),
		      small_ns = UINT64_C(20000000000), pace_ns = UINT64_C(20000000000),
		      knee_ns = 300000000, level_patience_ns = 2000000000,
		      held_patience_ns = UINT64_C(120000000000),
		      held_period_ns = UINT64_C(10000000000), seldom_wait_ns = 1000000000,
		      pairs_ns = 2000000000;

/* ---- bursts ---- */

static uint64_t least(uint64_t a, uint64_t b)
{
	return a < b ? a : b;
}

/* Writing the same places over and over, a buffer need never fill: bursts stay within twice the region. */
static uint64_t within_region(const struct store_plan *p, uint64_t bytes)
{
	return least(bytes, 2 * p->region_bytes);
}

uint64_t store_most_bytes(const struct store_plan *p)
{
	return 2 * within_region(p, FIRST_LOOK) + within_region(p, LONG_LOOK) +
	       within_region(p, SMALL_LOOK) + within_region(p, PACE_LOOK) +
	       within_region(p, PLACE_LOOK) + within_region(p, AGAIN_LOOK) +
	       (PAIRS + 1) * (p->smallest_bytes + p->largest_bytes);
}

static int write_next(struct store *s, uint64_t length, uint64_t *took_ns)
{
	const struct store_plan *p = s->plan;
	uint64_t before = medium_now_ns(s->medium);
	size_t got = 0;
	int rc;

	if (s->at + length > p->region_start + p->region_bytes)
		s->at = p->region_start;
	s->buffers->serial =
		payload_renew(s->buffers->memory[0], (size_t)length, s->buffers->serial);
	do
		rc = medium_write(s->medium, s->at, s->buffers->memory[0], (size_t)length, &got);
	while (rc == -EINTR);
	*took_ns = medium_since_ns(s->medium, before);
	if (rc < 0 || got != length) {
		s->failure = (struct pass_failure){
			.failed = true, .code = rc, .at = s->at, .wanted = length, .got = got
		};
		return rc < 0 ? rc : -EIO;
	}
	s->at += length;
	s->written += length;
	return 0;
}

/* Every stride-th acknowledgement; when the curve is full, every other one of them. */
static void curve_note(struct curve *c, uint64_t *stride, uint64_t n, double seconds, double bytes)
{
	if (n <= CURVE_MAX) {
		c->start_seconds[c->start_count] = seconds;
		c->start_bytes[c->start_count++] = bytes;
	}
	if (n % *stride)
		return;
	if (c->count == CURVE_MAX) {
		for (size_t i = 0; i < CURVE_MAX / 2; i++) {
			c->seconds[i] = c->seconds[2 * i + 1];
			c->bytes[i] = c->bytes[2 * i + 1];
		}
		c->count = CURVE_MAX / 2;
		*stride *= 2;
		if (n % *stride)
			return;
	}
	c->seconds[c->count] = seconds;
	c->bytes[c->count++] = bytes;
}

struct look {
	uint64_t request_bytes, most_bytes, most_ns;
	uint64_t pause_ns; /* before the flush */
	uint64_t gap_ns; /* after each request */
	bool until_knee;
};

/* Half of the time is in requests at least that long: where single ones wait long for room, theirs; else all are like
 * that. */
static uint64_t time_median(const struct histogram *h)
{
	uint64_t sum = 0;

	for (size_t i = HISTOGRAM_BINS; i-- > 0;) {
		sum += h->bins[i] * histogram_bin_upper(i);
		if (sum * 2 >= h->sum)
			return histogram_bin_upper(i);
	}
	return 0;
}

static uint64_t count_from(const struct histogram *h, uint64_t least_ns)
{
	uint64_t n = 0;

	for (size_t i = histogram_bin(least_ns); i < HISTOGRAM_BINS; i++)
		n += h->bins[i];
	return n;
}

/* Long requests among quick ones, which take some of the time: what is longer than that is one of them. 0: there are none. */
static uint64_t long_request(const struct histogram *h)
{
	uint64_t median = histogram_quantile(h, 0.5), limit = median + median / 2, n, time = 0;

	n = count_from(h, limit);
	for (size_t i = histogram_bin(limit); i < HISTOGRAM_BINS; i++)
		time += h->bins[i] * (histogram_bin_upper(i) - median);
	return n && (double)time > LONG_SHARE * (double)h->sum ? limit : 0;
}

/* Half of what is typical of the requests that take time. */
static uint64_t half_of_long(const struct histogram *h)
{
	uint64_t limit = long_request(h), sum = 0, all = 0;

	if (!limit)
		return time_median(h) / 2;
	for (size_t i = histogram_bin(limit); i < HISTOGRAM_BINS; i++)
		all += h->bins[i] * histogram_bin_upper(i);
	for (size_t i = HISTOGRAM_BINS; i-- > histogram_bin(limit);) {
		sum += h->bins[i] * histogram_bin_upper(i);
		if (sum * 2 >= all)
			return histogram_bin_upper(i) / 2;
	}
	return 0;
}

static void take_shape(struct store *s)
{
	const struct histogram *h = &s->buffers->latencies[0];
	uint64_t half = half_of_long(h);
	struct storing_times t = { .median_s = (double)histogram_quantile(h, 0.5) / 1e9,
		.time_median_s = (double)(2 * half) / 1e9,
		.long_ones = (double)count_from(h, half),
		.longer_ones = (double)count_from(h, 3 * half),
		.requests = (double)h->total };

	storing_shape_of(&s->bursts.shape, &s->curve, &t);
	s->long_ns = half;
}

static bool is_near(double a, double b)
{
	return fabs(a / b - 1) < 0.05;
}

/* Until a knee shows, and twice in the same place: the first sight of it may be half head, half tail. */
static bool should_end(struct store *s, const struct look *l, uint64_t ns, uint64_t bytes)
{
	struct storing_shape before = s->bursts.shape, *now = &s->bursts.shape;

	if (bytes >= l->most_bytes || ns >= l->most_ns)
		return true;
	if (!l->until_knee || ns < knee_ns)
		return false;
	take_shape(s);
	return before.knee && now->knee && is_near(before.buffer_bytes, now->buffer_bytes) &&
	       is_near(before.drain_rate, now->drain_rate);
}

static void show(const struct store *s, const struct watch *watch, uint64_t bytes, uint64_t most)
{
	struct watch_step step = { .phase = "looking at how writes are stored",
		.done = bytes,
		.total = most,
		.seconds_left = -1 };

	(void)s;
	watch_step(watch, &step);
}

static void leave_gap(struct store *s, uint64_t ns)
{
	uint64_t before = medium_now_ns(s->medium);

	if (!ns)
		return;
	medium_idle_ns(s->medium, ns);
	s->gaps_ns += medium_since_ns(s->medium, before);
}

/* Writes and keeps the curve. 0, 1 (asked to stop) or a negative errno. */
static int burst(
	struct store *s, const struct look *l, struct storing_burst *out, const struct watch *watch)
{
	uint64_t began = medium_now_ns(s->medium), ns = 0, bytes = 0, stride = 1, took;
	uint64_t check = KNEE_CHECK, first = s->at;
	int rc = 0;

	s->curve.count = s->curve.start_count = 0;
	if (l->until_knee)
		s->bursts.shape = (struct storing_shape){ 0 };
	histogram_init(&s->buffers->latencies[0]);
	for (uint64_t n = 1; !rc; n++) {
		if (watch_should_stop(watch))
			return 1;
		rc = write_next(s, l->request_bytes, &took);
		if (rc < 0)
			return rc;
		if (n == 1)
			first = s->at - l->request_bytes;
		histogram_add(&s->buffers->latencies[0], took);
		bytes += l->request_bytes;
		leave_gap(s, l->gap_ns);
		ns = medium_since_ns(s->medium, began);
		curve_note(&s->curve, &stride, n, (double)ns / 1e9, (double)bytes);
		if (n < check && bytes < l->most_bytes && ns < l->most_ns)
			continue;
		show(s, watch, bytes, l->most_bytes);
		if (should_end(s, l, ns, bytes))
			break;
		check = n + n / 4;
	}
	*out = (struct storing_burst){
		.bytes = (double)bytes, .ack_s = (double)ns / 1e9, .at = first
	};
	return rc;
}

/* Where the bus shows it, what the host lost is no wait for the target: a flush that was answered at once has not stored,
 * whenever the host took notice. Nor has one that never passed. */
static double without_host(const struct store *s, const struct command_sum *bus, double seconds)
{
	double most = (double)command_sum_wait_ns(bus) / 1e9 + s->flush_host_s;

	if (bus->seen && !bus->commands)
		return 0;
	return s->flush_seen && bus->seen ? fmin(seconds, most) : seconds;
}

static int flush_timed(struct store *s, double *seconds)
{
	uint64_t before;
	int rc;

	phases_begin_stretch(s->plan->phases, DEED_FLUSH);
	before = medium_now_ns(s->medium);
	rc = flusher_flush(&s->flusher);
	*seconds = (double)(medium_since_ns(s->medium, before)) / 1e9;
	phases_end_stretch(s->plan->phases, &s->on_bus.flush);
	*seconds = without_host(s, &s->on_bus.flush, *seconds);
	if (rc < 0)
		s->failure = (struct pass_failure){ .failed = true, .code = rc, .flush = true };
	return rc;
}

/* Nor is it a wait of a read: of what these reads took beyond their usual time, the bus must show at least half. */
static double reads_waited(const struct store *s, double seconds)
{
	const struct command_sum *bus = &s->on_bus.reads, *usual = &s->evidence.usual_reads;
	double reads = (double)bus->commands, each = (double)s->probe.usual_ns / 1e9, more, shown;

	if (!(seconds > 0) || !bus->seen || !usual->seen || !usual->commands)
		return seconds;
	/* The last ones took their usual time, and end the wait. */
	more = seconds - (reads - PROBE_IN_A_ROW - 1) * each;
	shown = (double)command_sum_wait_ns(bus) / 1e9 -
		reads * (double)command_sum_wait_ns(usual) / (double)usual->commands / 1e9;
	return shown < more / 2 ? fmax(0, seconds - more + fmax(0, shown)) : seconds;
}

/* *reads_s: see struct storing_burst; NULL: not wanted. */
static int settle(struct store *s, double *seconds, double *reads_s, const struct watch *watch)
{
	uint64_t wait = 0;
	bool settled;
	int rc;

	phases_begin_stretch(s->plan->phases, DEED_READ);
	rc = probe_settle(&s->probe, &wait, &settled, watch);
	phases_end_stretch(s->plan->phases, &s->on_bus.reads);
	*seconds = reads_waited(s, (double)wait / 1e9);
	if (reads_s)
		*reads_s = (double)s->probe.own_ns / 1e9;
	if (rc < 0)
		s->failure = (struct pass_failure){
			.failed = true, .code = rc, .wanted = s->probe.unit, .probe = true
		};
	return rc;
}

/* A burst, and what shows when it is stored. */
static int whole_burst(
	struct store *s, const struct look *l, struct storing_burst *out, const struct watch *watch)
{
	double flush_s = 0, wait_s = 0, reads_s = 0;
	int rc = burst(s, l, out, watch);

	s->on_bus = (struct store_on_bus){ { .seen = false }, { .seen = false } };
	if (!rc && l->pause_ns)
		medium_idle_ns(s->medium, l->pause_ns);
	if (!rc && flusher_works(&s->flusher))
		rc = flush_timed(s, &flush_s);
	if (!rc)
		rc = settle(s, &wait_s, &reads_s, watch);
	out->flush_s = flush_s;
	out->wait_s = wait_s;
	out->reads_s = reads_s;
	return rc;
}

/* ---- before anything is timed ---- */

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

static double middle_of(double *v, size_t n)
{
	for (size_t i = 1; i < n; i++)
		for (size_t k = i; k > 0 && v[k - 1] > v[k]; k--) {
			double held = v[k];

			v[k] = v[k - 1];
			v[k - 1] = held;
		}
	return v[n / 2];
}

/* Flushes with nothing to store. The very first may store what others left behind: it does not count. */
static int learn_flush(struct store *s, const struct watch *watch)
{
	double v[FLUSHES], bus[FLUSHES], host[FLUSHES], waited;
	int rc = flush_timed(s, &v[0]);
	double first = v[0];
	bool seen = true;

	rc = rc < 0 ? rc : settle(s, &waited, NULL, watch);
	for (int i = 0; !rc && i < FLUSHES; i++) {
		rc = flush_timed(s, &v[i]);
		bus[i] = (double)command_sum_wait_ns(&s->on_bus.flush) / 1e9;
		host[i] = fmax(0, v[i] - bus[i]);
		seen = seen && s->on_bus.flush.seen;
	}
	if (rc)
		return rc;
	if (seen) {
		s->flush_host_s = middle_of(host, FLUSHES);
		s->evidence.idle_flush_on_bus_ns = (uint64_t)(middle_of(bus, FLUSHES) * 1e9);
	}
	s->flush_seen = seen;
	s->bursts.idle_flush_s = middle_of(v, FLUSHES);
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

/* Long enough to store what the long burst left, so that no flush that leaves some finds it again. */
static void rest(struct store *s)
{
	const struct storing_burst *f = &s->bursts.full;

	medium_idle_ns(s->medium, (uint64_t)(1.5e9 * (f->flush_s + f->wait_s)));
}

static int short_bursts(struct store *s, uint64_t request, const struct watch *watch)
{
	struct look l = { .request_bytes = request, .most_ns = first_ns };
	uint64_t one, two;
	int rc = 0;

	choose_lengths(s, request, &one, &two);
	for (int i = 0; !rc && i < STORING_REPEATS; i++) {
		l.most_bytes = one;
		rest(s);
		rc = whole_burst(s, &l, &s->bursts.one[i], watch);
		l.most_bytes = two;
		rest(s);
		if (!rc)
			rc = whole_burst(s, &l, &s->bursts.two[i], watch);
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
	uint64_t limit = long_request(h), ns = 0;

	if (limit)
		ns = h->sum / count_from(h, limit);
	s->period_ns = ns <= level_patience_ns ? ns : 0;
	/* Small requests may be too slow to show in time what others did. */
	if (ns && ns <= held_period_ns)
		s->period_bytes = s->bursts.full.bytes / (double)count_from(h, limit);
}

/* Long waits that take a good part of the time, but come too seldom for passes: a large buffer that is stored as a whole now
 * and then, or a card that stalls. Either way it does not keep the pace it has between them. */
static void take_seldom(struct store *s)
{
	const struct histogram *h = &s->buffers->latencies[0];
	uint64_t n = count_from(h, seldom_wait_ns), time = 0;

	for (size_t i = histogram_bin(seldom_wait_ns); i < HISTOGRAM_BINS; i++)
		time += h->bins[i] * histogram_bin_upper(i);
	if (n && (double)time > SELDOM_SHARE * (double)h->sum)
		s->seldom_bytes = s->bursts.full.bytes / (double)n;
}

static int look(struct store *s, const struct look *l, const struct watch *watch)
{
	int rc = whole_burst(s, l, &s->bursts.full, watch);

	if (rc)
		return rc;
	s->full_on_bus = s->on_bus;
	take_shape(s);
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
	struct look l = { .request_bytes = request };
	int rc;

	l.until_knee = !shape.knee;
	l.most_bytes = within_region(s->plan, shape.knee ? PACE_LOOK : LONG_LOOK);
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

static int repeat_bursts(struct store *s, const struct look *l,
	struct storing_burst out[STORING_REPEATS], const struct watch *watch)
{
	int rc = 0;

	for (int i = 0; !rc && i < STORING_REPEATS; i++) {
		rest(s);
		rc = whole_burst(s, l, &out[i], watch);
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
	struct look l = { .request_bytes = request,
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
	struct look l = { .request_bytes = fine < s->probe.unit ? request : fine,
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
	struct look first = { .request_bytes = request,
		.most_bytes = within_region(s->plan, small ? SMALL_LOOK : FIRST_LOOK),
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

/* B/s at which such a burst was stored, as that way tells it. */
static double told_rate(const struct store *s, const struct storing_burst *b, enum storing_by by)
{
	double after = by == STORING_SETTLED ? b->flush_s + b->wait_s
					     : b->flush_s - s->bursts.idle_flush_s;

	return b->bytes / (b->ack_s + fmax(0, after));
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
	struct look l = { .request_bytes = request,
		.most_bytes = within_region(s->plan, LONG_LOOK),
		.most_ns = long_ns,
		.until_knee = true };
	double late;
	int rc;

	rest(s);
	rc = look(s, &l, watch);
	if (rc)
		return rc;
	late = s->bursts.shape.knee ? s->bursts.shape.drain_rate : late_rate(&s->curve);
	if (late > 0 && late < KEEPS_UP * told_rate(s, &first, *by)) {
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

/* From 64 KiB on requests tell rates well; larger ones only where the passes have no smaller. */
static uint64_t usual_request(const struct store_plan *p)
{
	uint64_t n = least(p->largest_bytes, USUAL_REQUEST);

	return n < p->smallest_bytes ? p->smallest_bytes : n;
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
	*freely = least(*freely, written_freely(s));
	return rc;
}

static void doubt(struct store *s)
{
	s->evidence.by = PASS_NOT_SHOWN;
	memset(s->evidence.flushed, 0, sizeof s->evidence.flushed);
	s->held = s->level = false;
}

void store_host_was_away(struct store *s)
{
	s->evidence.host_away = true;
	doubt(s);
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
		doubt(s);
}

static int examine_sizes(struct store *s, const struct watch *watch)
{
	uint64_t request = usual_request(s->plan), freely;
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
	int rc = write_next(s, length, &write_ns);

	if (!rc)
		rc = flush_timed(s, &flush_s);
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
			(uint64_t)(middle_of(took + 1, n - 1) * 1e9) };
	/* A flush that leaves some of it leaves nothing to what comes next. */
	return rc ? rc : settle(s, &waited, NULL, watch);
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

/* ---- a place, or a buffer? ---- */

/* Do the last requests wait for room: all of them somewhat, or the very last for long? */
static bool waits(const struct store *s, const uint64_t *took, uint64_t n)
{
	uint64_t sum = 0;

	if (s->in_starts)
		return took[(n - 1) % FULL_REQUESTS] >= s->wait_ns;
	for (int i = 0; i < FULL_REQUESTS; i++)
		sum += took[i];
	return n >= FULL_REQUESTS && sum > FULL_REQUESTS * s->wait_ns;
}

/* Acknowledged until it was full: what it holds at most, were nothing stored meanwhile. */
static double knee_bytes(const struct store_evidence *e)
{
	return e->head_bps > e->drain_bps
		       ? e->buffer_bytes * e->head_bps / (e->head_bps - e->drain_bps)
		       : e->buffer_bytes;
}

/* Bursts until requests wait for room. *room: bytes that went in; *ns: how long that took; *full: they do wait. 0 or a
 * negative errno. */
static int fill_up(
	struct store *s, uint64_t *room, uint64_t *ns, bool *full, const struct watch *watch)
{
	const struct store_evidence *e = &s->evidence;
	uint64_t began = medium_now_ns(s->medium), took[FULL_REQUESTS] = { 0 }, n = 0;
	/* Twice what the knee asked for, or something else is the matter. */
	double most = 2 * knee_bytes(e) / (double)e->request_bytes + 4 * FULL_REQUESTS;

	for (*full = false; !*full && (double)n < most && !watch_should_stop(watch);) {
		int rc = write_next(s, e->request_bytes, &took[n % FULL_REQUESTS]);

		if (rc < 0)
			return rc;
		*full = waits(s, took, ++n);
		show(s, watch, n, (uint64_t)most);
	}
	*room = n * e->request_bytes;
	*ns = medium_since_ns(s->medium, began);
	return 0;
}

/* A full buffer is full wherever one writes: with no pause, back at the places that were quick, requests have to wait as well.
 * Where they do not, it was the place that slowed the burst down. */
static int is_place(struct store *s, bool *place, const struct watch *watch)
{
	uint64_t request = s->evidence.request_bytes, room, ns, next, took, sum = 0;
	uint64_t n = (uint64_t)(s->bursts.shape.knee_bytes / (double)request);
	bool full;
	int rc = fill_up(s, &room, &ns, &full, watch);

	*place = false;
	if (rc < 0 || !full)
		return rc;
	n = n < 2 * FULL_REQUESTS ? 2 * FULL_REQUESTS : n;
	next = s->at;
	s->at = s->bursts.full.at;
	for (uint64_t i = 0; i < n && !watch_should_stop(watch); i++) {
		rc = write_next(s, request, &took);
		if (rc < 0)
			return rc;
		sum += i < n / 2 ? 0 : took;
	}
	s->at = next;
	*place = sum < (n - n / 2) * s->wait_ns;
	return 0;
}

/* Whether a burst was slowed down by a full buffer or by a slow place. Where that would take more than PLACE_LOOK, or too
 * long, it is not asked. */
static int tell_place(struct store *s, const struct watch *watch)
{
	double bytes = 3 * knee_bytes(&s->evidence);
	bool place = false;
	int rc = 0;

	if (s->held && !s->in_starts && bytes < PLACE_LOOK &&
		bytes < PLACE_S * s->evidence.drain_bps)
		rc = is_place(s, &place, watch);
	if (!place)
		return rc;
	doubt(s);
	/* Nor was a buffer seen full, by which a flush might be judged. */
	s->evidence.by_place = true;
	s->evidence.held_up = false;
	s->evidence.buffer_bytes = s->evidence.head_bps = s->evidence.drain_bps = 0;
	return rc;
}

/* ---- written before, or not? ---- */

/* Bytes of a pass that push all bursts out of the buffer: how much it holds is known to a burst's request or two. */
static double pushes_out(const struct store *s)
{
	const struct store_evidence *e = &s->evidence;

	return 1.1 * fmax(knee_bytes(e), s->fills_bytes) + 2 * (double)e->request_bytes;
}

/* Large ones tell most of the card. */
static uint64_t again_request(const struct store *s)
{
	return s->held ? s->evidence.request_bytes : usual_request(s->plan);
}

/* So much goes before the timed bytes: with the buffer full, what is stored while these are written. */
static uint64_t again_lead(const struct store *s)
{
	uint64_t request = again_request(s);
	double bytes = s->held ? pushes_out(s) : s->level ? AGAIN_REQUESTS * (double)request : 0;

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
	struct look l = { .request_bytes = again_request(s), .most_ns = first_ns };
	struct storing_burst b = { 0 };
	int rc = 0;

	s->at = at;
	l.most_bytes = again_lead(s);
	if (l.most_bytes)
		rc = burst(s, &l, &b, watch);
	l.most_bytes = again_timed(s);
	if (!rc && (s->held || s->level))
		rc = burst(s, &l, &b, watch);
	else if (!rc)
		rc = whole_burst(s, &l, &b, watch);
	*seconds = s->held || s->level ? b.ack_s : b.bytes / told_rate(s, &b, s->told_by);
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

/* Places that were not written before in this run, and the same once more. */
static int learn_again(struct store *s, const struct watch *watch)
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
	e->first_ns = (uint64_t)(1e9 * middle_of(first, STORING_REPEATS));
	e->again_ns = (uint64_t)(1e9 * middle_of(again, STORING_REPEATS));
	return 0;
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
		rc = tell_place(s, watch);
	if (!rc)
		rc = learn_again(s, watch);
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

	s->bursts = (struct storing_bursts){ .request_bytes = (double)usual_request(s->plan) };
	payload_fill(s->buffers->memory[0], (size_t)s->plan->largest_bytes, s->plan->seed);
	imprint_put(s->buffers->memory[0], (size_t)s->plan->largest_bytes, s->buffers->seed);
	rc = examine(s, watch);
	e->flusher = s->flusher.way;
	e->idle_flush_ns = (uint64_t)(s->bursts.idle_flush_s * 1e9);
	e->usual_read_ns = s->probe.usual_ns;
	e->failed_reads = s->probe.failed;
	return rc;
}

/* ---- passes ---- */

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
		half[h] = middle_of(v, n);
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
	uint64_t flush =
		(uint64_t)(1e9 * without_host(s, &out->flush_on_bus, (double)out->flush_ns / 1e9));

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

	timed->wait_ns = long_request(&out->latency_ns);
	rc = pass_run(s->medium, timed, s->buffers, out, watch);
	add_lead(out, &before);
	return rc;
}

/* Single requests waited for long, and it is not timed from one of them to another. Stalls are told as such (PASS_STALL_TIMES);
 * others may be a small buffer that is stored as a whole. */
static bool is_unfair(const struct pass_plan *timed, const struct pass_result *r)
{
	return r->waits < 2 && !r->stalls && (timed->wait_ns || long_request(&r->latency_ns));
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
	timed.patience_ns = least(level_patience_ns, 2 * plan->duration_ns + 3 * s->period_ns);
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
	return count_from(h, wait_ns) * 10 >= h->total * 9 &&
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
	uint64_t rare = s->in_starts ? 0 : long_request(h);
	double buffer = s->evidence.buffer_bytes;

	timed->wait_ns = s->in_starts ? s->wait_ns : rare ? rare : time_median(h) / 2;
	if (s->in_starts || rare || !is_even(h, timed->wait_ns))
		timed->wait_requests = STARTS_REQUESTS;
	if (s->in_starts)
		timed->least_bytes = (uint64_t)(STARTS_BUFFERS * buffer);
	else if (rare)
		timed->least_bytes =
			STARTS_BUFFERS * timed->request_bytes * h->total / count_from(h, rare);
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
		*fair = (s->in_starts || w->rounds || !long_request(&out->latency_ns)) &&
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
	rc = fill_up(s, &w->lead_bytes, &w->room_ns, full, watch);
	if (rc < 0)
		return burst_failed(s, out);
	lead.least_bytes = (uint64_t)fmax(pushes_out(s), 1.5 * s->period_bytes);
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
		rc = fill_up(s, &w.room, &w.room_ns, &full[1], watch);
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
