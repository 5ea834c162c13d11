/* All passes of a sweep. */
#include "measure/sweep.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/advice.h"
#include "base/error.h"
#include "base/random.h"
#include "base/size.h"
#include "measure/store.h"
#include "medium/medium.h"
#include "platform/absence.h"
#include "platform/clock.h"

enum { TRIES = 3 }; /* at a pass that the host keeps losing */

uint64_t sweep_planned_ns(const struct sweep_plan *plan)
{
	return plan->duration_ns * plan->passes * plan->point_count;
}

/* Progress of the whole sweep out of the progress of one pass. */
struct sweep_watch {
	const struct watch *outer;
	uint64_t done_ns, total_ns;
	char phase[64]; /* the point in hand */
};

static bool inner_stop(void *context)
{
	return watch_should_stop(((struct sweep_watch *)context)->outer);
}

static void inner_step(void *context, const struct watch_step *step)
{
	struct sweep_watch *w = context;
	struct watch_step whole = *step;

	whole.done = w->done_ns + (step->done < step->total ? step->done : step->total);
	whole.total = w->total_ns;
	whole.phase = w->phase;
	watch_step(w->outer, &whole);
}

static void name_point(struct sweep_watch *w, const struct sweep_point *p)
{
	char size[SIZE_TEXT_MAX];

	snprintf(w->phase, sizeof w->phase, "%s %s of %s", p->random ? "random" : "sequential",
		p->write ? "writes" : "reads", size_format(size, p->request_bytes));
}

static void shuffle(size_t *order, size_t count, struct random *r)
{
	for (size_t i = count; i > 1; i--) {
		size_t j = (size_t)random_below(r, i), kept = order[i - 1];

		order[i - 1] = order[j];
		order[j] = kept;
	}
}

static const char *request_name(const struct sweep_point *point, const struct pass_failure *f)
{
	return point->write && !f->probe ? "write" : "read";
}

static int describe_request(const struct medium_traits *t, const struct sweep_point *point,
	const struct pass_failure *f, struct error *err)
{
	const char *what = request_name(point, f);
	char size[SIZE_TEXT_MAX];

	if (f->flush)
		return error_sys(err, ERROR_IO, -f->code, "the flush after writes failed");
	size_format(size, f->wanted);
	if (f->code == 0)
		return error_set(err, ERROR_IO,
			"short %s at byte %llu: %llu of %s came; the target is smaller than it "
			"says, or it went away",
			what, (unsigned long long)f->at, (unsigned long long)f->got, size);
	error_sys(err, ERROR_IO, -f->code, "%s of %s at byte %llu failed", what, size,
		(unsigned long long)f->at);
	if (f->code == -ENODEV || f->code == -ENXIO || f->code == -ENOMEDIUM)
		error_add(err, "; the target is gone: %s, then repeat the run",
			advice_gone(t->transport));
	else if (f->code == -EIO)
		error_add(err, "; %s, then try smaller requests or 'verify'",
			advice_errors(t->virtual_clock));
	else if (f->code == -ENOSPC)
		error_add(err, "; the filesystem under the image is full");
	return -1;
}

/* A device that is gone answers with whatever the kernel makes of it: no space, a short transfer, an I/O error. */
static int describe_failure(struct medium *m, const struct sweep_point *point,
	const struct pass_failure *f, struct error *err)
{
	char size[SIZE_TEXT_MAX];

	if (medium_check(m, MEDIUM_CHECK_FAILED) == 0)
		return describe_request(medium_traits(m), point, f, err);
	medium_explain(m, err);
	error_add(err, ", then repeat the run");
	/* What the kernel said of it (no space, an I/O error) would only mislead. */
	if (f->flush)
		error_add(err, " (it stopped at a flush)");
	else
		error_add(err, " (it stopped at a %s of %s at byte %llu)", request_name(point, f),
			size_format(size, f->wanted), (unsigned long long)f->at);
	return -1;
}

static uint64_t pass_seed(const struct sweep_plan *plan, size_t point, unsigned number)
{
	return random_at(random_at(plan->seed, point + 1), number);
}

/* What one sweep has in hand. */
struct sweeping {
	struct medium *medium;
	const struct sweep_plan *plan;
	const struct sweep_sink *sink;
	struct sweep_watch progress;
	struct watch watch; /* draws on progress */
	struct error *err;
	struct pass_buffers buffers;
	struct random shuffler;
	struct absence *absence; /* NULL: a virtual clock, or no thread */
	struct store_plan store_plan;
	struct store store;
	uint64_t read_ns,
		passed_ns; /* the clock when it was read last, and the time since the start */
};

