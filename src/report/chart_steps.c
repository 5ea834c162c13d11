/* Values that hold from one moment to the next. */
#include <stdio.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

static void find_ends(struct chart_frame *f, const struct chart *c)
{
	for (size_t k = 0; k < c->series_count; k++)
		for (size_t i = 0; i < c->series[k].count; i++) {
			const struct chart_point *p = &c->series[k].points[i];

			f->x.high = p->x > f->x.high ? p->x : f->x.high;
			f->y.high = p->y > f->y.high ? p->y : f->y.high;
		}
	if (!(f->x.high > 0))
		f->x.high = 1;
	scale_round(&f->y);
}

static void draw_series(struct text *t, const struct chart_frame *f, const struct chart_series *s)
{
	char class[24];
	double start = 0;

	snprintf(class, sizeof class, "line l%u%s", s->style % 4, s->second ? " ack" : "");
	svg_path_begin(t, class);
	for (size_t i = 0; i < s->count; i++) {
		double y = scale_at(&f->y, s->points[i].y);

		svg_path_to(t, i == 0, scale_at(&f->x, start), y);
		svg_path_to(t, false, scale_at(&f->x, s->points[i].x), y);
		start = s->points[i].x;
	}
	svg_path_end(t, false);
}

void chart_add_steps(struct text *t, const struct chart *c)
{
	struct chart_frame f = { 0 };

	find_ends(&f, c);
	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	svg_begin(t, f.width, f.height, c->title, c->what);
	chart_y_axis(t, &f, c->y_name, chart_label_of(c->y_unit));
	chart_x_axis(t, &f, c->x_name, chart_label_of(c->x_unit));
	for (size_t i = 0; i < c->series_count; i++)
		draw_series(t, &f, &c->series[i]);
	svg_end(t);
}
