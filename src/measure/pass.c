/* The timed loop. One clock reading a request; everything else happens at ticks of the trace. */
#include "measure/pass.h"

#include <errno.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "base/imprint.h"
#include "measure/flusher.h"
#include "measure/offsets.h"
#include "measure/payload.h"
#include "measure/phases.h"
#include "medium/medium.h"
#include "platform/clock.h"

/* What the workers of one pass share. */
struct shared {
	struct medium *medium;
	const struct pass_plan *plan;
	const struct watch *watch;
	struct pass_result *out;
	struct offsets offsets;
	/* offsets, next_index, trace, moved, failure; only taken when in_flight > 1 */
	pthread_mutex_t lock;
	uint64_t next_index;
	uint64_t moved; /* bytes so far */
	uint64_t start_ns, deadline_ns, patience_ns;
	struct mark { /* the end of a request that waited for room */
		uint64_t ns, bytes, requests;
	} first, last;
	atomic_bool stop;
};

struct worker {
	struct shared *shared;
	void *memory;
	struct histogram *latency;
	uint64_t serial;
	uint64_t bytes, requests, last_ns;
	pthread_t thread;
};

int pass_buffers_init(struct pass_buffers *b, const struct medium *m, uint64_t largest_request,
	unsigned in_flight)
{
	*b = (struct pass_buffers){ .latencies = calloc(in_flight, sizeof *b->latencies),
		.phases = calloc(1, sizeof *b->phases) };
	if (!b->latencies || !b->phases) {
		pass_buffers_release(b);
		return -ENOMEM;
	}
	for (; b->count < in_flight; b->count++) {
		b->memory[b->count] =
			buffer_new((size_t)largest_request, medium_traits(m)->memory_align_bytes);
		if (!b->memory[b->count]) {
			pass_buffers_release(b);
			return -ENOMEM;
		}
	}
	return 0;
}

void pass_buffers_release(struct pass_buffers *b)
{
	for (unsigned i = 0; i < b->count; i++)
		free(b->memory[i]);
	free(b->latencies);
	free(b->phases);
	*b = (struct pass_buffers){ 0 };
}

static void note_failure(struct shared *s, int code, uint64_t at, size_t got)
{
	struct pass_failure *f = &s->out->failure;

	if (f->failed)
		return;
	*f = (struct pass_failure){
		.failed = true, .code = code, .at = at, .wanted = s->plan->request_bytes, .got = got
	};
}

/* One request; EINTR is the kernel's way of asking to be asked again. */
static int transfer(struct shared *s, void *memory, uint64_t at, size_t *got)
{
	int rc;

	do
		rc = s->plan->write ? medium_write(s->medium, at, memory,
					      (size_t)s->plan->request_bytes, got)
				    : medium_read(s->medium, at, memory,
					      (size_t)s->plan->request_bytes, got);
	while (rc == -EINTR && !watch_should_stop(s->watch));
	return rc;
}

/* Steps twice as long, when the pass outgrows them. */
static void trace_widen(struct pass_result *r)
{
	for (unsigned i = 0; i < PASS_TRACE_MAX / 2; i++)
		r->trace[i] = r->trace[2 * i] + r->trace[2 * i + 1];
	memset(r->trace + PASS_TRACE_MAX / 2, 0, sizeof r->trace / 2);
	r->trace_step_ns *= 2;
	r->trace_steps = (r->trace_steps + 1) / 2;
}

/* Bytes that were moved between two moments, spread evenly over the steps they touch. */
static void trace_add(struct shared *s, uint64_t from, uint64_t to, uint64_t bytes)
{
	struct pass_result *r = s->out;
	uint64_t a = clock_span_ns(s->start_ns, from), b = clock_span_ns(s->start_ns, to);
	uint64_t booked = 0, step;

	s->moved += bytes;
	while (b > r->trace_step_ns * PASS_TRACE_MAX)
		trace_widen(r);
	for (step = a / r->trace_step_ns; (step + 1) * r->trace_step_ns < b; step++) {
		uint64_t share =
			(uint64_t)((double)bytes * (double)((step + 1) * r->trace_step_ns - a) /
				   (double)(b - a));

		r->trace[step] += share - booked;
		booked = share;
	}
	if (step >= PASS_TRACE_MAX) /* a request of no time at the very end */
		step = PASS_TRACE_MAX - 1;
	r->trace[step] += bytes - booked;
	if (step >= r->trace_steps)
		r->trace_steps = (unsigned)step + 1;
}

/* Notes a request that waited for room, if the plan asks for those. */
static void mark(struct shared *s, uint64_t now, uint64_t took, uint64_t bytes, uint64_t requests)
{
	struct mark m = { now, bytes, requests };

	if (!s->plan->wait_ns || took < s->plan->wait_ns)
		return;
	if (!s->out->waits++)
		s->first = m;
	s->last = m;
}