/* More than half of it waiting for a processor: what is left says nothing of the target. */
static bool host_lost(const struct absence_time *t, uint64_t elapsed_ns)
{
	return t->away_ns || t->suspended_ns > 1000000 ||
	       (t->delayed_ns > 300000000 && t->delayed_ns > elapsed_ns / 2);
}

/* Evidence rests on small differences. */
static bool host_busy(const struct absence_time *t, uint64_t elapsed_ns)
{
	return host_lost(t, elapsed_ns) || t->delayed_ns > elapsed_ns / 10;
}

static bool is_real(const struct sweeping *s)
{
	return !medium_traits(s->medium)->virtual_clock;
}

static int run_pass(struct sweeping *s, const struct pass_plan *pass, struct pass_result *out)
{
	uint64_t began = medium_now_ns(s->medium);
	struct absence_time away;
	struct absence_mark mark;
	int rc;

	if (is_real(s))
		absence_mark(s->absence, &mark);
	rc = pass->write ? store_pass(&s->store, pass, out, &s->watch)
			 : pass_run(s->medium, pass, &s->buffers, out, &s->watch);
	if (!is_real(s))
		return rc;
	absence_since(s->absence, &mark, &away);
	out->lost = host_lost(&away, medium_since_ns(s->medium, began));
	return rc;
}

/* A clock that is put back keeps the passes in their order. */
static uint64_t since_start(struct sweeping *s)
{
	uint64_t now = medium_now_ns(s->medium);

	s->passed_ns += clock_span_ns(s->read_ns, now);
	s->read_ns = now;
	return s->passed_ns;
}

static enum sweep_outcome run_one(struct sweeping *s, size_t index, unsigned number, bool *again)
{
	const struct sweep_plan *plan = s->plan;
	const struct sweep_point *point = &plan->points[index];
	struct pass_plan pass = { .write = point->write,
		.random = point->random,
		.request_bytes = point->request_bytes,
		.in_flight = plan->in_flight,
		.region_start = plan->region_start,
		.region_bytes = plan->region_bytes,
		.duration_ns = plan->duration_ns,
		.least_requests = plan->least_requests,
		.longest_ns = plan->longest_ns,
		/* The passes of a point are spread over the region, and each part of it over the run. */
		.begin = { (index + number) % plan->passes, plan->passes },
		.seed = pass_seed(plan, index, number),
		.phases = plan->phases };
	struct pass_result result;
	uint64_t at = since_start(s);
	int rc = run_pass(s, &pass, &result);

	if (rc < 0) {
		error_sys(s->err, ERROR_IO, -rc, "cannot start a worker for a request in flight");
		return SWEEP_FAILED;
	}
	if ((result.requests || (result.failure.failed && !medium_lost(s->medium))) &&
		s->sink->pass(s->sink->context, point, number, at, &result, s->err) < 0)
		return SWEEP_FAILED;
	if (result.failure.failed &&
		!(result.failure.code == -EINTR && watch_should_stop(&s->watch))) {
		describe_failure(s->medium, point, &result.failure, s->err);
		return SWEEP_FAILED;
	}
	*again = result.lost;
	return result.interrupted || watch_should_stop(&s->watch) ? SWEEP_INTERRUPTED
								  : SWEEP_COMPLETE;
}

static enum sweep_outcome run_point(struct sweeping *s, size_t index, unsigned number)
{
	enum sweep_outcome outcome = SWEEP_COMPLETE;
	bool again = true;

	name_point(&s->progress, &s->plan->points[index]);
	for (int i = 0; i < TRIES && again && outcome == SWEEP_COMPLETE; i++)
		outcome = run_one(s, index, number, &again);
	s->progress.done_ns += s->plan->duration_ns;
	return outcome;
}

/* All passes of one direction. */
static enum sweep_outcome run_rounds(struct sweeping *s, bool write)
{
	enum sweep_outcome outcome = SWEEP_COMPLETE;
	size_t order[SWEEP_POINTS_MAX] = { 0 }, count = 0;

	for (size_t i = 0; i < s->plan->point_count; i++)
		if (s->plan->points[i].write == write)
			order[count++] = i;
	for (unsigned n = 1; n <= s->plan->passes && outcome == SWEEP_COMPLETE; n++) {
		shuffle(order, count, &s->shuffler);
		for (size_t i = 0; i < count && outcome == SWEEP_COMPLETE; i++)
			outcome = run_point(s, order[i], n);
	}
	return outcome;
}

