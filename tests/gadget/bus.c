/* How time passes for the gadget. */
#include "gadget/bus.h"

#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "gadget/clock.h"
#include "gadget/order.h"

/* A card whose next deed is not known to the front of its queue is looked at this often. */
static const double look_ns = 20e6;

double bus_work_behind(struct bus *b)
{
	double now = clock_ns(), next = INFINITY;

	for (unsigned i = 0; b->powered && i < b->unit_count; i++) {
		struct model_gadget *g = &b->units[i].gadget;
		int rc;

		if (!g->pending.count)
			continue;
		g->now_ns = now;
		rc = model_gadget_settle(g);
		if (rc < 0) {
			/* Nothing sensible can be said on the bus about a full disk of the test's. */
			fprintf(stderr, "bus_gadget: cannot store the card: %s\n", strerror(-rc));
			exit(3);
		}
		if (g->pending.count)
			next = fmin(
				next, fmax(model_pending_block(&g->pending, 0)->finish_ns, now));
	}
	return isfinite(next) ? fmin(next, now + look_ns) : next;
}

static bool must_give_up(struct bus *b)
{
	bool yes;

	pthread_mutex_lock(&b->lock);
	yes = !b->enabled || b->must_reset || (b->order && order_interrupts(b->order));
	pthread_mutex_unlock(&b->lock);
	return yes;
}

int bus_pass(struct bus *b, double t)
{
	while (!must_give_up(b)) {
		enum pipes_event e;

		if (b->idle)
			order_serve(b);
		e = pipes_wait(&b->pipes, fmin(t, bus_work_behind(b)));
		if (e == PIPES_DONE || (e == PIPES_TIME && clock_ns() >= t))
			return 0;
	}
	return -ECANCELED;
}

int bus_move(struct bus *b, enum pipe which, void *buf, size_t n, size_t *got)
{
	int rc = pipes_start(&b->pipes, which, buf, n);

	*got = 0;
	if (rc < 0)
		return rc;
	while (!rc && b->pipes.busy)
		rc = bus_pass(b, INFINITY);
	if (rc < 0) {
		pipes_cancel(&b->pipes);
		return rc;
	}
	if (b->pipes.result < 0)
		return (int)b->pipes.result;
	*got = (size_t)b->pipes.result;
	return 0;
}

int bus_stall(struct bus *b, enum pipe which)
{
	int rc;

	while ((rc = pipes_stall(&b->pipes, which)) == -EAGAIN) {
		rc = bus_pass(b, clock_ns() + 1e5);
		if (rc < 0)
			break;
	}
	return rc;
}
