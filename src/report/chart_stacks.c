/* Shares of a whole as bars of parts. */
#include <stdio.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

enum { BAR = 18, BAR_GAP = 8, BARS_MAX = 200, ROOM_RIGHT = 62 };

static double whole(const struct chart *c, size_t i)
{
	double sum = 0;

	for (size_t k = 0; k < c->series_count; k++)
		sum += c->series[k].points[i].y > 0 ? c->series[k].points[i].y : 0;
	return sum;
}

static void label_share(struct text *t, double share)
{
	text_addf(t, "%.0f %%", share * 100);
}

static void draw_label(struct text *t, chart_label *label, double x, double y,
	enum svg_anchor anchor, double value)
{
	struct text words;

	text_init(&words);
	label(&words, value);
	svg_text(t, "tick", x, y, anchor, words.bytes);
	t->failed |= words.failed;
	text_release(&words);
}

static void draw_bar(
	struct text *t, const struct chart_frame *f, const struct chart *c, size_t i, double y)
{
	double all = whole(c, i), before = 0;

	for (size_t k = 0; all > 0 && k < c->series_count; k++) {
		const struct chart_series *s = &c->series[k];
		double part = s->points[i].y / all, x = scale_at(&f->x, before);

		if (!(part > 0))
			continue;
		before += part;
		svg_part(t, s->style, s->second, x, y, scale_at(&f->x, before) - x, BAR);
	}
	draw_label(t, chart_label_of(c->x_unit), f->left - 7, y + BAR / 2.0 + 4, SVG_FINISH,
		c->series[0].points[i].x);
	draw_label(t, chart_label_of(c->y_unit), f->right + 6, y + BAR / 2.0 + 4, SVG_START, all);
}

void chart_add_stacks(struct text *t, const struct chart *c)
{
	struct chart_frame f = { .x = { .low = 0, .high = 1 } };
	size_t n = c->series_count ? c->series[0].count : 0;
	double y;

	n = n < BARS_MAX ? n : BARS_MAX;
	chart_frame_init(&f, CHART_WIDTH - ROOM_RIGHT, (double)n * (BAR + BAR_GAP) + 66);
	svg_begin(t, CHART_WIDTH, f.height, c->title, c->what);
	chart_x_axis(t, &f, c->x_name, label_share);
	y = f.top;
	for (size_t i = 0; i < n; i++) {
		draw_bar(t, &f, c, i, y);
		y += BAR + BAR_GAP;
	}
	svg_end(t);
}