/* May the pass end at this moment? */
static bool is_over(const struct shared *s, uint64_t now, uint64_t moved)
{
	if (now < s->start_ns)
		return true; /* the clock was put back: the host lost this pass */
	if (now < s->deadline_ns || moved < s->plan->least_bytes)
		return false;
	if (moved < s->plan->least_requests * s->plan->request_bytes &&
		now - s->start_ns < s->plan->longest_ns)
		return false;
	if (!s->plan->wait_ns || now >= s->patience_ns)
		return true;
	return s->out->waits > 1 && s->last.ns >= s->first.ns + s->plan->duration_ns &&
	       s->last.requests >= s->first.requests + s->plan->wait_requests;
}

static void tick(struct shared *s, uint64_t now, uint64_t moved)
{
	uint64_t since = clock_span_ns(s->start_ns, now);
	struct watch_step step = { .phase = s->plan->write ? "writing" : "reading",
		.done = since,
		.total = s->plan->duration_ns,
		.seconds_left = -1,
		.rate_bps = since ? (double)moved * 1e9 / (double)since : 0 };

	watch_step(s->watch, &step);
	if (watch_should_stop(s->watch)) {
		s->out->interrupted = true;
		atomic_store_explicit(&s->stop, true, memory_order_relaxed);
	}
}

/* The loop of a pass with one request at a time, on any medium. */
static void run_single(struct worker *w)
{
	struct shared *s = w->shared;
	struct medium *m = s->medium;
	uint64_t before = s->start_ns, next_tick = before + s->out->trace_step_ns;
	uint64_t last_tick = before, since_tick = 0, bytes = 0;
	size_t length = (size_t)s->plan->request_bytes, got;

	do {
		uint64_t at = offsets_at(&s->offsets, s->next_index++), now, took;
		int rc;

		if (s->plan->write)
			w->serial = payload_renew(w->memory, length, w->serial);
		rc = transfer(s, w->memory, at, &got);
		now = medium_now_ns(m);
		if (rc < 0 || got != length) {
			note_failure(s, rc, at, got);
			break;
		}
		took = clock_span_ns(before, now);
		histogram_add(w->latency, took);
		w->requests++;
		bytes += length;
		since_tick += length;
		mark(s, now, took, bytes, w->requests);
		before = now;
		if (now >= next_tick) {
			trace_add(s, last_tick, now, since_tick);
			since_tick = 0;
			last_tick = now;
			next_tick = now + s->out->trace_step_ns -
				    (now - s->start_ns) % s->out->trace_step_ns;
			tick(s, now, s->moved);
		}
	} while (!is_over(s, before, bytes) &&
		 !atomic_load_explicit(&s->stop, memory_order_relaxed));
	if (since_tick)
		trace_add(s, last_tick, before, since_tick);
	w->bytes = bytes;
	w->last_ns = before;
}

static bool take_offset(struct shared *s, uint64_t now, uint64_t *at)
{
	bool over;

	pthread_mutex_lock(&s->lock);
	over = is_over(s, now, s->moved);
	if (!over)
		*at = offsets_at(&s->offsets, s->next_index++);
	pthread_mutex_unlock(&s->lock);
	return !over && !atomic_load_explicit(&s->stop, memory_order_relaxed);
}

static void answer(struct shared *s, uint64_t sent, uint64_t now, bool first_worker)
{
	uint64_t length = s->plan->request_bytes, moved;

	pthread_mutex_lock(&s->lock);
	trace_add(s, sent, now, length);
	moved = s->moved;
	mark(s, now, clock_span_ns(sent, now), moved, moved / length);
	pthread_mutex_unlock(&s->lock);
	if (first_worker)
		tick(s, now, moved);
}

/* One of several workers on a real medium: each keeps one request open. */
static void *run_worker(void *context)
{
	struct worker *w = context;
	struct shared *s = w->shared;
	size_t length = (size_t)s->plan->request_bytes, got;
	uint64_t at, now = s->start_ns;

	while (take_offset(s, now, &at)) {
		uint64_t before;
		int rc;

		if (s->plan->write)
			w->serial = payload_renew(w->memory, length, w->serial);
		before = medium_now_ns(s->medium);
		rc = transfer(s, w->memory, at, &got);
		now = medium_now_ns(s->medium);
		if (rc < 0 || got != length) {
			pthread_mutex_lock(&s->lock);
			note_failure(s, rc, at, got);
			pthread_mutex_unlock(&s->lock);
			atomic_store_explicit(&s->stop, true, memory_order_relaxed);
			break;
		}
		histogram_add(w->latency, clock_span_ns(before, now));
		w->requests++;
		w->last_ns = now;
		answer(s, before, now, w->thread == pthread_self());
	}
	w->bytes = w->requests * length;
	return NULL;
}

