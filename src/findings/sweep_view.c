/* What a sweep means. */
#include "findings/sweep_view.h"

#include <math.h>
#include <stdlib.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/explain_view.h"
#include "findings/numbers.h"
#include "findings/phase_tables.h"

/* What the view is made from, kept with it. */
struct sweep {
	const struct run *run;
	struct points points;
	struct details details;
	struct explanation explanation;
};

static void release_sweep(void *what)
{
	struct sweep *s = what;

	explanation_release(&s->explanation);
	details_release(&s->details);
	points_release(&s->points);
	free(s);
}

static struct sweep *load(const struct run *run, struct error *err)
{
	static const struct explain_known nothing_known = { .usual_bytes = 4096 };
	struct sweep *s = calloc(1, sizeof *s);

	if (!s) {
		error_fill(err, ERROR_IO, "out of memory for '%s'", run->path);
		return NULL;
	}
	s->run = run;
	if (points_make(&s->points, run, err) < 0 ||
		details_load(&s->details, run, &s->points, err) < 0 ||
		explanation_make(&s->explanation, run, &nothing_known, err) < 0) {
		release_sweep(s);
		return NULL;
	}
	return s;
}

/* ---- tables ---- */

static void add_passes(struct view *v, const struct run *run)
{
	struct sweep_pass *rows = pool_alloc(&v->pool, run->pass_count, sizeof *rows);
	char flags[160];

	for (size_t i = 0; rows && i < run->pass_count; i++) {
		rows[i].pass = &run->passes[i];
		if (!run->passes[i].flags)
			continue;
		run_pass_flags_format(flags, sizeof flags, run->passes[i].flags);
		rows[i].flags = pool_printf(&v->pool, "%s", flags);
	}
	view_table(v, &sweep_passes_spec, rows, rows ? run->pass_count : 0);
}

static void add_phases(struct view *v, const struct sweep *s)
{
	struct table rows = phases_table(&v->pool, &s->points);

	view_table(v, rows.spec, rows.rows, rows.count);
}

static void add_times(struct view *v, const struct sweep *s)
{
	struct sweep_times *rows = pool_alloc(&v->pool, s->points.count, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < s->points.count; i++)
		if (s->details.list[i].requests)
			rows[n++] = (struct sweep_times){ &s->points.list[i], &s->details.list[i] };
	view_table(v, &sweep_times_spec, rows, n);
}

/* False: nothing was followed. */
static bool find_extremes(
	struct sweep_stretch *out, const struct point *point, const struct detail *d)
{
	*out = (struct sweep_stretch){
		.point = point, .drawn = d->trace_count, .passes = d->traces_seen, .slowest_bps = -1
	};
	for (size_t k = 0; k < d->trace_count; k++) {
		for (size_t i = 0; i < d->traces[k].steps; i++) {
			double rate = d->traces[k].rate_bps[i];

			out->fastest_bps = rate > out->fastest_bps ? rate : out->fastest_bps;
			if (out->slowest_bps >= 0 && rate >= out->slowest_bps)
				continue;
			out->slowest_bps = rate;
			out->slowest_at_s = (double)d->traces[k].step_ns * (double)i / 1e9;
			out->slowest_pass = k + 1;
		}
	}
	if (out->slowest_bps < 0)
		return false;
	out->step_s = (double)d->traces[0].step_ns / 1e9;
	return true;
}

static void add_stretches(struct view *v, const struct sweep *s)
{
	struct sweep_stretch *rows = pool_alloc(&v->pool, s->points.count, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < s->points.count; i++)
		n += find_extremes(&rows[n], &s->points.list[i], &s->details.list[i]);
	view_table(v, &sweep_stretches_spec, rows, n);
}

static void add_tables(struct view *v, const struct sweep *s)
{
	view_table(v, &sweep_plan_spec, s->run, s->run->plan.size_count ? 1 : 0);
	view_table(v, &sweep_points_spec, s->points.list, s->points.count);
	add_phases(v, s);
	add_times(v, s);
	add_stretches(v, s);
	add_passes(v, s->run);
}

/* ---- screens ---- */

static const char *capital(struct pool *p, const char *words)
{
	return *words >= 'a' && *words <= 'z'
		       ? pool_printf(p, "%c%s", *words - 'a' + 'A', words + 1)
		       : words;
}

/* Explain's own view has their codes. */
static void show_explained(struct view *v, const struct sweep *s, enum run_direction d)
{
	struct findings *says = pool_alloc(&v->pool, 1, sizeof *says);

	if (!says)
		return;
	says->pool = &v->pool;
	explain_findings_of(says, &s->explanation, d);
	if (says->count)
		view_section(v, (struct section){ .on = ON_PAGE,
					.level = 3,
					.heading = pool_printf(&v->pool, "What the %ss say",
						run_direction_name(d)),
					.says = says });
}

static void show_points(struct view *v, const struct sweep *s, enum run_direction d)
{
	for (size_t i = 0; i < s->points.count;) {
		struct points table = points_table(&s->points, i);

		i += table.count;
		if (table.list[0].direction == d)
			view_section(v,
				(struct section){ .on = ON_SCREENS,
					.level = 3,
					.heading = capital(&v->pool,
						point_series_words(&v->pool, &table.list[0])),
					.table = { &sweep_points_spec, table.list, table.count } });
	}
}

