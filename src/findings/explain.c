/* From points to explanations. */
#include "findings/explain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "findings/points.h"

/* Larger ones come from a damaged or invented record. */
#define REQUEST_MAX (UINT64_C(1) << 40)

enum { PASSES_NOT_USED = RUN_PASS_FOREIGN_IO | RUN_PASS_ERRORS | RUN_PASS_COUNTS_NOT };

/* Geometric mean, as rates and comparisons have it. */
struct log_mean {
	double sum,
		squares; /* squares of the distance from the first value, which keeps them small */
	double first;
	size_t n;
};

static void log_mean_add(struct log_mean *m, double value)
{
	double v = log(value);

	if (!m->n++)
		m->first = v;
	m->sum += v - m->first;
	m->squares += (v - m->first) * (v - m->first);
}

static double log_mean_value(const struct log_mean *m)
{
	return m->n ? exp(m->first + m->sum / (double)m->n) : 0;
}

static double log_mean_sd(const struct log_mean *m)
{
	double n = (double)m->n;

	return m->n > 1 ? sqrt(fmax(0, m->squares - m->sum * m->sum / n) / (n - 1)) : 0;
}

static bool usable(const struct run_pass *p)
{
	return p->requests && p->busy_ns && !(p->flags & PASSES_NOT_USED);
}

/* Device requests per host request: as the kernel counted, else from its request limit. */
static double pieces_of(const struct point *p, uint32_t request_limit)
{
	double counted = p->device_requests_each;

	if (counted > 0.01 &&
		counted < 1e6) /* beyond that the counters are not about these requests */
		return counted;
	if (request_limit && p->request_bytes > request_limit)
		return ceil((double)p->request_bytes / request_limit);
	return 1;
}

static void note_behind(struct explained *x, const struct point *p, double flush_s)
{
	const struct cost_point *stored = &x->stored[x->point_count];
	double ratio = stored->seconds / x->points[x->point_count].seconds;

	if (!(ratio > x->behind))
		return;
	x->behind = ratio;
	x->behind_at = p->request_bytes;
	x->behind_flush_s = flush_s;
	x->behind_bytes = flush_s * (double)p->request_bytes / stored->seconds;
}

static void take_point(struct explained *x, const struct point *p, uint32_t request_limit)
{
	struct log_mean acknowledged = { 0 }, stored = { 0 };
	struct cost_point c = { .request_bytes = p->request_bytes,
		.pieces = pieces_of(p, request_limit) };
	double flush_s = 0;

	for (size_t i = 0; i < p->pass_count; i++) {
		const struct run_pass *pass = p->passes[i];
		double requests = (double)pass->requests, busy = (double)pass->busy_ns / 1e9;

		if (!usable(pass))
			continue;
		log_mean_add(&acknowledged, busy / requests);
		log_mean_add(&stored, (busy + (double)pass->flush_ns / 1e9) / requests);
		flush_s += (double)pass->flush_ns / 1e9;
	}
	x->passes += acknowledged.n;
	x->left_out += p->left_out + p->pass_count - acknowledged.n;
	if (!acknowledged.n || x->point_count == COST_POINTS_MAX || !p->request_bytes ||
		p->request_bytes > REQUEST_MAX)
		return;
	c.passes = (double)acknowledged.n;
	c.seconds = log_mean_value(&acknowledged);
	c.log_sd = log_mean_sd(&acknowledged);
	x->points[x->point_count] = c;
	c.seconds = log_mean_value(&stored);
	c.log_sd = log_mean_sd(&stored);
	x->stored[x->point_count] = c;
	note_behind(x, p, flush_s / (double)acknowledged.n);
	x->point_count++;
}

static void judge(struct explained *x, const struct explain_known *known)
{
	bool write = x->direction == RUN_WRITE;
	struct diagnose_input in = { .line = &x->line,
		.points = x->points,
		.point_count = x->point_count,
		.usual_bytes = known->usual_bytes,
		.usb = x->usb,
		.link = known->link,
		.card = known->card[x->direction],
		.card_ceiling = write ? known->bus.write : known->bus.read,
		.behind = x->behind };

	cost_line_make(&x->line, x->points, x->point_count);
	diagnose(&x->diagnosis, &in);
}

static const struct usb_link *link_of(const struct run_target *t)
{
	if (strcmp(t->transport, "usb") != 0 && !t->modelled)
		return NULL;
	return usb_link_at(t->link_bits_per_second);
}

static void take_table(struct explanation *e, const struct points *table, const struct run *run)
{
	const struct point *first = &table->list[0];
	struct explained *x = &e->tables[e->count];

	*x = (struct explained){ .direction = first->direction,
		.order = first->order,
		.in_flight = first->in_flight,
		.usb = link_of(&run->target) };
	for (size_t i = 0; i < table->count; i++)
		take_point(x, &table->list[i], run->target.request_limit_bytes);
	if (!x->point_count)
		return;
	judge(x, &e->known);
	e->count++;
}

static size_t count_tables(const struct points *points)
{
	size_t n = 0;

	for (size_t i = 0; i < points->count; n++)
		i += points_table(points, i).count;
	return n;
}

int explanation_make(struct explanation *e, const struct run *run,
	const struct explain_known *known, struct error *err)
{
	struct points points;

	*e = (struct explanation){ .known = *known };
	if (points_make(&points, run, err) < 0)
		return -1;
	e->tables = calloc(count_tables(&points) + 1, sizeof *e->tables);
	if (!e->tables) {
		points_release(&points);
		return error_set(err, ERROR_IO, "out of memory for '%s'", run->path);
	}
	for (size_t i = 0; i < points.count;) {
		struct points table = points_table(&points, i);

		take_table(e, &table, run);
		i += table.count;
	}
	points_release(&points);
	return 0;
}

void explanation_release(struct explanation *e)
{
	free(e->tables);
	*e = (struct explanation){ 0 };
}

const struct explained *explanation_of(const struct explanation *e, enum run_direction direction)
{
	for (size_t i = 0; i < e->count; i++)
		if (e->tables[i].direction == direction)
			return &e->tables[i];
	return NULL;
}