/* Several requests in flight on a virtual clock: the worker that is free first goes next. Deterministic. */
static void run_virtual(struct worker *workers, unsigned count)
{
	struct shared *s = workers[0].shared;
	size_t length = (size_t)s->plan->request_bytes, got;
	uint64_t ready[PASS_IN_FLIGHT_MAX] = { 0 }, last = s->start_ns;

	for (unsigned i = 0; i < count; i++)
		ready[i] = s->start_ns;
	for (;;) {
		unsigned next = 0;
		uint64_t at, now;
		int rc;

		for (unsigned i = 1; i < count; i++)
			if (ready[i] < ready[next])
				next = i;
		if ((workers[0].requests && is_over(s, ready[next], s->moved)) ||
			atomic_load(&s->stop))
			break;
		at = offsets_at(&s->offsets, s->next_index++);
		if (s->plan->write)
			workers[0].serial =
				payload_renew(workers[next].memory, length, workers[0].serial);
		medium_move_clock_ns(s->medium, ready[next]);
		rc = transfer(s, workers[next].memory, at, &got);
		now = medium_now_ns(s->medium);
		if (rc < 0 || got != length) {
			note_failure(s, rc, at, got);
			break;
		}
		histogram_add(workers[0].latency, now - ready[next]);
		workers[0].requests++;
		trace_add(s, ready[next], now, length);
		mark(s, now, now - ready[next], s->moved, workers[0].requests);
		ready[next] = now;
		if (now > last)
			last = now;
		tick(s, now, s->moved);
	}
	medium_move_clock_ns(s->medium, last);
	workers[0].bytes = workers[0].requests * length;
	workers[0].last_ns = last;
}

static int run_threads(struct worker *workers, unsigned count)
{
	unsigned started = 0;
	int rc = 0;

	workers[0].thread = pthread_self();
	for (started = 1; started < count && !rc; started++)
		rc = -pthread_create(&workers[started].thread, NULL, run_worker, &workers[started]);
	if (rc) {
		started--; /* the last one did not start */
		atomic_store(&workers[0].shared->stop, true);
	} else {
		run_worker(&workers[0]);
	}
	for (unsigned i = 1; i < started; i++)
		pthread_join(workers[i].thread, NULL);
	return rc;
}

static void close_with_flush(struct shared *s)
{
	uint64_t before;
	int rc;

	phases_begin_stretch(s->plan->phases, DEED_FLUSH);
	before = medium_now_ns(s->medium);
	rc = flusher_flush(s->plan->flusher);
	s->out->flush_ns = medium_since_ns(s->medium, before);
	phases_end_stretch(s->plan->phases, &s->out->flush_on_bus);
	if (rc < 0 && !s->out->failure.failed)
		s->out->failure =
			(struct pass_failure){ .failed = true, .code = rc, .flush = true };
}

static void gather(struct shared *s, const struct worker *workers, unsigned count)
{
	struct pass_result *r = s->out;
	uint64_t last = s->start_ns;

	for (unsigned i = 0; i < count; i++) {
		histogram_merge(&r->latency_ns, workers[i].latency);
		r->bytes += workers[i].bytes;
		r->requests += workers[i].requests;
		if (workers[i].last_ns > last)
			last = workers[i].last_ns;
	}
	r->busy_ns = last - s->start_ns;
	r->wrapped = r->requests > s->offsets.slots;
}

/* The kernel counts a request a moment after it answered; give it that moment. */
static int settled_counts(struct medium *m, const struct pass_plan *plan,
	const struct medium_counts *before, uint64_t bytes, struct medium_counts *after)
{
	int rc = medium_counts(m, after);

	for (int i = 0; rc == 0 && i < 5; i++) {
		uint64_t seen = plan->write ? after->written_bytes - before->written_bytes
					    : after->read_bytes - before->read_bytes;

		if (seen >= bytes && i > 0)
			break;
		medium_idle_ns(m, 500000);
		rc = medium_counts(m, after);
	}
	return rc;
}

/* Between two moments of the same kind: what the target's buffer held is the same at either. */
static void keep_to_marks(struct shared *s)
{
	struct pass_result *r = s->out;

	uint64_t all = r->requests;

	r->all_requests = all;
	if (r->waits < 2 || s->last.ns <= s->first.ns)
		return;
	r->busy_ns = s->last.ns - s->first.ns;
	r->bytes = s->last.bytes - s->first.bytes;
	r->requests = s->last.requests - s->first.requests;
	/* The device counted them all. */
	r->device_requests = (r->device_requests * r->requests + all / 2) / all;
	r->device_bytes = (r->device_bytes * r->requests + all / 2) / all;
}

