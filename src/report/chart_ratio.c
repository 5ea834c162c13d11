/* Ratios with intervals. */
#include "report/chart_ratio.h"

#include <stdio.h>

#include "base/size.h"
#include "base/text.h"
#include "report/chart_frame.h"
#include "report/svg.h"

enum { ROW = 22, ROWS_MAX = 200 };

static const double edges = 1.04; /* free room beyond the outermost interval */

const char *ratio_verdict_name(enum ratio_verdict v)
{
	static const char *const names[] = { "too few passes for a verdict", "not shown to differ",
		"faster", "slower" };

	return names[v];
}

unsigned ratio_verdict_style(enum ratio_verdict v, bool *hollow)
{
	static const unsigned styles[] = { 3, 0, 2, 1 };

	*hollow = v == RATIO_TOO_FEW || v == RATIO_NOT_SHOWN;
	return styles[v];
}

static bool same_table(const struct ratio_row *a, const struct ratio_row *b)
{
	return a->direction == b->direction && a->order == b->order && a->in_flight == b->in_flight;
}

static void take(struct scale *s, double value)
{
	if (value < s->low)
		s->low = value;
	if (value > s->high)
		s->high = value;
}

/* Intervals without end, or nearly so, are cut off at a factor of ten around their ratio. */
static bool find_ends(struct scale *s, const struct ratio_row *rows, size_t count)
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
		if (rows[i].interval_known && rows[i].low > rows[i].ratio / 10)
			take(s, rows[i].low / edges);
		if (rows[i].interval_known && rows[i].high < rows[i].ratio * 10)
			take(s, rows[i].high * edges);
	}
	s->logarithmic = s->high > s->low * 4;
	scale_round(s);
	return any;
}

static size_t count_lines(const struct ratio_row *rows, size_t count)
{
	size_t lines = count;

	for (size_t i = 0; i < count; i++)
		lines += i == 0 || !same_table(&rows[i - 1], &rows[i]);
	return lines;
}

static void draw_heading(struct text *t, const struct ratio_row *row, double x, double y)
{
	struct text name;

	text_init(&name);
	text_addf(&name, "%s %ss", row->order == RUN_RANDOM ? "Random" : "Sequential",
		run_direction_name(row->direction));
	if (row->in_flight > 1)
		text_addf(&name, ", %u in flight", row->in_flight);
	svg_text(t, "panel-name", x, y + 4, SVG_START, name.bytes);
	text_release(&name);
}

static void draw_row(
	struct text *t, const struct chart_frame *f, const struct ratio_row *row, double y)
{
	char size[SIZE_TEXT_MAX];
	bool hollow;
	unsigned style = ratio_verdict_style(row->verdict, &hollow);

	svg_text(t, "tick", f->left - 7, y + 4, SVG_FINISH, size_format(size, row->request_bytes));
	if (!(row->ratio > 0))
		return;
	if (row->interval_known) {
		char class[16];

		snprintf(class, sizeof class, "line l%u", style);
		svg_line(t, class, scale_at(&f->x, row->low), y, scale_at(&f->x, row->high), y);
	}
	svg_marker(t, style, hollow, scale_at(&f->x, row->ratio), y);
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

bool chart_ratio(struct text *t, const char *title, const struct ratio_row *rows, size_t count)
{
	struct chart_frame f = { 0 };
	double y;

	if (count > ROWS_MAX)
		count = ROWS_MAX;
	if (!find_ends(&f.x, rows, count))
		return false;
	chart_frame_init(&f, CHART_WIDTH, (double)count_lines(rows, count) * ROW + 64);
	svg_begin(t, f.width, f.height, title,
		"Rate of the new build over that of the base, with 95 % intervals; the table below "
		"has "
		"the values.");
	draw_grid(t, &f);
	chart_x_axis(t, &f, "rate, new build over base (1: no difference)", label_ratio);
	y = f.top + ROW / 2.0;
	for (size_t i = 0; i < count; i++) {
		if (i == 0 || !same_table(&rows[i - 1], &rows[i])) {
			draw_heading(t, &rows[i], 4, y);
			y += ROW;
		}
		draw_row(t, &f, &rows[i], y);
		y += ROW;
	}
	svg_end(t);
	return true;
}
