/* A sweep weighed by an observed mix of requests. */
#include "findings/explain_mix.h"

#include <math.h>
#include <stddef.h>
#include <stdlib.h>

#include "analysis/stages.h"
#include "base/number.h"

/* Of all the time: flushes that may be off by more are not known. */
#define FLUSHES_UNSURE 0.1

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
	double n = (double)bytes;

	out[EXPLAIN_NOW] = cost_seconds(&x->line, x->stored, x->point_count, bytes);
	out[EXPLAIN_WHOLE] = out[EXPLAIN_OVERLAPPED] = (double)NAN;
	if (!x->shown || b->link <= 0 || b->card <= 0)
		return;
	out[EXPLAIN_WHOLE] = n / stages_request(b->link, b->card, bytes, 0, fixed);
	/* The way of a first block into the faster stage is part of it. */
	out[EXPLAIN_OVERLAPPED] =
		n / stages_request(b->link, b->card, bytes, (uint64_t)x->block_bytes, fixed);
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

/* Of the quickest requests: what they cost whatever their size, by the smallest and the largest. */
static double quick_fixed_s(const struct explained *x)
{
	const struct cost_point *small = &x->quick[0], *large = &x->quick[x->point_count - 1];
	double bytes = (double)large->request_bytes - (double)small->request_bytes;
	double slope = bytes > 0 ? (large->seconds - small->seconds) / bytes : 0;

	return fmax(0, small->seconds - slope * (double)small->request_bytes);
}

/* What is known of a time: between the two, most likely in the middle. */
struct span {
	double low, high;
};

/* What a flush after such a write adds to the time of storing it, where no such pair was timed. The card has nothing to do
 * until the data of the next write come in: all of them at the latest, the first sectors at the earliest. While the card is
 * at work the flush itself costs nothing. */
static struct span guessed_s(const struct explained *x, uint64_t bytes)
{
	double quick = cost_seconds(&x->line, x->quick, x->point_count, bytes);
	double each = cost_seconds(&x->line, x->stored, x->point_count, bytes);
	double first = fmin(quick, quick_fixed_s(x)), idle = x->idle_flush_s;

	if (each <= 1.1 * quick)
		return (struct span){ idle, idle }; /* nothing waits when it is answered */
	if (x->flush_refused) {
		idle = fmax(0, quick + idle - each); /* the card goes on meanwhile */
		return (struct span){ idle, idle };
	}
	return (struct span){ first + fmax(0, idle - (each - first)),
		quick + fmax(0, idle - (each - quick)) };
}

static double timed_s(const struct explained *x, const struct explained_flushed *f)
{
	return fmax(0,
		f->seconds - cost_seconds(&x->line, x->stored, x->point_count, f->request_bytes));
}

/* The same from the pairs that were: straight from one size to the other. */
static struct span flush_each_s(const struct explained *x, uint64_t bytes)
{
	const struct explained_flushed *small = &x->flushed[0], *large = &x->flushed[1];
	double between = 0, each;

	if (!(small->seconds > 0))
		return guessed_s(x, bytes);
	each = timed_s(x, small);
	if (large->seconds > 0 && large->request_bytes > small->request_bytes &&
		bytes > small->request_bytes)
		between = fmin(1, (double)(bytes - small->request_bytes) /
					  (double)(large->request_bytes - small->request_bytes));
	if (between > 0)
		each += between * (timed_s(x, large) - each);
	return (struct span){ each, each };
}

/* What the observed flushes take, beyond storing the writes, one behind the other. NaN when the sweep wrote nothing. */
static struct span flushes_s(const struct explanation *e, const struct observation *o)
{
	const struct explained *x = explanation_of(e, RUN_WRITE);
	double flushes = (double)o->total.flushes, writes = (double)o->total.requests[RUN_WRITE];
	double bytes = (double)o->total.bytes[RUN_WRITE], with, idle;
	struct span each = { 0, 0 };

	if (!(flushes > 0))
		return each;
	if (!x)
		return (struct span){ (double)NAN, (double)NAN };
	with = fmin(flushes, writes);
	if (writes > 0)
		each = flush_each_s(x, number_whole(bytes / writes));
	idle = (flushes - with) * x->idle_flush_s;
	return (struct span){ with * each.low + idle, with * each.high + idle };
}

/* The middle, unless that could be off by so much of the whole that it says little. */
static double known_flush_s(const struct explain_mix *m, struct span flushes)
{
	double middle = (flushes.low + flushes.high) / 2;
	double all =
		m->seconds[RUN_READ][EXPLAIN_NOW] + m->seconds[RUN_WRITE][EXPLAIN_NOW] + middle;

	return (flushes.high - flushes.low) / 2 > FLUSHES_UNSURE * all ? (double)NAN : middle;
}

void explain_mix_make(
	struct explain_mix *m, const struct explanation *e, const struct observation *o)
{
	*m = (struct explain_mix){ .busy_s = (double)o->total.busy_ms / 1e3 };
	if (o->traced)
		for (size_t i = 0; i < o->size_count; i++)
			add_size(m, e, o, &o->sizes[i]);
	else
		add_means(m, e, o);
	m->flush_s = known_flush_s(m, flushes_s(e, o));
	m->shown = !explanation_of(e, RUN_WRITE) || explanation_of(e, RUN_WRITE)->shown;
	for (int w = 0; w < EXPLAIN_WAYS; w++)
		m->total[w] = m->seconds[RUN_READ][w] + m->seconds[RUN_WRITE][w] + m->flush_s;
	m->off = m->busy_s > 0 && m->total[EXPLAIN_NOW] > 0 ? m->total[EXPLAIN_NOW] / m->busy_s - 1
							    : (double)NAN;
	m->worst_known = m->worst_known && m->total[EXPLAIN_NOW] > 0;
	m->worst_share = m->worst_known ? m->worst_share / m->total[EXPLAIN_NOW] : 0;
}