static void count_stalls(struct pass_result *r)
{
	const struct histogram *h = &r->latency_ns;
	double limit = PASS_STALL_TIMES * (double)histogram_quantile(h, 0.5);

	for (size_t i = HISTOGRAM_BINS; i-- > 0 && (double)histogram_bin_upper(i) > limit;) {
		uint64_t each = histogram_bin_upper(i) < h->max ? histogram_bin_upper(i) : h->max;

		r->stalls += h->bins[i];
		r->stall_ns += h->bins[i] * each;
	}
}

static void compare_counts(struct medium *m, const struct pass_plan *plan,
	const struct medium_counts *before, struct pass_result *r)
{
	struct medium_counts after;
	uint64_t reads, writes;

	if (settled_counts(m, plan, before, r->bytes, &after) < 0)
		return;
	reads = after.read_bytes - before->read_bytes;
	writes = after.written_bytes - before->written_bytes;
	r->device_known = true;
	if (before->errors_known && after.errors_known && after.errors > before->errors)
		r->device_errors = after.errors - before->errors;
	r->device_requests =
		plan->write ? after.writes - before->writes : after.reads - before->reads;
	r->device_bytes = plan->write ? writes : reads;
	r->device_flushes = after.flushes - before->flushes;
	/* After an error or a reset the kernel asks again, and may look at the card anew: nobody else's doing. */
	r->foreign |= !r->failure.failed && !r->device_errors &&
		      (r->device_bytes > r->bytes || (plan->write ? reads : writes) > 0);
}

int pass_run(struct medium *m, const struct pass_plan *plan, struct pass_buffers *buffers,
	struct pass_result *out, const struct watch *watch)
{
	struct shared s = { .medium = m,
		.plan = plan,
		.watch = watch,
		.out = out,
		.lock = PTHREAD_MUTEX_INITIALIZER };
	struct worker workers[PASS_IN_FLIGHT_MAX] = { 0 };
	struct medium_counts before;
	unsigned count = plan->in_flight;
	bool counted;
	int rc = 0;

	memset(out, 0, sizeof *out);
	if (count < 1 || count > PASS_IN_FLIGHT_MAX)
		return -EINVAL;
	histogram_init(&out->latency_ns);
	out->trace_step_ns = plan->duration_ns / (PASS_TRACE_MAX / 2) + 1;
	if (out->trace_step_ns < 5000000)
		out->trace_step_ns = 5000000;
	offsets_init(&s.offsets, plan->random, plan->region_start, plan->region_bytes,
		plan->request_bytes, plan->seed);
	offsets_begin_in(&s.offsets, plan->begin);
	out->start_bytes = offsets_at(&s.offsets, 0);
	for (unsigned i = 0; i < count; i++) {
		workers[i] = (struct worker){ .shared = &s,
			.memory = buffers->memory[i],
			.latency = &buffers->latencies[i] };
		/* Serials of different workers never meet: each has its own upper bits. */
		workers[i].serial = buffers->serial + ((uint64_t)i << 48);
		histogram_init(workers[i].latency);
		if (plan->write) {
			payload_fill(workers[i].memory, (size_t)plan->request_bytes,
				random_at(plan->seed, i + 1));
			imprint_put(workers[i].memory, (size_t)plan->request_bytes, buffers->seed);
		}
	}
	rc = medium_check(m, MEDIUM_CHECK_BATCH);
	if (rc < 0) {
		out->failure = (struct pass_failure){ .failed = true,
			.code = rc,
			.at = plan->region_start,
			.wanted = plan->request_bytes };
		return 0;
	}
	counted = medium_counts(m, &before) == 0;
	if (plan->phases)
		phases_begin(plan->phases, plan->write, plan->request_bytes, buffers->phases);
	s.start_ns = medium_now_ns(m);
	s.deadline_ns = s.start_ns + plan->duration_ns;
	s.patience_ns = s.deadline_ns + plan->patience_ns;
	if (count == 1)
		run_single(&workers[0]);
	else if (medium_traits(m)->virtual_clock)
		run_virtual(workers, count);
	else
		rc = run_threads(workers, count);
	gather(&s, workers, count);
	if (plan->phases) {
		phases_end(plan->phases, out->bytes);
		/* One that failed says so; what its last command took says nothing. */
		out->phases = out->failure.failed ? NULL : buffers->phases;
		out->foreign = out->phases && out->phases->others_slow;
	}
	buffers->serial += out->bytes / 512 + PASS_IN_FLIGHT_MAX;
	if (plan->write && out->requests && plan->flusher)
		close_with_flush(&s);
	if (counted)
		compare_counts(m, plan, &before, out);
	count_stalls(out);
	keep_to_marks(&s);
	return rc;
}
