/* The charts of a sweep. */
#include <math.h>

#include "base/size.h"
#include "findings/sweep_view.h"

/* ---- rate by request size ---- */

enum { FIT_STEPS = 120 };

struct builder {
	struct pool *pool;
	struct chart_series *series;
	size_t count;
	const struct run *run;
	const struct explanation *explanation;
};

static const char *series_name(struct pool *p, const struct point *of, const char *what)
{
	return of->in_flight > 1 ? pool_printf(p, "%s%s, %u in flight", run_order_name(of->order),
					   what, of->in_flight)
				 : pool_printf(p, "%s%s", run_order_name(of->order), what);
}

static void add_rates(
	struct builder *b, const struct points *table, unsigned style, bool acknowledged)
{
	const struct point *first = &table->list[0];
	bool writes = first->direction == RUN_WRITE;
	struct chart_point *points = pool_alloc(b->pool, table->count, sizeof *points);
	size_t n = 0;

	if (!points)
		return;
	for (size_t i = 0; i < table->count; i++) {
		const struct point *p = &table->list[i];
		const struct rate_summary *s = acknowledged ? &p->acknowledged : &p->stored;

		if (s->median > 0)
			points[n++] = (struct chart_point){ .x = (double)p->request_bytes,
				.y = s->median,
				.ranged = s->interval_known,
				.low = s->low,
				.high = s->high };
	}
	if (!n) /* stored rates that are not shown */
		return;
	b->series[b->count++] = (struct chart_series){ .name = series_name(b->pool, first,
							       !writes        ? ""
							       : acknowledged ? ", acknowledged"
									      : ", stored"),
		.style = style,
		.second = acknowledged && writes,
		.points = points,
		.count = n };
}

static const struct explained *explained_of(const struct points *table, const struct explanation *e)
{
	const struct point *p = &table->list[0];

	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];

		if (x->direction == p->direction && x->order == p->order &&
			x->in_flight == p->in_flight)
			return x;
	}
	return NULL;
}

/* n / (k t0 + n / r), where the kernel makes k pieces of n bytes. */
static double fitted_rate(const struct cost_line *l, double largest_piece, double n)
{
	double pieces = largest_piece > 0 ? ceil(n / largest_piece) : 1;

	return n / (pieces * l->fixed_s + n / l->rate);
}

/* The line fitted to the rates of that table (of writes the stored ones, where they are shown), a little beyond both ends. */
static void add_fit(struct builder *b, const struct points *table, double low, double high)
{
	const struct explained *x = explained_of(table, b->explanation);
	struct chart_point *points;

	if (!x || !x->line.known || x->line.fixed_s < 0)
		return;
	points = pool_alloc(b->pool, FIT_STEPS + 1, sizeof *points);
	if (!points)
		return;
	for (int i = 0; i <= FIT_STEPS; i++) {
		double n = low * pow(high / low, (double)i / FIT_STEPS);

		points[i] = (struct chart_point){ .x = n,
			.y = fitted_rate(&x->line, b->run->target.request_limit_bytes, n) };
	}
	b->series[b->count++] =
		(struct chart_series){ .name = "fitted: fixed cost and streaming rate",
			.fitted = true,
			.points = points,
			.count = FIT_STEPS + 1 };
}

/* The request sizes of one direction; false: it has none. */
static bool ends_of(const struct points *points, enum run_direction d, double *low, double *high)
{
	*low = *high = 0;
	for (size_t i = 0; i < points->count; i++) {
		double n = (double)points->list[i].request_bytes;

		if (points->list[i].direction != d)
			continue;
		*low = *low > 0 && *low < n ? *low : n;
		*high = *high > n ? *high : n;
	}
	return *low > 0;
}

static void add_tables(struct builder *b, const struct points *points, enum run_direction d,
	double low, double high)
{
	unsigned style = 0;

	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);

		i += table.count;
		if (table.list[0].direction != d)
			continue;
		add_rates(b, &table, style, false);
		if (d == RUN_WRITE)
			add_rates(b, &table, style, true);
		add_fit(b, &table, low, high);
		style++;
	}
}

static void add_ceiling(struct pool *p, struct chart *c, double bps)
{
	char rate[SIZE_TEXT_MAX];

	if (!(bps > 0))
		return;
	c->ceiling = bps;
	c->ceiling_name = "ceiling of the link";
	c->ceiling_words = pool_printf(p, "the link carries at most %s", rate_format(rate, bps));
}

