/* Marks joined by lines, with the ranges beside them as bands. */
#include <stdio.h>
#include <stdlib.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

static void take_value(struct scale *s, double value)
{
	if (!(value > 0))
		return;
	if (!(s->low > 0) || value < s->low)
		s->low = value;
	if (value > s->high)
		s->high = value;
}

/* A range that reaches far beyond its mark would leave no room for the marks. */
static void take_point(struct chart_frame *f, const struct chart_point *p)
{
	take_value(&f->x, p->x);
	take_value(&f->y, p->y);
	if (p->ranged && p->low > p->y / 10)
		take_value(&f->y, p->low);
	if (p->ranged && p->high < p->y * 10)
		take_value(&f->y, p->high);
}

static void find_ends(struct chart_frame *f, const struct chart *c)
{
	for (size_t k = 0; k < c->series_count; k++)
		for (size_t i = 0; i < c->series[k].count && !c->series[k].fitted; i++)
			take_point(f, &c->series[k].points[i]);
	take_value(&f->y, c->ceiling * 1.08);
	if (!(f->x.low > 0)) {
		f->x.low = 512;
		f->x.high = 1024;
	}
	if (!(f->y.low > 0)) {
		f->y.low = 1;
		f->y.high = 10;
	}
	/* Marks keep clear of the frame. */
	f->x.low /= 1.12;
	f->x.high *= 1.12;
	scale_round(&f->y);
}

static void draw_band(struct text *t, const struct chart_frame *f, const struct chart_series *s)
{
	char class[16];
	bool first = true;
	size_t known = 0;

	for (size_t i = 0; i < s->count; i++)
		known += s->points[i].ranged;
	if (!known)
		return;
	snprintf(class, sizeof class, "band b%u", s->style % 4);
	svg_path_begin(t, class);
	for (size_t i = 0; i < s->count * 2; i++) {
		/* Forth along the upper ends, back along the lower. */
		bool back = i >= s->count;
		const struct chart_point *p = &s->points[back ? 2 * s->count - 1 - i : i];

		if (!p->ranged)
			continue;
		svg_path_to(
			t, first, scale_at(&f->x, p->x), scale_at(&f->y, back ? p->low : p->high));
		first = false;
	}
	svg_path_end(t, true);
}

static void draw_path(struct text *t, const struct chart_frame *f, const struct chart_series *s,
	const char *class)
{
	bool first = true;

	svg_path_begin(t, class);
	for (size_t i = 0; i < s->count; i++) {
		const struct chart_point *p = &s->points[i];

		if (!(p->y > 0))
			continue;
		svg_path_to(t, first, scale_at(&f->x, p->x), scale_at(&f->y, p->y));
		first = false;
	}
	svg_path_end(t, false);
}

static void draw_line(struct text *t, const struct chart_frame *f, const struct chart_series *s)
{
	char class[24];

	snprintf(class, sizeof class, "line l%u%s", s->style % 4, s->second ? " ack" : "");
	draw_path(t, f, s, class);
	for (size_t i = 0; i < s->count; i++)
		if (s->points[i].y > 0)
			svg_marker(t, s->style, s->second, scale_at(&f->x, s->points[i].x),
				scale_at(&f->y, s->points[i].y));
}

static void draw_ceiling(struct text *t, const struct chart_frame *f, const struct chart *c)
{
	double y = scale_at(&f->y, c->ceiling);

	if (!(c->ceiling > 0))
		return;
	svg_line(t, "ceiling", f->left, y, f->right, y);
	svg_text(t, "note", f->left + 8, y - 6, SVG_START, c->ceiling_words);
}

static void draw_axes(struct text *t, const struct chart_frame *f, const struct chart *c)
{
	size_t count = c->series_count ? c->series[0].count : 0;
	double *at = calloc(count + 1, sizeof *at);

	if (!at) {
		t->failed = true;
		return;
	}
	for (size_t i = 0; i < count; i++)
		at[i] = c->series[0].points[i].x;
	chart_y_axis(t, f, c->y_name, chart_label_of(c->y_unit));
	chart_x_axis_at(t, f, c->x_name, chart_label_of(c->x_unit), at, count);
	free(at);
}

void chart_add_lines(struct text *t, const struct chart *c)
{
	struct chart_frame f = { .x.logarithmic = true, .y.logarithmic = true };

	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	find_ends(&f, c);
	svg_begin(t, f.width, f.height, c->title, c->what);
	draw_axes(t, &f, c);
	for (size_t i = 0; i < c->series_count; i++)
		if (!c->series[i].fitted)
			draw_band(t, &f, &c->series[i]);
	for (size_t i = 0; i < c->series_count; i++)
		if (c->series[i].fitted)
			draw_path(t, &f, &c->series[i], "fit");
	for (size_t i = 0; i < c->series_count; i++)
		if (!c->series[i].fitted)
			draw_line(t, &f, &c->series[i]);
	draw_ceiling(t, &f, c);
	svg_end(t);
}
