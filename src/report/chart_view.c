/* Any chart of a view. */
#include "report/chart_view.h"

#include <stdio.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart.h"
#include "report/page_figure.h"

static chart_label *label_of(enum unit unit)
{
	return unit == UNIT_SECONDS ? chart_label_duration : chart_label_rate;
}

void chart_axes(struct text *t, const struct chart_frame *f, const struct chart *c)
{
	chart_y_axis(t, f, c->y_name, label_of(c->y_unit));
	chart_x_axis(t, f, c->x_name, label_of(c->x_unit));
}

static void add_key(struct text *t, const struct chart *c)
{
	char class[24];

	page_key_begin(t);
	for (size_t i = 0; i < c->series_count; i++) {
		const struct chart_series *s = &c->series[i];

		snprintf(class, sizeof class, "line l%u%s", s->style % 4, s->second ? " ack" : "");
		page_key_add(t, class, -1, false, s->name);
	}
	page_key_end(t);
}

static void draw(struct text *t, const struct chart *c)
{
	switch (c->kind) {
	case CHART_STEPS:
		chart_add_steps(t, c);
		break;
	}
}

void chart_add(struct text *t, const struct chart *c)
{
	page_figure_begin(t, c->title);
	add_key(t, c);
	draw(t, c);
	page_figure_end(t);
}
