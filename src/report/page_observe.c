/* What was observed, on a page: rate over time, the mix of requests, their times. */
#include "report/page_observe.h"

#include "base/size.h"
#include "base/text.h"
#include "report/chart.h"
#include "report/page.h"
#include "report/page_figure.h"
#include "report/svg.h"

enum { STEPS_MAX = 300, ROWS_MAX = 40 }; /* a long observation is joined to so many stretches */

static const char *const names[2] = { "read", "write" };
static const char *const lines[2] = { "line l0", "line l1 ack" };

static double rate_of(const struct observation *o, size_t from, size_t to, int d)
{
	uint64_t bytes = 0, ns = 0;

	for (size_t i = from; i < to; i++) {
		bytes += o->seconds[i].bytes[d];
		ns += o->seconds[i].ns;
	}
	return ns ? (double)bytes * 1e9 / (double)ns : 0;
}

/* Seconds to a stretch, for at most so many stretches. */
static size_t stretch(const struct observation *o, size_t most)
{
	return (o->second_count + most - 1) / most;
}

static void add_line(
	struct text *t, const struct chart_frame *f, const struct observation *o, int d)
{
	size_t step = stretch(o, STEPS_MAX);
	double start = 0;

	svg_path_begin(t, lines[d]);
	for (size_t i = 0; i < o->second_count; i += step) {
		size_t to = i + step < o->second_count ? i + step : o->second_count;
		double end = (double)o->seconds[to - 1].at_ns / 1e9;
		double y = scale_at(&f->y, rate_of(o, i, to, d));

		svg_path_to(t, i == 0, scale_at(&f->x, start), y);
		svg_path_to(t, false, scale_at(&f->x, end), y);
		start = end;
	}
	svg_path_end(t, false);
}

static double highest_rate(const struct observation *o)
{
	size_t step = stretch(o, STEPS_MAX);
	double high = 0;

	for (int d = 0; d < 2; d++)
		for (size_t i = 0; i < o->second_count; i += step) {
			size_t to = i + step < o->second_count ? i + step : o->second_count;
			double rate = rate_of(o, i, to, d);

			high = rate > high ? rate : high;
		}
	return high;
}

static void add_cell(struct text *t, const char *value)
{
	text_addf(t, "<td>%s</td>", value);
}

static void add_count_cell(struct text *t, uint64_t n)
{
	text_addf(t, "<td>%llu</td>", (unsigned long long)n);
}

static void add_share_cell(struct text *t, uint64_t part, uint64_t whole)
{
	text_addf(t, "<td>%.1f %%</td>", whole ? (double)part / (double)whole * 100 : 0);
}

static uint64_t requests_of(const struct observation *o, size_t from, size_t to)
{
	uint64_t n = 0;

	for (size_t i = from; i < to; i++)
		n += o->seconds[i].requests[0] + o->seconds[i].requests[1];
	return n;
}

