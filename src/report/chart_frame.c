/* What charts share: the frame and its axes. */
#include "report/chart_frame.h"

#include <math.h>

#include "base/size.h"
#include "base/text.h"
#include "report/svg.h"

void chart_frame_init(struct chart_frame *f, double width, double height)
{
	f->width = width;
	f->height = height;
	f->left = 108; /* room for the labels at the size that phones show */
	f->right = width - 14;
	f->top = 12;
	f->bottom = height - 46;
	f->x.from = f->left;
	f->x.to = f->right;
	f->y.from = f->bottom;
	f->y.to = f->top;
}

void chart_label_rate(struct text *t, double rate)
{
	static const char *const units[] = { "B/s", "kB/s", "MB/s", "GB/s" };
	size_t i = 0;

	for (; i < 3 && fabs(rate) >= 999.5; i++)
		rate /= 1000;
	text_addf(t, "%.3g %s", rate, units[i]);
}

void chart_label_duration(struct text *t, double seconds)
{
	if (seconds <= 0)
		text_adds(t, "0");
	else if (seconds < 0.9995e-3)
		text_addf(t, "%.3g us", seconds * 1e6);
	else if (seconds < 0.9995)
		text_addf(t, "%.3g ms", seconds * 1e3);
	else
		text_addf(t, "%.3g s", seconds);
}

void chart_label_size(struct text *t, double bytes)
{
	char size[SIZE_TEXT_MAX];

	text_adds(t, size_format(size, (uint64_t)bytes));
}

static void label_amount(struct text *t, double bytes)
{
	static const char *const units[] = { "B", "kB", "MB", "GB", "TB" };
	size_t i = 0;

	for (; i < 4 && bytes >= 999.5; i++)
		bytes /= 1000;
	text_addf(t, "%.3g %s", bytes, units[i]);
}

chart_label *chart_label_of(enum unit unit)
{
	if (unit == UNIT_SECONDS)
		return chart_label_duration;
	if (unit == UNIT_BYTES_DECIMAL)
		return label_amount;
	return unit == UNIT_BYTES ? chart_label_size : chart_label_rate;
}

void chart_y_axis(struct text *t, const struct chart_frame *f, const char *name, chart_label *label)
{
	double ticks[SCALE_TICKS_MAX];
	size_t n = scale_ticks(&f->y, ticks);
	struct text words;

	text_init(&words);
	for (size_t i = 0; i < n; i++) {
		double y = scale_at(&f->y, ticks[i]);

		svg_line(t, "grid", f->left, y, f->right, y);
		svg_line(t, "rule", f->left - 4, y, f->left, y);
		text_reset(&words);
		label(&words, ticks[i]);
		svg_text(t, "tick", f->left - 7, y + 4, SVG_FINISH, words.bytes);
	}
	text_release(&words);
	svg_text_upwards(t, "axis", 14, (f->top + f->bottom) / 2, name);
	svg_line(t, "rule", f->left, f->top, f->left, f->bottom);
}

static void x_name(struct text *t, const struct chart_frame *f, const char *name)
{
	svg_line(t, "rule", f->left, f->bottom, f->right, f->bottom);
	svg_text(t, "axis", (f->left + f->right) / 2, f->height - 8, SVG_MIDDLE, name);
}

void chart_x_axis(struct text *t, const struct chart_frame *f, const char *name, chart_label *label)
{
	double ticks[SCALE_TICKS_MAX];
	size_t n = scale_ticks(&f->x, ticks);
	struct text words;

	text_init(&words);
	for (size_t i = 0; i < n; i++) {
		double x = scale_at(&f->x, ticks[i]);

		svg_line(t, "rule", x, f->bottom, x, f->bottom + 4);
		text_reset(&words);
		label(&words, ticks[i]);
		svg_text(t, "tick", x, f->bottom + 20, SVG_MIDDLE, words.bytes);
	}
	text_release(&words);
	x_name(t, f, name);
}

void chart_x_axis_at(struct text *t, const struct chart_frame *f, const char *name,
	chart_label *label, const double *at, size_t count)
{
	const double apart = 61; /* of labels, in the width that a phone shows them */
	double last = -1e9;
	struct text words;

	text_init(&words);
	for (size_t i = 0; i < count; i++) {
		double x = scale_at(&f->x, at[i]);

		svg_line(t, "rule", x, f->bottom, x, f->bottom + 4);
		if (x - last < apart)
			continue;
		last = x;
		text_reset(&words);
		label(&words, at[i]);
		svg_text(t, "tick", x, f->bottom + 20, SVG_MIDDLE, words.bytes);
	}
	text_release(&words);
	x_name(t, f, name);
}
