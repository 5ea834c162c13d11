/* The damage map. */
#include "report/chart_damage.h"

#include "base/size.h"
#include "base/text.h"
#include "report/chart_frame.h"
#include "report/svg.h"

enum { STRIP = 20, STRIP_GAP = 12 };

static bool cell_has(const struct damage_totals *d, size_t cell, int class)
{
	if (class == DAMAGE_NONE)
		return d->cell_judged[cell] != 0;
	return (d->cell_classes[cell] >> class) & 1;
}

static double cell_start(const struct damage_totals *d, size_t cell)
{
	return (double)d->region_start + (double)cell * (double)d->cell_bytes;
}

/* Neighbouring cells become one box; a single damaged block is widened to be seen. */
static void draw_strip(struct text *t, const struct chart_frame *f, const struct damage_totals *d,
	int class, double y)
{
	for (size_t i = 0; i < DAMAGE_MAP_CELLS; i++) {
		size_t from = i;
		double x, width;

		while (i < DAMAGE_MAP_CELLS && cell_has(d, i, class))
			i++;
		if (i == from)
			continue;
		x = scale_at(&f->x, cell_start(d, from));
		width = scale_at(&f->x, cell_start(d, i)) - x;
		svg_box(t, class == DAMAGE_NONE ? "judged" : "hit", x, y, width > 1.5 ? width : 1.5,
			STRIP);
	}
}

static size_t count_strips(const struct damage_totals *d)
{
	size_t n = 1;

	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		n += d->by_class[c] != 0;
	return n;
}

static void label_place(struct text *t, double bytes)
{
	static const char *const units[] = { "B", "kB", "MB", "GB", "TB" };
	size_t i = 0;

	for (; i < 4 && bytes >= 999.5; i++)
		bytes /= 1000;
	text_addf(t, "%.3g %s", bytes, units[i]);
}

void chart_damage(struct text *t, const char *title, const struct damage_totals *d)
{
	struct chart_frame f = { .x = { .low = (double)d->region_start,
					 .high = (double)(d->region_start + d->region_bytes) } };
	double y;

	if (!d->region_bytes)
		return;
	chart_frame_init(&f, CHART_WIDTH, (double)count_strips(d) * (STRIP + STRIP_GAP) + 66);
	svg_begin(t, f.width, f.height, title,
		"Places of damage in the region by class; the table below has the counts.");
	chart_x_axis(t, &f, "place on the target", label_place);
	y = f.top;
	for (int c = DAMAGE_NONE; c < DAMAGE_CLASSES; c++) {
		if (c != DAMAGE_NONE && !d->by_class[c])
			continue;
		svg_text(t, "tick", f.left - 7, y + STRIP / 2.0 + 4, SVG_FINISH,
			c == DAMAGE_NONE ? "judged" : damage_class_name((enum damage_class)c));
		svg_box(t, "panel", f.left, y, f.right - f.left, STRIP);
		draw_strip(t, &f, d, c, y);
		y += STRIP + STRIP_GAP;
	}
	svg_end(t);
}
