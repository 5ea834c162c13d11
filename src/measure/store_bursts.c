/* Bursts of writes: how long they take to be acknowledged, flushed and stored. */
#include "measure/store.h"

#include <errno.h>
#include <math.h>
#include <string.h>

#include "analysis/quantile.h"
#include "measure/payload.h"
#include "measure/phases.h"
#include "measure/store_inside.h"
#include "medium/medium.h"

enum {
	KNEE_CHECK = 32, /* requests before the first look for a knee */
	USUAL_REQUEST =
		64 * 1024, /* for bursts: fast enough, and not too coarse for a small buffer */
};

/* Of the time in long requests: less than that matters to no rate. */
#define LONG_SHARE 0.03

static const uint64_t knee_ns = 300000000;

uint64_t store_within_region(const struct store_plan *p, uint64_t bytes)
{
	return store_least(bytes, 2 * p->region_bytes);
}

int store_write_next(struct store *s, uint64_t length, uint64_t *took_ns)
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

uint64_t store_time_median(const struct histogram *h)
{
	uint64_t sum = 0;

	for (size_t i = HISTOGRAM_BINS; i-- > 0;) {
		sum += h->bins[i] * histogram_bin_upper(i);
		if (sum * 2 >= h->sum)
			return histogram_bin_upper(i);
	}
	return 0;
}

uint64_t store_count_from(const struct histogram *h, uint64_t least_ns)
{
	uint64_t n = 0;

	for (size_t i = histogram_bin(least_ns); i < HISTOGRAM_BINS; i++)
		n += h->bins[i];
	return n;
}

uint64_t store_long_request(const struct histogram *h)
{
	uint64_t median = histogram_quantile(h, 0.5), limit = median + median / 2, n, time = 0;

	n = store_count_from(h, limit);
	for (size_t i = histogram_bin(limit); i < HISTOGRAM_BINS; i++)
		time += h->bins[i] * (histogram_bin_upper(i) - median);
	return n && (double)time > LONG_SHARE * (double)h->sum ? limit : 0;
}

/* Half of what is typical of the requests that take time. */
static uint64_t half_of_long(const struct histogram *h)
{
	uint64_t limit = store_long_request(h), sum = 0, all = 0;

	if (!limit)
		return store_time_median(h) / 2;
	for (size_t i = histogram_bin(limit); i < HISTOGRAM_BINS; i++)
		all += h->bins[i] * histogram_bin_upper(i);
	for (size_t i = HISTOGRAM_BINS; i-- > histogram_bin(limit);) {
		sum += h->bins[i] * histogram_bin_upper(i);
		if (sum * 2 >= all)
			return histogram_bin_upper(i) / 2;
	}
	return 0;
}

void store_take_shape(struct store *s)
{
	const struct histogram *h = &s->buffers->latencies[0];
	uint64_t half = half_of_long(h);
	struct storing_times t = { .median_s = (double)histogram_quantile(h, 0.5) / 1e9,
		.time_median_s = (double)(2 * half) / 1e9,
		.long_ones = (double)store_count_from(h, half),
		.longer_ones = (double)store_count_from(h, 3 * half),
		.requests = (double)h->total };

	storing_shape_of(&s->bursts.shape, &s->curve, &t);
	s->long_ns = half;
}

static bool is_near(double a, double b)
{
	return fabs(a / b - 1) < 0.05;
}

/* Until a knee shows, and twice in the same place: the first sight of it may be half head, half tail. */
static bool should_end(struct store *s, const struct store_look *l, uint64_t ns, uint64_t bytes)
{
	struct storing_shape before = s->bursts.shape, *now = &s->bursts.shape;

	if (bytes >= l->most_bytes || ns >= l->most_ns)
		return true;
	if (!l->until_knee || ns < knee_ns)
		return false;
	store_take_shape(s);
	return before.knee && now->knee && is_near(before.buffer_bytes, now->buffer_bytes) &&
	       is_near(before.drain_rate, now->drain_rate);
}

void store_show(const struct store *s, const struct watch *watch, uint64_t bytes, uint64_t most)
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

int store_burst(struct store *s, const struct store_look *l, struct storing_burst *out,
	const struct watch *watch)
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
		rc = store_write_next(s, l->request_bytes, &took);
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
		store_show(s, watch, bytes, l->most_bytes);
		if (should_end(s, l, ns, bytes))
			break;
		check = n + n / 4;
	}
	*out = (struct storing_burst){
		.bytes = (double)bytes, .ack_s = (double)ns / 1e9, .at = first
	};
	return rc;
}

