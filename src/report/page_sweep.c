/* Charts and tables of a sweep. */
#include "report/page_sweep.h"

#include <stdio.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "report/chart.h"
#include "report/columns.h"
#include "report/details.h"
#include "report/figures.h"
#include "report/page.h"
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
		add_duration_cell(t, e.lowest_at_s);
		text_adds(t, "<td>");
		figure_add_rate(t, e.highest);
		text_adds(t, "</td></tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

/* ---- keys ---- */

static void add_key(struct text *t, const char *line, int marker, bool hollow, const char *name)
{
	text_adds(t, "<li><svg viewBox=\"0 0 34 14\" aria-hidden=\"true\">");
	if (line)
		svg_line(t, line, 0, 7, 34, 7);
	if (marker >= 0)
		svg_marker(t, (unsigned)marker, hollow, 17, 7);
	text_adds(t, "</svg><span>");
	markup_add(t, name);
	text_adds(t, "</span></li>\n");
}

static void add_series_name(struct text *t, const struct chart_series *s)
{
	const struct point *p = &s->table.list[0];

	text_adds(t, run_order_name(p->order));
	if (p->direction == RUN_WRITE)
		text_adds(t, s->acknowledged ? ", acknowledged" : ", stored");
	if (p->in_flight > 1)
		text_addf(t, ", %u in flight", p->in_flight);
}

static void add_rate_key(struct text *t, const struct chart_series *series, size_t count)
{
	struct text name;
	char class[24];
	bool fit = false;

	text_init(&name);
	text_adds(t, "<ul class=\"key\">\n");
	for (size_t i = 0; i < count; i++) {
		text_reset(&name);
		add_series_name(&name, &series[i]);
		snprintf(class, sizeof class, "line l%u%s", series[i].style % 4,
			series[i].acknowledged ? " ack" : "");
		add_key(t, class, (int)series[i].style, series[i].acknowledged, name.bytes);
		fit = fit || series[i].fit.known;
	}
	if (fit)
		add_key(t, "fit", -1, false, "fitted: fixed cost and streaming rate");
	add_key(t, "ceiling", -1, false, "ceiling");
	text_adds(t, "</ul>\n");
	text_release(&name);
}

static void add_latency_key(struct text *t)
{
	text_adds(t, "<ul class=\"key\">\n"
		     "<li><svg viewBox=\"0 0 34 14\" aria-hidden=\"true\">");
	svg_box(t, "half", 5, 1, 24, 12);
	text_adds(t, "</svg><span>middle half</span></li>\n");
	add_key(t, "median", -1, false, "median");
	add_key(t, NULL, 2, false, "p99");
	add_key(t, NULL, 0, true, "slowest of all");
	add_key(t, "whisker", -1, false, "from p1 up");
	text_adds(t, "</ul>\n");
}

/* ---- figures ---- */

static void figure_begin(struct text *t, const char *caption)
{
	text_adds(t, "<figure><figcaption>");
	markup_add(t, caption);
	text_adds(t, "</figcaption>\n");
}

static void figure_end(struct text *t)
{
	text_adds(t, "</figure>\n");
}

/* The tables of one direction as series: writes twice, stored and acknowledged. */
static size_t collect_series(
	struct chart_series *out, const struct points *points, enum run_direction direction)
{
	size_t n = 0;
	unsigned style = 0;

	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);

		i += table.count;
		if (table.list[0].direction != direction || n + 2 > SERIES_MAX)
			continue;
		out[n++] = (struct chart_series){ .table = table, .style = style };
		if (direction == RUN_WRITE)
			out[n++] = (struct chart_series){
				.table = table, .acknowledged = true, .style = style
			};
		style++;
	}
	return n;
}

static void add_rates(struct text *t, const struct points *points, enum run_direction direction)
{
	struct chart_series series[SERIES_MAX];
	size_t count = collect_series(series, points, direction);
	const char *title =
		direction == RUN_READ ? "Read rate by request size" : "Write rate by request size";
	struct text name;

	if (!count)
		return;
	page_section(t, direction == RUN_READ ? "Reads" : "Writes");
	figure_begin(t, title);
	add_rate_key(t, series, count);
	chart_rate(t, title, series, count);
	figure_end(t);
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
	figure_begin(t, title.bytes);
	add_latency_key(t);
	chart_latency(t, title.bytes, table, details);
	figure_end(t);
	add_latency_table(t, table, details);
	text_release(&title);
}

static void add_traces(struct text *t, const struct points *table, const struct detail *details)
{
	struct text title;

	text_init(&title);
	table_title(&title, "Rate over time within passes", table);
	figure_begin(t, title.bytes);
	text_adds(t, "<p class=\"sub\">One line a pass; all panels share their scales. A dip is a "
		     "stall, a step down after a fast start is a buffer that filled.</p>\n");
	chart_traces(t, title.bytes, table, details);
	figure_end(t);
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
	struct details details;

	if (details_load(&details, run, points, err) < 0)
		return -1;
	for (int d = RUN_READ; d <= RUN_WRITE; d++) {
		add_rates(t, points, (enum run_direction)d);
		add_details(t, points, &details, (enum run_direction)d);
	}
	if (run->damaged_lines)
		page_paragraph(t,
			"Distributions and rates over time are left out: lines of the record "
			"are damaged, so they cannot be told to belong to their pass.");
	add_column_meanings(t);
	details_release(&details);
	return 0;
}