static void add_rate_table(struct text *t, const struct observation *o)
{
	size_t step = stretch(o, ROWS_MAX);
	char value[SIZE_TEXT_MAX];

	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>until</th><th>read</th>"
		     "<th>write</th><th>requests</th><th>flushes</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < o->second_count; i += step) {
		size_t to = i + step < o->second_count ? i + step : o->second_count;
		uint64_t flushes = 0;

		for (size_t k = i; k < to; k++)
			flushes += o->seconds[k].flushes;
		text_addf(t, "<tr><td>%.1f s</td>", (double)o->seconds[to - 1].at_ns / 1e9);
		for (int d = 0; d < 2; d++)
			add_cell(t, rate_format(value, rate_of(o, i, to, d)));
		add_count_cell(t, requests_of(o, i, to));
		add_count_cell(t, flushes);
		text_adds(t, "</tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

static void add_chart(struct text *t, const struct observation *o)
{
	struct chart_frame f = { .x = { .high = (double)o->total.at_ns / 1e9 },
		.y = { .high = highest_rate(o) } };

	if (o->second_count < 2 || f.y.high <= 0 || f.x.high <= 0)
		return;
	scale_round(&f.y);
	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	page_figure_begin(t, "Rate over time, by the kernel's counters");
	page_key_begin(t);
	for (int d = 0; d < 2; d++)
		page_key_add(t, lines[d], -1, false, names[d]);
	page_key_end(t);
	svg_begin(t, CHART_WIDTH, CHART_HEIGHT, "Rate over time",
		"Bytes read and written in each second by the kernel's counters; the table below "
		"has the values.");
	chart_y_axis(t, &f, "rate", chart_label_rate);
	chart_x_axis(t, &f, "time since the start", chart_label_duration);
	add_line(t, &f, o, 0);
	add_line(t, &f, o, 1);
	svg_end(t);
	page_figure_end(t);
	add_rate_table(t, o);
}

static void add_totals(struct text *t, const struct observation *o)
{
	char value[SIZE_TEXT_MAX];

	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>direction</th><th>requests</th>"
		     "<th>amount</th><th>rate</th><th>merged</th><th>sequential</th></tr></thead>"
		     "<tbody>\n");
	for (int d = 0; d < 2; d++) {
		const struct observed_counts *c = &o->total;

		text_adds(t, "<tr>");
		add_cell(t, names[d]);
		add_count_cell(t, o->traced ? o->requests[d] : c->requests[d]);
		add_cell(t, size_format_decimal(value, (double)c->bytes[d]));
		add_cell(t,
			rate_format(value, c->ns ? (double)c->bytes[d] * 1e9 / (double)c->ns : 0));
		add_count_cell(t, c->merged[d]);
		if (o->traced)
			add_share_cell(t, o->sequential[d], o->requests[d]);
		else
			add_cell(t, "-");
		text_adds(t, "</tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
	text_addf(t, "<p>%llu flushes",
		(unsigned long long)(o->traced ? o->flushes : o->total.flushes));
	if (o->traced)
		text_addf(t, ", %llu writes to be stored at once (FUA), %llu answers with an error",
			(unsigned long long)o->fua, (unsigned long long)o->errors);
	text_adds(t, ".</p>\n");
}

static void add_mix(struct text *t, const struct observation *o)
{
	char value[SIZE_TEXT_MAX];

	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>direction</th><th>request</th>"
		     "<th>count</th><th>of requests</th><th>of bytes</th><th>mean time</th></tr>"
		     "</thead><tbody>\n");
	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];
		int d = (int)s->direction;

		text_adds(t, "<tr>");
		add_cell(t, names[d]);
		add_cell(t, size_format(value, s->bytes));
		add_count_cell(t, s->count);
		add_share_cell(t, s->count, o->requests[d]);
		add_share_cell(t, s->count * s->bytes, o->bytes[d]);
		add_cell(t, duration_format(value, (double)s->service_ns / 1e9 / (double)s->count));
		text_adds(t, "</tr>\n");
	}
	text_adds(t, "</tbody></table></div>\n");
}

static void add_time_row(struct text *t, const char *name, const struct observed_latency *l)
{
	const uint64_t shown[] = { l->min_ns, l->p50_ns, l->p90_ns, l->p99_ns, l->max_ns };
	char value[SIZE_TEXT_MAX];

	if (!l->count)
		return;
	text_adds(t, "<tr>");
	add_cell(t, name);
	add_count_cell(t, l->count);
	for (size_t i = 0; i < sizeof shown / sizeof *shown; i++)
		add_cell(t, duration_format(value, (double)shown[i] / 1e9));
	add_cell(t, duration_format(value, (double)l->max_at_ns / 1e9));
	text_adds(t, "</tr>\n");
}

static void add_times(struct text *t, const struct observation *o)
{
	text_adds(t, "<div class=\"wide\"><table><thead><tr><th>time of a</th><th>requests</th>"
		     "<th>shortest</th><th>median</th><th>90 %</th><th>99 %</th><th>longest</th>"
		     "<th>sent at</th></tr></thead><tbody>\n");
	add_time_row(t, "read", &o->latency[RUN_READ]);
	add_time_row(t, "write", &o->latency[RUN_WRITE]);
	add_time_row(t, "flush", &o->flush);
	text_adds(t, "</tbody></table></div>\n");
}

void page_add_observation(struct text *t, const struct observation *o)
{
	page_section(t, "What the host sent");
	add_totals(t, o);
	add_chart(t, o);
	if (!o->traced)
		return;
	page_section(t, "Request sizes");
	add_mix(t, o);
	page_section(t, "Time from sent to answered");
	add_times(t, o);
}