static uint64_t largest_request(const struct sweep_plan *plan)
{
	uint64_t largest = 0;

	for (size_t i = 0; i < plan->point_count; i++)
		if (plan->points[i].request_bytes > largest)
			largest = plan->points[i].request_bytes;
	return largest;
}

static struct store_plan plan_store(const struct sweep_plan *plan)
{
	struct store_plan p = { .region_start = plan->region_start,
		.region_bytes = plan->region_bytes,
		.smallest_bytes = UINT64_MAX,
		.pass_ns = plan->duration_ns,
		.seed = random_at(plan->seed, SWEEP_POINTS_MAX + 1),
		.phases = plan->phases };

	for (size_t i = 0; i < plan->point_count; i++) {
		uint64_t n = plan->points[i].request_bytes;

		if (!plan->points[i].write)
			continue;
		if (n > p.largest_bytes)
			p.largest_bytes = n;
		if (n < p.smallest_bytes)
			p.smallest_bytes = n;
	}
	return p;
}

uint64_t sweep_look_bytes(const struct sweep_plan *plan)
{
	struct store_plan p = plan_store(plan);

	return p.largest_bytes ? store_most_bytes(&p) : 0;
}

static enum sweep_outcome store_failed(struct sweeping *s, int rc)
{
	struct sweep_point point = { .write = true };

	if (s->store.failure.failed) {
		describe_failure(s->medium, &point, &s->store.failure, s->err);
	} else if (medium_check(s->medium, MEDIUM_CHECK_FAILED) < 0) {
		medium_explain(s->medium, s->err);
		error_add(s->err, ", then repeat the run (it stopped while it looked at how the "
				  "target stores writes)");
	} else {
		error_sys(s->err, ERROR_IO, -rc, "cannot see how the target stores writes");
	}
	return SWEEP_FAILED;
}

static int examine(struct sweeping *s)
{
	uint64_t began = medium_now_ns(s->medium);
	struct absence_time away;
	struct absence_mark mark;
	int rc;

	if (!is_real(s))
		return store_examine(&s->store, &s->watch);
	absence_mark(s->absence, &mark);
	rc = store_examine(&s->store, &s->watch);
	absence_since(s->absence, &mark, &away);
	if (host_busy(&away, medium_since_ns(s->medium, began)))
		store_host_was_away(&s->store);
	return rc;
}

static enum sweep_outcome look_for_evidence(struct sweeping *s)
{
	int rc = store_init(&s->store, s->medium, &s->store_plan, &s->buffers);

	if (!s->sink->evidence)
		return rc < 0 ? store_failed(s, rc) : SWEEP_COMPLETE;
	snprintf(s->progress.phase, sizeof s->progress.phase, "looking at how writes are stored");
	if (!rc)
		rc = examine(s);
	if (rc < 0)
		return store_failed(s, rc);
	if (rc > 0 || watch_should_stop(&s->watch))
		return SWEEP_INTERRUPTED;
	if (s->sink->evidence(s->sink->context, &s->store.evidence, s->err) < 0)
		return SWEEP_FAILED;
	return SWEEP_COMPLETE;
}

static enum sweep_outcome run_all(struct sweeping *s)
{
	enum sweep_outcome outcome = run_rounds(s, false);

	if (outcome == SWEEP_COMPLETE && s->store_plan.largest_bytes) {
		outcome = look_for_evidence(s);
		if (outcome == SWEEP_COMPLETE)
			outcome = run_rounds(s, true);
		store_release(&s->store);
	}
	return outcome;
}

enum sweep_outcome sweep_run(struct medium *m, const struct sweep_plan *plan,
	const struct sweep_sink *sink, const struct watch *watch, struct error *err)
{
	struct sweeping s = { .medium = m,
		.plan = plan,
		.sink = sink,
		.progress = { .outer = watch, .total_ns = sweep_planned_ns(plan) },
		.err = err,
		.shuffler = { random_at(plan->seed, 0) },
		.store_plan = plan_store(plan),
		.read_ns = medium_now_ns(m) };
	enum sweep_outcome outcome;

	s.watch = (struct watch){ .context = &s.progress, .stop = inner_stop, .step = inner_step };
	if (pass_buffers_init(&s.buffers, m, largest_request(plan), plan->in_flight) < 0) {
		error_set(
			err, ERROR_IO, "out of memory for %u requests in flight", plan->in_flight);
		return SWEEP_FAILED;
	}
	s.buffers.seed = plan->seed;
	if (is_real(&s))
		s.absence = absence_watch();
	outcome = run_all(&s);
	absence_end(s.absence);
	pass_buffers_release(&s.buffers);
	return outcome;
}
