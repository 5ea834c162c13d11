/* How single things spread: a line from the 1st percentile to the last of all, the middle half as a box. */
#include <stdlib.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

static void find_ends(struct chart_frame *f, const struct chart *c)
{
	for (size_t i = 0; i < c->box_count; i++) {
		const struct chart_box *b = &c->boxes[i];

		if (!i || b->p1 < f->y.low)
			f->y.low = b->p1;
		if (b->most > f->y.high)
			f->y.high = b->most;
		if (!i || b->x < f->x.low)
			f->x.low = b->x;
		if (b->x > f->x.high)
			f->x.high = b->x;
	}
	f->x.low /= 1.25;
	f->x.high *= 1.25;
	scale_round(&f->y);
}

static void draw_box(struct text *t, const struct chart_frame *f, const struct chart_box *b)
{
	double x = scale_at(&f->x, b->x);
	double p1 = scale_at(&f->y, b->p1);
	double p25 = scale_at(&f->y, b->p25);
	double p50 = scale_at(&f->y, b->p50);
	double p75 = scale_at(&f->y, b->p75);
	double p99 = scale_at(&f->y, b->p99);
	double most = scale_at(&f->y, b->most);

	svg_line(t, "whisker", x, p1, x, most);
	svg_box(t, "half", x - 6, p75, 12, p25 - p75 > 1.5 ? p25 - p75 : 1.5);
	svg_line(t, "median", x - 10, p50, x + 10, p50);
	svg_marker(t, 2, false, x, p99);
	svg_marker(t, 0, true, x, most);
}

static void draw_axes(struct text *t, const struct chart_frame *f, const struct chart *c)
{
	double *at = calloc(c->box_count + 1, sizeof *at);

	if (!at) {
		t->failed = true;
		return;
	}
	for (size_t i = 0; i < c->box_count; i++)
		at[i] = c->boxes[i].x;
	chart_y_axis(t, f, c->y_name, chart_label_of(c->y_unit));
	chart_x_axis_at(t, f, c->x_name, chart_label_of(c->x_unit), at, c->box_count);
	free(at);
}

void chart_add_boxes(struct text *t, const struct chart *c)
{
	struct chart_frame f = { .x.logarithmic = true, .y.logarithmic = true };

	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	find_ends(&f, c);
	svg_begin(t, f.width, f.height, c->title, c->what);
	draw_axes(t, &f, c);
	for (size_t i = 0; i < c->box_count; i++)
		draw_box(t, &f, &c->boxes[i]);
	svg_end(t);
}
