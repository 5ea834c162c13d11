/* Watches what a host sends to a disk. */
#include "measure/observe.h"

#include <unistd.h>

#include "base/error.h"
#include "platform/blockdev.h"
#include "platform/clock.h"
#include "platform/trace.h"

/* the trace buffers hold far more than comes in this time */
static const uint64_t look_ns = 50000000;
static const uint64_t second_ns = 1000000000;

struct observing {
	const struct observe_plan *plan;
	struct observe_tally *tally;
	const struct observe_sink *sink;
	struct error *err;
	struct blockdev_stat last;
	uint64_t begun_ns, last_ns;
	int stat_fd;
};

static void take_event(void *context, const struct trace_event *e)
{
	observe_tally_add(context, e);
}

/* The same disk with a medium in it? A card pulled from a reader leaves the disk behind with size 0. */
static bool is_there(const struct observe_plan *p)
{
	struct blockdev now;

	return blockdev_read(&now, p->sysfs, p->disk->name, NULL) == 0 &&
	       now.size_bytes == p->disk->size_bytes &&
	       now.disk_sequence == p->disk->disk_sequence && now.major == p->disk->major &&
	       now.minor == p->disk->minor;
}

static int end_second(struct observing *o, uint64_t now_ns, const struct blockdev_stat *now)
{
	int rc = o->sink->second(
		o->sink->context, &o->last, now, now_ns - o->begun_ns, now_ns - o->last_ns, o->err);

	o->last = *now;
	o->last_ns = now_ns;
	return rc;
}

/* GONE when the counters can no longer be read: what was seen up to the last second stands. */
static enum observe_ending look(struct observing *o, bool last, bool *over)
{
	struct blockdev_stat now;
	uint64_t now_ns = clock_now_ns();
	int rc = 0;

	*over = true;
	if (o->plan->trace)
		rc = trace_read(o->plan->trace, take_event, o->tally);
	if (rc < 0) {
		error_sys(o->err, ERROR_IO, -rc, "cannot go on reading the kernel's trace");
		return OBSERVE_FAILED;
	}
	*over = last;
	if (!last && now_ns - o->last_ns < second_ns)
		return OBSERVE_TIME_UP;
	if (!is_there(o->plan) || blockdev_stat_read(o->stat_fd, &now) < 0) {
		*over = true;
		return OBSERVE_GONE;
	}
	if (end_second(o, now_ns, &now) < 0) {
		*over = true;
		return OBSERVE_FAILED;
	}
	return OBSERVE_TIME_UP;
}

static enum observe_ending loop(struct observing *o, const struct watch *watch)
{
	enum observe_ending ending = OBSERVE_TIME_UP;
	uint64_t limit = o->plan->duration_ns;
	bool over = false;

	while (!over) {
		uint64_t passed = clock_span_ns(o->begun_ns, clock_now_ns());
		bool stop = watch_should_stop(watch), last = stop || (limit && passed >= limit);
		uint64_t nap = look_ns;

		ending = look(o, last, &over);
		if (over)
			return ending == OBSERVE_TIME_UP && stop ? OBSERVE_INTERRUPTED : ending;
		if (limit && limit - passed < nap)
			nap = limit - passed;
		clock_sleep_ns(nap);
	}
	return ending;
}

enum observe_ending observe_run(const struct observe_plan *plan, struct observe_tally *tally,
	const struct observe_sink *sink, const struct watch *watch, struct error *err)
{
	struct observing o = { .plan = plan, .tally = tally, .sink = sink, .err = err };
	enum observe_ending ending;
	int rc;

	o.stat_fd = blockdev_stat_open(plan->sysfs, plan->disk->major, plan->disk->minor);
	rc = o.stat_fd < 0 ? o.stat_fd : blockdev_stat_read(o.stat_fd, &o.last);
	if (rc < 0) {
		error_sys(err, ERROR_IO, -rc, "cannot read the counters of '%s'", plan->disk->node);
		if (o.stat_fd >= 0)
			close(o.stat_fd);
		return OBSERVE_FAILED;
	}
	o.begun_ns = o.last_ns = clock_now_ns();
	ending = loop(&o, watch);
	close(o.stat_fd);
	return ending;
}
