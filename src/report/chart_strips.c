/* What lies where: strips of cells along one axis. */
#include "base/text.h"
#include "findings/chart.h"
#include "report/chart_frame.h"
#include "report/chart_view.h"
#include "report/svg.h"

enum { STRIP = 24, STRIP_GAP = 10 };

/* However little of a cell it is, it can be seen. */
static const double least_width = 1.5, least_height = 2.5;

static double cell_start(const struct chart *c, size_t cell)
{
	double at = c->cells_from + (double)cell * c->cell_length;

	return at < c->cells_to ? at : c->cells_to;
}

static double height_of(double level)
{
	double height = level < 1 ? level * STRIP : STRIP;

	return height < least_height ? least_height : height;
}

/* Neighbouring cells of one level become one box. */
static void draw_strip(struct text *t, const struct chart_frame *f, const struct chart *c,
	const struct chart_strip *s, double y)
{
	for (size_t i = 0, end; i < c->cell_count; i = end) {
		double x = scale_at(&f->x, cell_start(c, i)), width, height;

		for (end = i + 1; end < c->cell_count && !(s->levels[end] != s->levels[i]); end++)
			;
		if (!(s->levels[i] > 0))
			continue;
		width = scale_at(&f->x, cell_start(c, end)) - x;
		height = height_of(s->levels[i]);
		svg_box(t, s->quiet ? "strip" : "strip hit", x, y + STRIP - height,
			width > least_width ? width : least_width, height);
	}
}

void chart_add_strips(struct text *t, const struct chart *c)
{
	struct chart_frame f = { .x = { .low = c->cells_from, .high = c->cells_to } };
	double y;

	if (!(f.x.high > f.x.low))
		f.x.high = f.x.low + 1;
	chart_frame_init(&f, CHART_WIDTH, (double)c->strip_count * (STRIP + STRIP_GAP) + 66);
	svg_begin(t, f.width, f.height, c->title, c->what);
	chart_x_axis(t, &f, c->x_name, chart_label_of(c->x_unit));
	y = f.top;
	for (size_t i = 0; i < c->strip_count; i++) {
		svg_text(t, "tick", f.left - 7, y + STRIP / 2.0 + 4, SVG_FINISH, c->strips[i].name);
		draw_strip(t, &f, c, &c->strips[i], y);
		svg_box(t, "panel", f.left, y, f.right - f.left, STRIP);
		y += STRIP + STRIP_GAP;
	}
	svg_end(t);
}
