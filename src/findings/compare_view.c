/* The view of a comparison. */
#include <math.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/compare_phases.h"
#include "findings/compared.h"

static const struct run *first_of(const struct compared *c, enum compare_side side)
{
	return &c->heads[side == COMPARE_BASE ? 0 : c->runs[COMPARE_BASE]];
}

static const char *name_of(const struct compared *c, enum compare_side side)
{
	const struct run_head *head = &first_of(c, side)->head;

	return *head->label ? head->label : head->id;
}

static void add_side(
	struct view *v, const struct compared *c, enum compare_side side, const char *what)
{
	const struct run_head *head = &first_of(c, side)->head;
	size_t runs = c->runs[side], passes = c->passes[side];

	view_fact(v, what,
		pool_printf(&v->pool, "%s%srun %s%s, %zu pass%s%s", head->label,
			*head->label ? ": " : "", head->id, runs > 1 ? " and others" : "", passes,
			passes == 1 ? "" : "es",
			runs > 1 ? pool_printf(&v->pool, " in %zu runs", runs) : ""));
}

static void add_summary(struct view *v, const struct compared *c, const struct gate_request *gate)
{
	struct compare_summary *row = pool_alloc(&v->pool, 1, sizeof *row);

	if (!row)
		return;
	*row = (struct compare_summary){ .speaks_of = c->by_runs ? "builds" : "runs",
		.gate_given = gate->given,
		.gate = gate->result,
		.allowed = gate->allowed };
	for (int side = 0; side < 2; side++) {
		row->runs[side] = c->runs[side];
		row->passes[side] = c->passes[side];
	}
	view_table(v, &compare_summary_spec, row, 1);
}

/* ---- the chart ---- */

static const struct chart_series looks[] = {
	[COMPARE_TOO_FEW] = { .name = "too few for a verdict", .style = 3, .second = true },
	[COMPARE_NOT_SHOWN] = { .name = "not shown to differ", .style = 0, .second = true },
	[COMPARE_HIGHER] = { .name = "faster", .style = 2 },
	[COMPARE_LOWER] = { .name = "slower", .style = 1 },
};

static const char *table_name(struct pool *pool, const struct compare_point *p)
{
	const char *in_flight =
		p->in_flight > 1 ? pool_printf(pool, ", %u in flight", p->in_flight) : "";

	return pool_printf(pool, "%s %ss%s", p->order == RUN_RANDOM ? "Random" : "Sequential",
		run_direction_name(p->direction), in_flight);
}

static struct chart_ratio ratio_of(struct pool *pool, const struct compare_point *p)
{
	const struct comparison *r = &p->rate;
	char size[SIZE_TEXT_MAX];

	return (struct chart_ratio){ .group = table_name(pool, p),
		.name = pool_printf(pool, "%s", size_format(size, p->request_bytes)),
		.ratio = isfinite(r->ratio) ? r->ratio : 0,
		.ranged = isfinite(r->low) && isfinite(r->high) && r->low > 0,
		.low = r->low,
		.high = r->high,
		.series = r->verdict };
}

static void show_chart(struct view *v, const struct compared *c)
{
	struct chart *chart = pool_alloc(&v->pool, 1, sizeof *chart);
	struct chart_ratio *rows = pool_alloc(&v->pool, c->count, sizeof *rows);

	if (!chart || !rows)
		return;
	for (size_t i = 0; i < c->count; i++)
		rows[i] = ratio_of(&v->pool, &c->points[i]);
	*chart = (struct chart){ .kind = CHART_RATIOS,
		.title = "Rate of the new side over the base",
		.what = "Rate of the new side over that of the base, with 95 % ranges; the table "
			"below has the values.",
		.x_name = "rate, new over base (1: no difference)",
		.series = looks,
		.series_count = sizeof looks / sizeof *looks,
		.ratios = rows,
		.ratio_count = c->count };
	view_section(v, (struct section){ .on = ON_PAGE, .chart = chart });
}