const struct chart *sweep_chart_rates(struct pool *p, const struct points *points,
	const struct run *run, const struct explanation *e, enum run_direction direction)
{
	struct chart *c = pool_alloc(p, 1, sizeof *c);
	struct builder b = { .pool = p, .run = run, .explanation = e };
	const double beyond = 1.12;
	double low, high;

	if (!ends_of(points, direction, &low, &high))
		return NULL;
	/* A table has at least one point, and at most three series. */
	b.series = pool_alloc(p, 3 * points->count, sizeof *b.series);
	if (!c || !b.series)
		return NULL;
	add_tables(&b, points, direction, low / beyond, high * beyond);
	*c = (struct chart){ .kind = CHART_LINES,
		.title = direction == RUN_READ ? "Read rate by request size"
					       : "Write rate by request size",
		.what = "Median rate by request size with its 95 % interval as a band; the table "
			"below has the values.",
		.x_name = "size of one request (logarithmic)",
		.y_name = "rate (logarithmic)",
		.x_unit = UNIT_BYTES,
		.y_unit = UNIT_BYTES_PER_SECOND,
		.series = b.series,
		.series_count = b.count };
	add_ceiling(p, c, points->list[0].link_ceiling_bps);
	return c;
}

/* ---- how long requests take ---- */

static struct chart_box box_of(const struct point *p, const struct detail *d)
{
	return (struct chart_box){ .x = (double)p->request_bytes,
		.p1 = detail_quantile_s(d, 0.01),
		.p25 = detail_quantile_s(d, 0.25),
		.p50 = detail_quantile_s(d, 0.5),
		.p75 = detail_quantile_s(d, 0.75),
		.p99 = detail_quantile_s(d, 0.99),
		.most = p->lat_max_s };
}

const struct chart *sweep_chart_times(
	struct pool *p, const struct points *table, const struct detail *details)
{
	struct chart *c = pool_alloc(p, 1, sizeof *c);
	struct chart_box *boxes = pool_alloc(p, table->count, sizeof *boxes);
	size_t n = 0;

	if (!c || !boxes)
		return NULL;
	for (size_t i = 0; i < table->count; i++) {
		boxes[n] = box_of(&table->list[i], &details[i]);
		n += details[i].requests && boxes[n].p1 > 0;
	}
	if (!n)
		return NULL;
	*c = (struct chart){ .kind = CHART_BOXES,
		.title = pool_printf(
			p, "Time of a request: %s", point_series_words(p, &table->list[0])),
		.what = "Time of single requests of all passes together, by their size; the table "
			"below has the "
			"values, that of points the medians and p99 of passes.",
		.x_name = "size of one request (logarithmic)",
		.y_name = "time of a request (logarithmic)",
		.x_unit = UNIT_BYTES,
		.y_unit = UNIT_SECONDS,
		.boxes = boxes,
		.box_count = n };
	return c;
}

/* ---- rate over time ---- */

static const struct chart_point *trace_points(struct pool *p, const struct detail_trace *t)
{
	struct chart_point *points = pool_alloc(p, t->steps, sizeof *points);
	double step = (double)t->step_ns / 1e9;

	for (size_t i = 0; points && i < t->steps; i++)
		points[i] =
			(struct chart_point){ .x = step * (double)(i + 1), .y = t->rate_bps[i] };
	return points;
}

static size_t add_panel(
	struct pool *p, struct chart_series *out, const struct point *of, const struct detail *d)
{
	char size[SIZE_TEXT_MAX];
	const char *name = pool_printf(p, "%s", size_format(size, of->request_bytes));
	size_t n = 0;

	for (size_t k = 0; k < d->trace_count; k++) {
		const struct chart_point *points = trace_points(p, &d->traces[k]);

		if (points)
			out[n++] = (struct chart_series){
				.name = name, .points = points, .count = d->traces[k].steps
			};
	}
	return n;
}

const struct chart *sweep_chart_traces(
	struct pool *p, const struct points *table, const struct detail *details)
{
	struct chart *c = pool_alloc(p, 1, sizeof *c);
	struct chart_series *series;
	size_t most = 0, n = 0;

	for (size_t i = 0; i < table->count; i++)
		most += details[i].trace_count;
	series = pool_alloc(p, most, sizeof *series);
	if (!c || !series)
		return NULL;
	for (size_t i = 0; i < table->count; i++)
		n += add_panel(p, series + n, &table->list[i], &details[i]);
	*c = (struct chart){ .kind = CHART_PANELS,
		.title = pool_printf(p, "Rate over time within passes: %s",
			point_series_words(p, &table->list[0])),
		.intro = "One line a pass; all panels share their scales. A dip is a stall, a step "
			 "down after a fast start is a buffer that filled.",
		.what = "Rate over the time of each pass, one panel a request size; the table "
			"below has the extremes.",
		.x_name = "time since the start of the pass",
		.y_name = "rate",
		.x_unit = UNIT_SECONDS,
		.y_unit = UNIT_BYTES_PER_SECOND,
		.series = series,
		.series_count = n };
	return c;
}
