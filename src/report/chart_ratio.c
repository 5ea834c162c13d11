/* Ratios with intervals. */
#include <stdio.h>
#include <string.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

enum { ROW = 22, ROWS_MAX = 200 };

static const double edges = 1.04; /* free room beyond the outermost interval */

static bool same_group(const struct chart_ratio *a, const struct chart_ratio *b)
{
	return !strcmp(a->group, b->group);
}

static void take(struct scale *s, double value)
{
	if (value < s->low)
		s->low = value;
	if (value > s->high)
		s->high = value;
}

/* Intervals without end, or nearly so, are cut off at a factor of ten around their ratio. */
static bool find_ends(struct scale *s, const struct chart_ratio *rows, size_t count)
{
	bool any = false;

	s->low = 1 / edges;
	s->high = edges;
	for (size_t i = 0; i < count; i++) {
		if (!(rows[i].ratio > 0))
			continue;
		any = true;
		take(s, rows[i].ratio / edges);
		take(s, rows[i].ratio * edges);
		if (rows[i].ranged && rows[i].low > rows[i].ratio / 10)
			take(s, rows[i].low / edges);
		if (rows[i].ranged && rows[i].high < rows[i].ratio * 10)
			take(s, rows[i].high * edges);
	}
	s->logarithmic = s->high > s->low * 4;
	scale_round(s);
	return any;
}

static size_t count_lines(const struct chart_ratio *rows, size_t count)
{
	size_t lines = count;

	for (size_t i = 0; i < count; i++)
		lines += i == 0 || !same_group(&rows[i - 1], &rows[i]);
	return lines;
}

static void draw_row(
	struct text *t, const struct chart_frame *f, const struct chart *c, size_t i, double y)
{
	const struct chart_ratio *row = &c->ratios[i];
	const struct chart_series *look = &c->series[row->series];
	char class[24];

	svg_text(t, "tick", f->left - 7, y + 4, SVG_FINISH, row->name);
	if (!(row->ratio > 0))
		return;
	snprintf(class, sizeof class, "line l%u", look->style % 4);
	if (row->ranged)
		svg_line(t, class, scale_at(&f->x, row->low), y, scale_at(&f->x, row->high), y);
	svg_marker(t, look->style, look->second, scale_at(&f->x, row->ratio), y);
}

static void label_ratio(struct text *t, double value)
{
	text_addf(t, "%.3g", value);
}

static void draw_grid(struct text *t, const struct chart_frame *f)
{
	double ticks[SCALE_TICKS_MAX];
	size_t n = scale_ticks(&f->x, ticks);

	for (size_t i = 0; i < n; i++)
		svg_line(t, "grid", scale_at(&f->x, ticks[i]), f->top, scale_at(&f->x, ticks[i]),
			f->bottom);
	svg_line(t, "zero", scale_at(&f->x, 1), f->top, scale_at(&f->x, 1), f->bottom);
}

void chart_add_ratios(struct text *t, const struct chart *c)
{
	struct chart_frame f = { 0 };
	size_t count = c->ratio_count < ROWS_MAX ? c->ratio_count : ROWS_MAX;
	char name[120];
	double y;

	if (!find_ends(&f.x, c->ratios, count))
		return;
	chart_frame_init(&f, CHART_WIDTH, (double)count_lines(c->ratios, count) * ROW + 64);
	svg_begin(t, f.width, f.height, c->title, c->what);
	draw_grid(t, &f);
	snprintf(name, sizeof name, "%s%s", c->x_name,
		f.x.logarithmic ? " (logarithmic scale)" : "");
	chart_x_axis(t, &f, name, label_ratio);
	y = f.top + ROW / 2.0;
	for (size_t i = 0; i < count; i++) {
		if (i == 0 || !same_group(&c->ratios[i - 1], &c->ratios[i])) {
			svg_text(t, "panel-name", 4, y + 4, SVG_START, c->ratios[i].group);
			y += ROW;
		}
		draw_row(t, &f, c, i, y);
		y += ROW;
	}
	svg_end(t);
}