static const char *range_words(struct pool *p, struct value low, struct value high)
{
	const char *words;
	struct text t;

	text_init(&t);
	value_add(&t, low);
	text_adds(&t, high.known ? " .. " : " and up");
	if (high.known)
		value_add(&t, high);
	words = pool_printf(p, "%s", t.bytes);
	p->failed |= t.failed;
	text_release(&t);
	return words;
}

static struct sweep_fit fit_of(struct pool *p, const struct explained *x)
{
	const struct cost_line *l = &x->line;
	struct value zero = { .unit = UNIT_COUNT, .known = true };

	return (struct sweep_fit){ .explained = x,
		.fixed_range = range_words(p,
			l->fixed_bounds.low > 0 ? value_seconds(l->fixed_bounds.low) : zero,
			value_seconds(fmax(l->fixed_bounds.high, 0))),
		.rate_range = range_words(p, value_rate(l->rate_bounds.low),
			value_if(l->rate_bounds.high > 0, value_rate(l->rate_bounds.high))) };
}

static void show_fits(struct view *v, const struct sweep *s, enum run_direction d)
{
	struct sweep_fit *rows = pool_alloc(&v->pool, s->explanation.count, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < s->explanation.count; i++) {
		const struct explained *x = &s->explanation.tables[i];

		if (x->direction == d && x->line.known)
			rows[n++] = fit_of(&v->pool, x);
	}
	if (n)
		view_section(v,
			(struct section){ .on = ON_PAGE,
				.level = 3,
				.heading = "Fitted line: time = fixed cost + bytes / streaming "
					   "rate",
				.intro = "Half at: the size that reaches half the streaming rate. "
					 "Worst: how far the farthest point lies from the line.",
				.table = { &sweep_fit_spec, rows, n } });
}

/* The rows of a view's table that belong to one table of points; rows begin with their point. */
static struct table rows_of(const struct view *v, const char *key, const struct points *table)
{
	const struct table *all = view_find_table(v, key);
	const struct point *last = table->list + table->count;
	struct table some = { .spec = all->spec };

	for (size_t i = 0; i < all->count; i++) {
		const char *row = (const char *)all->rows + i * all->spec->row_bytes;
		const struct point *of = *(const struct point *const *)(const void *)row;

		if (of < table->list || of >= last)
			continue;
		if (!some.count)
			some.rows = row;
		some.count++;
	}
	return some;
}

static void show_details(struct view *v, const struct sweep *s, enum run_direction d)
{
	for (size_t i = 0; i < s->points.count;) {
		struct points table = points_table(&s->points, i);
		const struct detail *details = &s->details.list[i];

		i += table.count;
		if (table.list[0].direction != d)
			continue;
		view_section(v, (struct section){ .on = ON_PAGE,
					.chart = sweep_chart_times(&v->pool, &table, details),
					.table = rows_of(v, "request_times", &table) });
		view_section(v, (struct section){ .on = ON_PAGE,
					.chart = sweep_chart_traces(&v->pool, &table, details),
					.table = rows_of(v, "stretches", &table) });
	}
}

static void show_direction(struct view *v, const struct sweep *s, enum run_direction d)
{
	const struct chart *rates =
		sweep_chart_rates(&v->pool, &s->points, s->run, &s->explanation, d);

	if (!rates)
		return;
	view_section(v,
		(struct section){
			.on = ON_PAGE, .level = 2, .heading = d == RUN_READ ? "Reads" : "Writes" });
	show_explained(v, s, d);
	view_section(v, (struct section){ .on = ON_PAGE, .chart = rates });
	show_points(v, s, d);
	phases_show(v, &s->points, d);
	show_fits(v, s, d);
	show_details(v, s, d);
}

static bool tells_of_storing(const struct sweep *s)
{
	for (size_t i = 0; i < s->points.count; i++)
		if (s->points.list[i].direction == RUN_WRITE && s->points.list[i].shown)
			return true;
	return false;
}

static void show_method(struct view *v, const struct sweep *s)
{
	view_section(v,
		(struct section){ .on = ON_TEXT,
			.note = "Rates are medians over passes; beside each, in its unit, the 95 % "
				"range of the typical rate (Student's t over passes, on "
				"logarithms). p50 and p99 are medians over passes of each pass's "
				"own figure; slowest is the slowest request of all." });
	/* A sweep reads nothing back. */
	if (tells_of_storing(s))
		view_section(v, (struct section){ .on = ON_SCREENS,
					.note = "Stored is told by time: when the target was done "
						"with what it "
						"had been sent, not that each byte is right. "
						"'blkassay verify' "
						"reads them back." });
	if (s->run->damaged_lines)
		view_section(v,
			(struct section){ .on = ON_PAGE,
				.note = "Distributions and rates over time are left out: lines of "
					"the record are damaged, so they cannot be told to belong "
					"to their pass." });
	view_section(v, (struct section){ .on = ON_PAGE,
				.level = 2,
				.heading = "What the columns mean",
				.glossary = &sweep_points_spec });
}

int sweep_view(struct view *v, const struct run *run, struct error *err)
{
	struct sweep *s = load(run, err);

	if (!s)
		return -1;
	view_begin(v, "sweep");
	pool_own(&v->pool, release_sweep, s);
	if (v->pool.failed)
		return view_end(v, err);
	view_of_run(v, run);
	sweep_findings_add(&v->findings, run, &s->points);
	add_tables(v, s);
	show_direction(v, s, RUN_READ);
	show_direction(v, s, RUN_WRITE);
	phases_show_notes(v, run);
	if (s->points.count)
		show_method(v, s);
	return view_end(v, err);
}