/* ---- tables ---- */

static size_t table_end(const struct compared *c, size_t first)
{
	size_t end = first + 1;

	while (end < c->count && compare_same_table(&c->points[first], &c->points[end]))
		end++;
	return end;
}

static bool any_p99(const struct compared *c, size_t first, size_t end)
{
	for (size_t i = first; i < end; i++)
		if (isfinite(c->points[i].p99.ratio))
			return true;
	return false;
}

static bool all_stored(const struct compared *c, size_t first, size_t end)
{
	for (size_t i = first; i < end; i++)
		if (c->points[i].direction != RUN_WRITE || c->points[i].basis != COMPARE_STORED)
			return false;
	return true;
}

static bool any_stored(const struct compared *c)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->points[i].direction == RUN_WRITE && c->points[i].basis == COMPARE_STORED)
			return true;
	return false;
}

static void show_table(struct view *v, const struct compared *c, size_t first, size_t end)
{
	const struct compare_point *rows = &c->points[first];
	const char *name = table_name(&v->pool, rows);

	view_section(v, (struct section){ .on = ON_SCREENS,
				.level = 2,
				.heading = all_stored(c, first, end)
						   ? pool_printf(&v->pool, "%s, stored", name)
						   : name,
				.table = { &compare_points_spec, rows, end - first } });
	if (any_p99(c, first, end))
		view_section(v, (struct section){ .on = ON_SCREENS,
					.table = { &compare_tails_spec, rows, end - first } });
}

static void show_phases(struct view *v, const struct compared *c, size_t first, size_t end);

static void show_both(struct view *v, const struct compared *c, size_t first, size_t end)
{
	show_table(v, c, first, end);
	show_phases(v, c, first, end);
}

static void add_phases(struct view *v, const struct compared *c)
{
	struct table all = compare_phases_table(&v->pool, c, 0, c->count);

	view_table(v, all.spec, all.rows, all.count);
}

static void show_phases(struct view *v, const struct compared *c, size_t first, size_t end)
{
	struct table rows = compare_phases_table(&v->pool, c, first, end);

	if (rows.count)
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .intro = "Where the time of a request goes, base and new side:",
				   .table = rows });
}

int compare_view(struct view *v, const struct compared *c, const struct gate_request *gate,
	struct error *err)
{
	view_begin(v, "compare");
	v->runs = (struct table){ &view_runs_spec, c->heads, c->runs[0] + c->runs[1] };
	v->title = pool_printf(
		&v->pool, "%s against %s", name_of(c, COMPARE_NEW), name_of(c, COMPARE_BASE));
	v->subtitle = "Comparison of two builds";
	v->head = "Comparison";
	add_side(v, c, COMPARE_BASE, "base");
	add_side(v, c, COMPARE_NEW, "new");
	compare_findings_add(&v->findings, c, gate);
	add_summary(v, c, gate);
	view_table(v, &compare_points_spec, c->points, c->count);
	add_phases(v, c);
	show_chart(v, c);
	for (size_t i = 0; i < c->count; i = table_end(c, i))
		show_both(v, c, i, table_end(c, i));
	view_section(
		v, (struct section){ .on = ON_SCREENS,
			   .note = "The change and its 95 % range are those of each point alone; "
				   "verdicts are corrected for the number of points (Welch's t on "
				   "logarithms, Holm 1979). Detectable: the smallest change that "
				   "another comparison like this would find 4 times in 5." });
	if (any_stored(c))
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .note = "Stored is told by time, not by reading back: a build "
					   "that drops writes looks fast. 'blkassay verify' and "
					   "'blkassay cut' tell." });
	view_section(v, (struct section){ .on = ON_PAGE,
				.level = 2,
				.heading = "What the columns mean",
				.glossary = &compare_points_spec });
	return view_end(v, err);
}
