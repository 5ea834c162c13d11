/* Charts and tables of a sweep. */
#include "report/page_sweep.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/columns.h"
#include "findings/details.h"
#include "findings/explain.h"
#include "findings/explain_advice.h"
#include "findings/figures.h"
#include "report/chart.h"
#include "report/page.h"
#include "report/page_figure.h"
#include "report/svg.h"

enum { SERIES_MAX = 8 };

/* ---- tables ---- */

static void add_point_table(struct text *t, const struct points *table)
{
	text_adds(t, "<div class=\"wide\"><table><thead><tr>");
	for (size_t c = 0; c < point_column_count; c++) {
		if (!point_columns[c].shown(table))
			continue;
		text_adds(t, "<th title=\"");
		markup_add(t, point_columns[c].meaning);
		text_adds(t, "\">");
		markup_add(t, point_columns[c].heading);
		text_adds(t, "</th>");
	}
	text_adds(t, "</tr></thead><tbody>\n");
	for (size_t i = 0; i < table->count; i++) {
		text_adds(t, "<tr>");
		for (size_t c = 0; c < point_column_count; c++) {
			if (!point_columns[c].shown(table))
				continue;
			text_adds(t, "<td>");
			point_columns[c].value(t, &table->list[i]);
			text_adds(t, "</td>");
		}
		text_adds(t, "</tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

static void add_duration_cell(struct text *t, double seconds)
{
	text_adds(t, "<td>");
	figure_add_duration(t, seconds);
	text_adds(t, "</td>");
}

static void add_request_cell(struct text *t, const struct point *p)
{
	char size[SIZE_TEXT_MAX];

	text_addf(t, "<tr><td>%s</td>", size_format(size, p->request_bytes));
}

/* "0.948 ms (0.9..1.0)" and the like, of every fitted line. */
static void add_fit_row(struct text *t, const struct explained *x)
{
	char size[SIZE_TEXT_MAX];

	text_addf(t, "<tr><td>%s</td>", run_order_name(x->order));
	add_duration_cell(t, x->line.fixed_s);
	text_adds(t, "<td>");
	figure_add_duration(t, x->line.fixed_bounds.low);
	text_adds(t, " .. ");
	figure_add_duration(t, x->line.fixed_bounds.high);
	text_adds(t, "</td><td>");
	figure_add_rate(t, x->line.rate);
	text_adds(t, "</td><td>");
	figure_add_rate(t, x->line.rate_bounds.low);
	if (isfinite(x->line.rate_bounds.high) && x->line.rate_bounds.high > 0) {
		text_adds(t, " .. ");
		figure_add_rate(t, x->line.rate_bounds.high);
	} else {
		text_adds(t, " and up");
	}
	text_addf(t, "</td><td>%s</td><td>",
		x->line.half_known ? size_format_decimal(size, x->line.half_bytes) : "-");
	figure_add_percent(t, x->line.worst);
	text_adds(t, "</td></tr>\n");
}

static void add_fit_table(struct text *t, const struct explanation *e, enum run_direction direction)
{
	size_t known = 0;

	for (size_t i = 0; i < e->count; i++)
		known += e->tables[i].direction == direction && e->tables[i].line.known;
	if (!known)
		return;
	text_adds(t,
		"<h3>Fitted line: time = fixed cost + bytes / streaming rate</h3>\n"
		"<p class=\"sub\">Half at: the size that reaches half the streaming rate. Worst: "
		"how far the farthest point lies from the line.</p>\n"
		"<div class=\"wide\"><table><thead><tr><th>order</th><th>fixed cost</th>"
		"<th>95 % interval</th><th>streaming rate</th><th>95 % interval</th>"
		"<th>half at</th><th>worst</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < e->count; i++)
		if (e->tables[i].direction == direction && e->tables[i].line.known)
			add_fit_row(t, &e->tables[i]);
	text_adds(t, "</tbody></table></div>\n");
}

static void add_latency_table(
	struct text *t, const struct points *table, const struct detail *details)
{
	static const double shares[] = { 0.01, 0.25, 0.5, 0.75, 0.9, 0.99, 0.999 };

	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>request</th><th>requests</th>"
		     "<th>p1</th><th>p25</th><th>p50</th><th>p75</th><th>p90</th><th>p99</th>"
		     "<th>p99.9</th><th>slowest</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < table->count; i++) {
		if (!details[i].requests)
			continue;
		add_request_cell(t, &table->list[i]);
		text_addf(t, "<td>%llu</td>", (unsigned long long)details[i].requests);
		for (size_t k = 0; k < sizeof shares / sizeof *shares; k++)
			add_duration_cell(t, detail_quantile_s(&details[i], shares[k]));
		add_duration_cell(t, table->list[i].lat_max_s);
		text_adds(t, "</tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

struct extremes {
	double lowest, highest, lowest_at_s;
	size_t lowest_pass, stretches;
};

static struct extremes extremes_of(const struct detail *d)
{
	struct extremes e = { .lowest = -1 };

	for (size_t k = 0; k < d->trace_count; k++) {
		for (size_t i = 0; i < d->traces[k].steps; i++) {
			double rate = d->traces[k].rate_bps[i];

			e.stretches++;
			if (rate > e.highest)
				e.highest = rate;
			if (e.lowest >= 0 && rate >= e.lowest)
				continue;
			e.lowest = rate;
			e.lowest_at_s = (double)d->traces[k].step_ns * (double)i / 1e9;
			e.lowest_pass = k + 1;
		}
	}
	return e;
}

static void add_trace_table(
	struct text *t, const struct points *table, const struct detail *details)
{
	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>request</th><th>passes drawn</th>"
		     "<th>stretch</th><th>slowest stretch</th><th>in drawn pass</th><th>at</th>"
		     "<th>fastest stretch</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < table->count; i++) {
		const struct detail *d = &details[i];
		struct extremes e = extremes_of(d);

		if (!e.stretches)
			continue;
		add_request_cell(t, &table->list[i]);
		text_addf(t, "<td>%zu of %zu</td>", d->trace_count, d->traces_seen);
		add_duration_cell(t, (double)d->traces[0].step_ns / 1e9);
		text_adds(t, "<td>");
		figure_add_rate(t, e.lowest);
		text_addf(t, "</td><td>%zu</td>", e.lowest_pass);
		text_addf(t, "<td>%.3g s</td>", e.lowest_at_s);
		text_adds(t, "<td>");
		figure_add_rate(t, e.highest);
		text_adds(t, "</td></tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

/* ---- keys ---- */

static void add_series_name(struct text *t, const struct chart_table_series *s)
{
	const struct point *p = &s->table.list[0];

	text_adds(t, run_order_name(p->order));
	if (p->direction == RUN_WRITE)
		text_adds(t, s->acknowledged ? ", acknowledged" : ", stored");
	if (p->in_flight > 1)
		text_addf(t, ", %u in flight", p->in_flight);
}

static bool any_interval(const struct chart_table_series *s)
{
	for (size_t i = 0; i < s->table.count; i++) {
		const struct point *p = &s->table.list[i];

		if ((s->acknowledged ? &p->acknowledged : &p->stored)->interval_known)
			return true;
	}
	return false;
}

static void add_rate_key(struct text *t, const struct chart_table_series *series, size_t count)
{
	struct text name;
	char class[24];
	bool fit = false, band = false;

	text_init(&name);
	page_key_begin(t);
	for (size_t i = 0; i < count; i++) {
		text_reset(&name);
		add_series_name(&name, &series[i]);
		snprintf(class, sizeof class, "line l%u%s", series[i].style % 4,
			series[i].acknowledged ? " ack" : "");
		page_key_add(t, class, (int)series[i].style, series[i].acknowledged, name.bytes);
		fit = fit || series[i].fit.known;
		band = band || any_interval(&series[i]);
	}
	if (band)
		page_key_add_box(t, "band b0", "95 % interval");
	if (fit)
		page_key_add(t, "fit", -1, false, "fitted: fixed cost and streaming rate");
	if (series[0].table.list[0].link_ceiling_bps > 0)
		page_key_add(t, "ceiling", -1, false, "ceiling of the link");
	page_key_end(t);
	text_release(&name);
}

static void add_latency_key(struct text *t)
{
	page_key_begin(t);
	page_key_add_box(t, "half", "middle half");
	page_key_add(t, "median", -1, false, "median");
	page_key_add(t, NULL, 2, false, "p99");
	page_key_add(t, NULL, 0, true, "slowest of all");
	page_key_add(t, "whisker", -1, false, "from p1 up");
	page_key_end(t);
}

/* ---- figures ---- */

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

/* The line fitted to the acknowledged rates of that table. */
static struct chart_fit fit_of(
	const struct points *table, const struct explanation *e, const struct run *run)
{
	const struct explained *x = explained_of(table, e);

	if (!x || !x->line.known || x->line.fixed_s < 0)
		return (struct chart_fit){ 0 };
	return (struct chart_fit){ .known = true,
		.seconds_per_request = x->line.fixed_s,
		.bytes_per_second = x->line.rate,
		.largest_piece = run->target.request_limit_bytes };
}

/* The tables of one direction as series: writes twice, stored and acknowledged. */
static size_t collect_series(struct chart_table_series *out, const struct points *points,
	const struct run *run, const struct explanation *e, enum run_direction direction)
{
	size_t n = 0;
	unsigned style = 0;

	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);

		i += table.count;
		if (table.list[0].direction != direction || n + 2 > SERIES_MAX)
			continue;
		out[n++] = (struct chart_table_series){
			.table = table, .style = style, .fit = fit_of(&table, e, run)
		};
		if (direction == RUN_WRITE) {
			/* The line belongs to the acknowledged rates. */
			out[n] = out[n - 1];
			out[n - 1].fit.known = false;
			out[n++].acknowledged = true;
		}
		style++;
	}
	return n;
}

static void add_advice(void *context, bool caution, const char *sentence)
{
	struct text *t = context;

	text_adds(t, caution ? "<li class=\"look\"><b>Look:</b>" : "<li>");
	markup_add(t, sentence);
	text_adds(t, "</li>\n");
}

static void add_explained(struct text *t, const struct explanation *e, enum run_direction direction)
{
	struct advice_visitor visitor = { t, add_advice };

	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];

		if (x->direction != direction)
			continue;
		text_addf(t, "<h3>What the %s %ss say</h3>\n<ul class=\"says\">\n",
			run_order_name(x->order), run_direction_name(direction));
		explain_advice_visit(x, &visitor);
		text_adds(t, "</ul>\n");
	}
}

static void add_rates(struct text *t, const struct points *points, const struct run *run,
	const struct explanation *e, enum run_direction direction)
{
	struct chart_table_series series[SERIES_MAX];
	size_t count = collect_series(series, points, run, e, direction);
	const char *title =
		direction == RUN_READ ? "Read rate by request size" : "Write rate by request size";
	struct text name;

	if (!count)
		return;
	page_section(t, direction == RUN_READ ? "Reads" : "Writes");
	add_explained(t, e, direction);
	page_figure_begin(t, title);
	add_rate_key(t, series, count);
	chart_rate(t, title, series, count);
	page_figure_end(t);
	text_init(&name);
	for (size_t i = 0; i < count; i++) {
		if (series[i].acknowledged)
			continue; /* the stored series' table has both */
		text_reset(&name);
		text_addf(&name, "%s %ss", run_order_name(series[i].table.list[0].order),
			run_direction_name(direction));
		name.bytes[0] = (char)(name.bytes[0] - 'a' + 'A');
		text_adds(t, "<h3>");
		markup_add(t, name.bytes);
		text_adds(t, "</h3>\n");
		add_point_table(t, &series[i].table);
	}
	text_release(&name);
	add_fit_table(t, e, direction);
}

static void table_title(struct text *title, const char *what, const struct points *table)
{
	text_reset(title);
	text_addf(title, "%s: %s %ss", what, run_order_name(table->list[0].order),
		run_direction_name(table->list[0].direction));
	if (table->list[0].in_flight > 1)
		text_addf(title, ", %u in flight", table->list[0].in_flight);
}

static void add_latency(struct text *t, const struct points *table, const struct detail *details)
{
	struct text title;

	text_init(&title);
	table_title(&title, "Time of a request", table);
	page_figure_begin(t, title.bytes);
	add_latency_key(t);
	chart_latency(t, title.bytes, table, details);
	page_figure_end(t);
	add_latency_table(t, table, details);
	text_release(&title);
}

static void add_traces(struct text *t, const struct points *table, const struct detail *details)
{
	struct text title;

	text_init(&title);
	table_title(&title, "Rate over time within passes", table);
	page_figure_begin(t, title.bytes);
	text_adds(t, "<p class=\"sub\">One line a pass; all panels share their scales. A dip is a "
		     "stall, a step down after a fast start is a buffer that filled.</p>\n");
	chart_traces(t, title.bytes, table, details);
	page_figure_end(t);
	add_trace_table(t, table, details);
	text_release(&title);
}

static bool any_requests(const struct points *table, const struct detail *details)
{
	for (size_t i = 0; i < table->count; i++)
		if (details[i].requests)
			return true;
	return false;
}

static bool any_traces(const struct points *table, const struct detail *details)
{
	for (size_t i = 0; i < table->count; i++)
		if (details[i].trace_count)
			return true;
	return false;
}

static void add_details(struct text *t, const struct points *points, const struct details *details,
	enum run_direction direction)
{
	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);

		if (table.list[0].direction == direction) {
			if (any_requests(&table, &details->list[i]))
				add_latency(t, &table, &details->list[i]);
			if (any_traces(&table, &details->list[i]))
				add_traces(t, &table, &details->list[i]);
		}
		i += table.count;
	}
}

static void add_column_meanings(struct text *t)
{
	page_section(t, "What the columns mean");
	text_adds(t, "<dl>\n");
	for (size_t c = 0; c < point_column_count; c++) {
		/* The interval's heading stands twice. */
		if (c && !strcmp(point_columns[c].heading, point_columns[c - 1].heading))
			continue;
		text_adds(t, "<dt>");
		markup_add(t, point_columns[c].heading);
		text_adds(t, "</dt><dd>");
		markup_add(t, point_columns[c].meaning);
		text_adds(t, "</dd>\n");
	}
	text_adds(t, "</dl>\n");
}

int page_add_sweep(
	struct text *t, const struct run *run, const struct points *points, struct error *err)
{
	static const struct explain_known nothing_known = { .usual_bytes = 4096 };
	struct explanation explanation;
	struct details details;

	if (explanation_make(&explanation, run, &nothing_known, err) < 0)
		return -1;
	if (details_load(&details, run, points, err) < 0) {
		explanation_release(&explanation);
		return -1;
	}
	for (int d = RUN_READ; d <= RUN_WRITE; d++) {
		add_rates(t, points, run, &explanation, (enum run_direction)d);
		add_details(t, points, &details, (enum run_direction)d);
	}
	if (run->damaged_lines)
		page_paragraph(t,
			"Distributions and rates over time are left out: lines of the record "
			"are damaged, so they cannot be told to belong to their pass.");
	add_column_meanings(t);
	details_release(&details);
	explanation_release(&explanation);
	return 0;
}