double store_without_host(const struct store *s, const struct command_sum *bus, double seconds)
{
	double most = (double)command_sum_wait_ns(bus) / 1e9 + s->flush_host_s;

	if (bus->seen && !bus->commands)
		return 0;
	return s->flush_seen && bus->seen ? fmin(seconds, most) : seconds;
}

int store_flush_timed(struct store *s, double *seconds)
{
	uint64_t before;
	int rc;

	phases_begin_stretch(s->plan->phases, DEED_FLUSH);
	before = medium_now_ns(s->medium);
	rc = flusher_flush(&s->flusher);
	*seconds = (double)(medium_since_ns(s->medium, before)) / 1e9;
	phases_end_stretch(s->plan->phases, &s->on_bus.flush);
	*seconds = store_without_host(s, &s->on_bus.flush, *seconds);
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

int store_settle(struct store *s, double *seconds, double *reads_s, const struct watch *watch)
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

int store_whole_burst(struct store *s, const struct store_look *l, struct storing_burst *out,
	const struct watch *watch)
{
	double flush_s = 0, wait_s = 0, reads_s = 0;
	int rc = store_burst(s, l, out, watch);

	s->on_bus = (struct store_on_bus){ { .seen = false }, { .seen = false } };
	if (!rc && l->pause_ns)
		medium_idle_ns(s->medium, l->pause_ns);
	if (!rc && flusher_works(&s->flusher))
		rc = store_flush_timed(s, &flush_s);
	if (!rc)
		rc = store_settle(s, &wait_s, &reads_s, watch);
	out->flush_s = flush_s;
	out->wait_s = wait_s;
	out->reads_s = reads_s;
	return rc;
}

double store_middle_of(double *v, size_t n)
{
	quantile_sort(v, n);
	return v[n / 2];
}

void store_rest(struct store *s)
{
	const struct storing_burst *f = &s->bursts.full;

	medium_idle_ns(s->medium, (uint64_t)(1.5e9 * (f->flush_s + f->wait_s)));
}

double store_told_rate(const struct store *s, const struct storing_burst *b, enum storing_by by)
{
	double after = by == STORING_SETTLED ? b->flush_s + b->wait_s
					     : b->flush_s - s->bursts.idle_flush_s;

	return b->bytes / (b->ack_s + fmax(0, after));
}

uint64_t store_usual_request(const struct store_plan *p)
{
	uint64_t n = store_least(p->largest_bytes, USUAL_REQUEST);

	return n < p->smallest_bytes ? p->smallest_bytes : n;
}

void store_doubt(struct store *s)
{
	s->evidence.by = PASS_NOT_SHOWN;
	memset(s->evidence.flushed, 0, sizeof s->evidence.flushed);
	s->held = s->level = false;
}

bool store_waits(const struct store *s, const uint64_t *took, uint64_t n)
{
	uint64_t sum = 0;

	if (s->in_starts)
		return took[(n - 1) % FULL_REQUESTS] >= s->wait_ns;
	for (int i = 0; i < FULL_REQUESTS; i++)
		sum += took[i];
	return n >= FULL_REQUESTS && sum > FULL_REQUESTS * s->wait_ns;
}

double store_knee_bytes(const struct store_evidence *e)
{
	return e->head_bps > e->drain_bps
		       ? e->buffer_bytes * e->head_bps / (e->head_bps - e->drain_bps)
		       : e->buffer_bytes;
}

int store_fill_up(
	struct store *s, uint64_t *room, uint64_t *ns, bool *full, const struct watch *watch)
{
	const struct store_evidence *e = &s->evidence;
	uint64_t began = medium_now_ns(s->medium), took[FULL_REQUESTS] = { 0 }, n = 0;
	/* Twice what the knee asked for, or something else is the matter. */
	double most = 2 * store_knee_bytes(e) / (double)e->request_bytes + 4 * FULL_REQUESTS;

	for (*full = false; !*full && (double)n < most && !watch_should_stop(watch);) {
		int rc = store_write_next(s, e->request_bytes, &took[n % FULL_REQUESTS]);

		if (rc < 0)
			return rc;
		*full = store_waits(s, took, ++n);
		store_show(s, watch, n, (uint64_t)most);
	}
	*room = n * e->request_bytes;
	*ns = medium_since_ns(s->medium, began);
	return 0;
}
