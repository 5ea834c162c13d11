/* All passes of a sweep. */
#include "measure/sweep.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "base/size.h"
#include "medium/medium.h"

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

static int describe_request(
	const struct sweep_point *point, const struct pass_failure *f, struct error *err)
{
	const char *what = point->write ? "write" : "read";
	char size[SIZE_TEXT_MAX];

	if (f->flush)
		return error_sys(err, ERROR_IO, -f->code, "the flush after a write pass failed");
	size_format(size, f->wanted);
	if (f->code == 0)
		return error_set(err, ERROR_IO,
			"short %s at byte %llu: %llu of %s came; the target is smaller than it "
			"says, or it went away",
			what, (unsigned long long)f->at, (unsigned long long)f->got, size);
	error_sys(err, ERROR_IO, -f->code, "%s of %s at byte %llu failed", what, size,
		(unsigned long long)f->at);
	if (f->code == -ENODEV || f->code == -ENXIO || f->code == -ENOMEDIUM)
		error_add(err, "; the target is gone: plug it in again and repeat the run");
	else if (f->code == -EIO)
		error_add(
			err, "; see the kernel log (dmesg), then try smaller requests or 'verify'");
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
		return describe_request(point, f, err);
	medium_explain(m, err);
	error_add(err, ", then repeat the run");
	/* What the kernel said of it (no space, an I/O error) would only mislead. */
	if (f->flush)
		error_add(err, " (it stopped at a flush)");
	else
		error_add(err, " (it stopped at a %s of %s at byte %llu)",
			point->write ? "write" : "read", size_format(size, f->wanted),
			(unsigned long long)f->at);
	return -1;
}

static uint64_t pass_seed(const struct sweep_plan *plan, size_t point, unsigned number)
{
	return random_at(random_at(plan->seed, point + 1), number);
}

static enum sweep_outcome run_one(struct medium *m, const struct sweep_plan *plan, size_t index,
	unsigned number, struct pass_buffers *buffers, uint64_t started_ns,
	const struct sweep_sink *sink, const struct watch *watch, struct error *err)
{
	const struct sweep_point *point = &plan->points[index];
	struct pass_plan pass = { .write = point->write,
		.random = point->random,
		.request_bytes = point->request_bytes,
		.in_flight = plan->in_flight,
		.region_start = plan->region_start,
		.region_bytes = plan->region_bytes,
		.duration_ns = plan->duration_ns,
		.seed = pass_seed(plan, index, number),
		.phases = plan->phases };
	struct pass_result result;
	uint64_t at = medium_now_ns(m) - started_ns;
	int rc = pass_run(m, &pass, buffers, &result, watch);

	if (rc < 0) {
		error_sys(err, ERROR_IO, -rc, "cannot start a worker for a request in flight");
		return SWEEP_FAILED;
	}
	if ((result.requests || (result.failure.failed && !medium_lost(m))) &&
		sink->pass(sink->context, point, number, at, &result, err) < 0)
		return SWEEP_FAILED;
	if (result.failure.failed && !(result.failure.code == -EINTR && watch_should_stop(watch))) {
		describe_failure(m, point, &result.failure, err);
		return SWEEP_FAILED;
	}
	return result.interrupted || watch_should_stop(watch) ? SWEEP_INTERRUPTED : SWEEP_COMPLETE;
}

static uint64_t largest_request(const struct sweep_plan *plan)
{
	uint64_t largest = 0;

	for (size_t i = 0; i < plan->point_count; i++)
		if (plan->points[i].request_bytes > largest)
			largest = plan->points[i].request_bytes;
	return largest;
}

enum sweep_outcome sweep_run(struct medium *m, const struct sweep_plan *plan,
	const struct sweep_sink *sink, const struct watch *watch, struct error *err)
{
	struct sweep_watch state = { .outer = watch, .total_ns = sweep_planned_ns(plan) };
	struct watch inner = { .context = &state, .stop = inner_stop, .step = inner_step };
	struct random shuffler = { random_at(plan->seed, 0) };
	enum sweep_outcome outcome = SWEEP_COMPLETE;
	uint64_t started = medium_now_ns(m);
	size_t order[SWEEP_POINTS_MAX] = { 0 };
	struct pass_buffers buffers;

	if (pass_buffers_init(&buffers, m, largest_request(plan), plan->in_flight) < 0) {
		error_set(
			err, ERROR_IO, "out of memory for %u requests in flight", plan->in_flight);
		return SWEEP_FAILED;
	}
	buffers.seed = plan->seed;
	for (size_t i = 0; i < plan->point_count; i++)
		order[i] = i;
	for (unsigned number = 1; number <= plan->passes && outcome == SWEEP_COMPLETE; number++) {
		shuffle(order, plan->point_count, &shuffler);
		for (size_t i = 0; i < plan->point_count && outcome == SWEEP_COMPLETE; i++) {
			name_point(&state, &plan->points[order[i]]);
			outcome = run_one(
				m, plan, order[i], number, &buffers, started, sink, &inner, err);
			state.done_ns += plan->duration_ns;
		}
	}
	pass_buffers_release(&buffers);
	return outcome;
}
