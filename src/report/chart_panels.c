/* Values that hold from one moment to the next, in small panels: one for all series of a name. */
#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

enum { PANELS_ACROSS = 3, PANEL_HEIGHT = 92, PANEL_GAP = 20, PANELS_MAX = 30 };

static const double first_left = 108, panel_top = 26;

static void find_ends(struct scale *x, struct scale *y, const struct chart *c)
{
	for (size_t k = 0; k < c->series_count; k++)
		for (size_t i = 0; i < c->series[k].count; i++) {
			const struct chart_point *p = &c->series[k].points[i];

			x->high = p->x > x->high ? p->x : x->high;
			y->high = p->y > y->high ? p->y : y->high;
		}
	if (!(x->high > 0))
		x->high = 1;
	scale_round(y);
}

static void draw_series(
	struct text *t, const struct scale *x, const struct scale *y, const struct chart_series *s)
{
	double start = 0;

	svg_path_begin(t, "pass");
	for (size_t i = 0; i < s->count; i++) {
		double place = scale_at(y, s->points[i].y);

		/* A step each: the value is that of the whole stretch. */
		svg_path_to(t, i == 0, scale_at(x, start), place);
		svg_path_to(t, false, scale_at(x, s->points[i].x), place);
		start = s->points[i].x;
	}
	svg_path_end(t, false);
}

static void draw_panel_axes(
	struct text *t, const struct scale *x, const struct scale *y, bool leftmost, bool lowest)
{
	struct text label;

	svg_box(t, "panel", x->from, y->to, x->to - x->from, y->from - y->to);
	text_init(&label);
	if (leftmost) {
		svg_text(t, "tick", x->from - 6, y->from + 1, SVG_FINISH, "0");
		chart_label_rate(&label, y->high);
		svg_text(t, "tick", x->from - 6, y->to + 9, SVG_FINISH, label.bytes);
	}
	if (lowest) {
		text_reset(&label);
		chart_label_duration(&label, x->high);
		svg_text(t, "tick", x->from, y->from + 15, SVG_START, "0");
		svg_text(t, "tick", x->to, y->from + 15, SVG_FINISH, label.bytes);
	}
	text_release(&label);
}

/* Series [0, same) share the panel of the first. */
static size_t same_panel(const struct chart_series *s, size_t left)
{
	size_t same = 1;

	while (same < left && s[same].name == s->name)
		same++;
	return same;
}

static size_t count_panels(const struct chart *c)
{
	size_t n = 0;

	for (size_t k = 0; k < c->series_count; n++)
		k += same_panel(&c->series[k], c->series_count - k);
	return n < PANELS_MAX ? n : PANELS_MAX;
}

static void draw_panel(struct text *t, struct scale x, struct scale y, size_t at, bool lowest,
	const struct chart_series *series, size_t count)
{
	double width = (CHART_WIDTH - first_left - 10 - 2 * PANEL_GAP) / PANELS_ACROSS;
	size_t rows_above = at / PANELS_ACROSS;

	x.from = first_left + (double)(at % PANELS_ACROSS) * (width + PANEL_GAP);
	x.to = x.from + width;
	y.to = panel_top + (double)rows_above * (PANEL_HEIGHT + 34);
	y.from = y.to + PANEL_HEIGHT;
	draw_panel_axes(t, &x, &y, at % PANELS_ACROSS == 0, lowest);
	svg_text(t, "panel-name", x.from, y.to - 6, SVG_START, series->name);
	for (size_t i = 0; i < count; i++)
		draw_series(t, &x, &y, &series[i]);
}

void chart_add_panels(struct text *t, const struct chart *c)
{
	struct scale x = { 0 }, y = { 0 };
	size_t panels = count_panels(c), k = 0;
	size_t rows = (panels + PANELS_ACROSS - 1) / PANELS_ACROSS;
	double height = panel_top + (double)rows * (PANEL_HEIGHT + 34) + 18;

	find_ends(&x, &y, c);
	svg_begin(t, CHART_WIDTH, height, c->title, c->what);
	for (size_t at = 0; at < panels; at++) {
		size_t same = same_panel(&c->series[k], c->series_count - k);

		draw_panel(t, x, y, at, at + PANELS_ACROSS >= panels, &c->series[k], same);
		k += same;
	}
	svg_text(t, "axis", CHART_WIDTH / 2.0, height - 6, SVG_MIDDLE, c->x_name);
	svg_text_upwards(t, "axis", 14, height / 2, c->y_name);
	svg_end(t);
}
