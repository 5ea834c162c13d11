/* A sweep weighed by an observed mix of requests. */
#include "findings/explain_mix.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>

/* The table of that order with fewest in flight; the other order where that one was not swept. */
static const struct explained *table_of(
	const struct explanation *e, enum run_direction d, enum run_order order)
{
	for (size_t i = 0; i < e->count; i++)
		if (e->tables[i].direction == d && e->tables[i].order == order)
			return &e->tables[i];
	return explanation_of(e, d);
}

/* Seconds of one request, by way. */
static void cost_by_way(const struct explained *x, uint64_t bytes, double out[EXPLAIN_WAYS])
{
	const struct stage_budget *b = &x->diagnosis.usual;
	double fixed = x->line.known && x->line.fixed_s > 0 ? x->line.fixed_s : 0;

	out[EXPLAIN_NOW] = cost_seconds(&x->line, x->points, x->point_count, bytes);
	out[EXPLAIN_WHOLE] = out[EXPLAIN_OVERLAPPED] = (double)NAN;
	if (b->link <= 0 || b->card <= 0)
		return;
	out[EXPLAIN_WHOLE] = fixed + (double)bytes / b->link + (double)bytes / b->card;
	out[EXPLAIN_OVERLAPPED] = fixed + (double)bytes / fmin(b->link, b->card);
}

static void note_worst(struct explain_mix *m, const struct observed_size *s, double seconds)
{
	if (isnan(seconds) || (m->worst_known && seconds <= m->worst_share))
		return;
	m->worst_known = true;
	m->worst_direction = s->direction;
	m->worst_bytes = s->bytes;
	m->worst_share = seconds; /* made a share at the end */
}

static void add_size(struct explain_mix *m, const struct explanation *e,
	const struct observation *o, const struct observed_size *s)
{
	double in_order = o->requests[s->direction] ? (double)o->sequential[s->direction] /
							      (double)o->requests[s->direction]
						    : 1;
	double both[EXPLAIN_WAYS] = { 0 };

	m->present[s->direction] = true;
	for (int q = 0; q < 2; q++) {
		const struct explained *x = table_of(e, s->direction, (enum run_order)q);
		double part = q == RUN_SEQUENTIAL ? in_order : 1 - in_order, each[EXPLAIN_WAYS];

		if (part <= 0)
			continue;
		if (!x) {
			both[EXPLAIN_NOW] = both[EXPLAIN_WHOLE] = both[EXPLAIN_OVERLAPPED] =
				(double)NAN;
			break;
		}
		cost_by_way(x, s->bytes, each);
		for (int w = 0; w < EXPLAIN_WAYS; w++)
			both[w] += part * each[w];
	}
	for (int w = 0; w < EXPLAIN_WAYS; w++)
		m->seconds[s->direction][w] += both[w] * (double)s->count;
	note_worst(m, s, both[EXPLAIN_NOW] * (double)s->count);
}

/* The counters alone: as if every request had the mean size. */
static void add_means(
	struct explain_mix *m, const struct explanation *e, const struct observation *o)
{
	m->means_only = true;
	for (int d = 0; d < 2; d++) {
		uint64_t n = o->total.requests[d];
		struct observed_size s = { .direction = (enum run_direction)d, .count = n };

		if (!n || !o->total.bytes[d])
			continue;
		s.bytes = o->total.bytes[d] / n;
		add_size(m, e, o, &s);
	}
}

static int compare_u64(const void *a, const void *b)
{
	uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;

	return (x > y) - (x < y);
}

/* What waits in the target's buffer at a flush is at most the buffer, in a sweep as in a copy: so a closing flush stands
 * for any flush. NaN when the sweep wrote nothing. */
static double median_flush_s(const struct run *swept, uint64_t *ns)
{
	double median = (double)NAN;
	size_t n = 0, middle;

	for (size_t i = 0; ns && i < swept->pass_count; i++)
		if (swept->passes[i].direction == RUN_WRITE &&
			!(swept->passes[i].flags & (RUN_PASS_ERRORS | RUN_PASS_COUNTS_NOT)))
			ns[n++] = swept->passes[i].flush_ns;
	if (n) {
		qsort(ns, n, sizeof *ns, compare_u64);
		middle = n / 2;
		median = (double)ns[middle] / 1e9;
	}
	return median;
}

void explain_mix_make(struct explain_mix *m, const struct explanation *e, const struct run *swept,
	const struct observation *o, uint64_t *scratch)
{
	*m = (struct explain_mix){ .busy_s = (double)o->total.busy_ms / 1e3 };
	if (o->traced)
		for (size_t i = 0; i < o->size_count; i++)
			add_size(m, e, o, &o->sizes[i]);
	else
		add_means(m, e, o);
	m->flush_s =
		o->total.flushes ? (double)o->total.flushes * median_flush_s(swept, scratch) : 0;
	for (int w = 0; w < EXPLAIN_WAYS; w++)
		m->total[w] = m->seconds[RUN_READ][w] + m->seconds[RUN_WRITE][w] + m->flush_s;
	m->off = m->busy_s > 0 && m->total[EXPLAIN_NOW] > 0 ? m->total[EXPLAIN_NOW] / m->busy_s - 1
							    : (double)NAN;
	m->worst_known = m->worst_known && m->total[EXPLAIN_NOW] > 0;
	m->worst_share = m->worst_known ? m->worst_share / m->total[EXPLAIN_NOW] : 0;
}
