/* A medium's time and its own counts: asked whether it still is the one that was opened or not. */
#include <errno.h>

#include "medium/medium.h"
#include "platform/clock.h"

int medium_counts(struct medium *m, struct medium_counts *counts)
{
	uint64_t own = atomic_load(&m->identity.own_errors);
	int rc = m->ops->counts ? m->ops->counts(m, counts) : -ENOTSUP;

	if (!rc)
		counts->errors = counts->errors > own ? counts->errors - own : 0;
	return rc;
}

uint64_t medium_now_ns(struct medium *m)
{
	return m->ops->now_ns ? m->ops->now_ns(m) : clock_now_ns();
}

uint64_t medium_since_ns(struct medium *m, uint64_t from)
{
	return clock_span_ns(from, medium_now_ns(m));
}

void medium_idle_ns(struct medium *m, uint64_t ns)
{
	if (m->ops->idle_ns)
		m->ops->idle_ns(m, ns);
	else
		clock_sleep_ns(ns);
}

int medium_move_clock_ns(struct medium *m, uint64_t now_ns)
{
	if (!m->ops->move_clock_ns)
		return -ENOTSUP;
	m->ops->move_clock_ns(m, now_ns);
	return 0;
}
