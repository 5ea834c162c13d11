/* Rate against request size. */
#include <math.h>
#include <stdio.h>

#include "base/size.h"
#include "base/text.h"
#include "report/chart.h"
#include "report/svg.h"

static const struct rate_summary *rate_of(const struct chart_table_series *s, const struct point *p)
{
	return s->acknowledged ? &p->acknowledged : &p->stored;
}

static void take_value(struct scale *s, double value)
{
	if (!(value > 0))
		return;
	if (!(s->low > 0) || value < s->low)
		s->low = value;
	if (value > s->high)
		s->high = value;
}

static void find_ends(struct chart_frame *f, const struct chart_table_series *series, size_t count)
{
	for (size_t k = 0; k < count; k++) {
		for (size_t i = 0; i < series[k].table.count; i++) {
			const struct point *p = &series[k].table.list[i];
			const struct rate_summary *r = rate_of(&series[k], p);

			take_value(&f->x, (double)p->request_bytes);
			take_value(&f->y, r->median);
			if (r->interval_known && r->low > r->median / 10)
				take_value(&f->y, r->low);
			if (r->interval_known && r->high < r->median * 10)
				take_value(&f->y, r->high);
			take_value(&f->y, p->link_ceiling_bps * 1.08);
		}
	}
	if (!(f->x.low > 0)) {
		f->x.low = 512;
		f->x.high = 1024;
		f->y.low = 1;
		f->y.high = 10;
	}
	/* Markers keep clear of the frame. */
	f->x.low /= 1.12;
	f->x.high *= 1.12;
	scale_round(&f->y);
}

static void draw_band(struct text *t, const struct chart_frame *f, const struct chart_table_series *s)
{
	char class[16];
	bool first = true;
	size_t known = 0;

	for (size_t i = 0; i < s->table.count; i++)
		known += rate_of(s, &s->table.list[i])->interval_known;
	if (!known)
		return;
	snprintf(class, sizeof class, "band b%u", s->style % 4);
	svg_path_begin(t, class);
	for (size_t i = 0; i < s->table.count * 2; i++) {
		/* Forth along the upper ends, back along the lower. */
		bool back = i >= s->table.count;
		const struct point *p = &s->table.list[back ? 2 * s->table.count - 1 - i : i];
		const struct rate_summary *r = rate_of(s, p);

		if (!r->interval_known)
			continue;
		svg_path_to(t, first, scale_at(&f->x, (double)p->request_bytes),
			scale_at(&f->y, back ? r->low : r->high));
		first = false;
	}
	svg_path_end(t, true);
}

static double fitted_rate(const struct chart_fit *fit, double n)
{
	double pieces = fit->largest_piece > 0 ? ceil(n / fit->largest_piece) : 1;

	return n / (pieces * fit->seconds_per_request + n / fit->bytes_per_second);
}

static void draw_fit(struct text *t, const struct chart_frame *f, const struct chart_table_series *s)
{
	enum { STEPS = 120 };

	if (!s->fit.known)
		return;
	svg_path_begin(t, "fit");
	for (int i = 0; i <= STEPS; i++) {
		double n = f->x.low * pow(f->x.high / f->x.low, (double)i / STEPS);

		svg_path_to(
			t, i == 0, scale_at(&f->x, n), scale_at(&f->y, fitted_rate(&s->fit, n)));
	}
	svg_path_end(t, false);
}

static void draw_line(struct text *t, const struct chart_frame *f, const struct chart_table_series *s)
{
	char class[24];
	bool first = true;

	snprintf(class, sizeof class, "line l%u%s", s->style % 4, s->acknowledged ? " ack" : "");
	svg_path_begin(t, class);
	for (size_t i = 0; i < s->table.count; i++) {
		const struct point *p = &s->table.list[i];
		double rate = rate_of(s, p)->median;

		if (!(rate > 0))
			continue;
		svg_path_to(
			t, first, scale_at(&f->x, (double)p->request_bytes), scale_at(&f->y, rate));
		first = false;
	}
	svg_path_end(t, false);
	for (size_t i = 0; i < s->table.count; i++) {
		const struct point *p = &s->table.list[i];

		if (rate_of(s, p)->median > 0)
			svg_marker(t, s->style, s->acknowledged,
				scale_at(&f->x, (double)p->request_bytes),
				scale_at(&f->y, rate_of(s, p)->median));
	}
}

static void draw_ceiling(struct text *t, const struct chart_frame *f, double ceiling)
{
	char words[80], rate[SIZE_TEXT_MAX];
	double y;

	if (!(ceiling > 0))
		return;
	y = scale_at(&f->y, ceiling);
	snprintf(words, sizeof words, "the link carries at most %s", rate_format(rate, ceiling));
	svg_line(t, "ceiling", f->left, y, f->right, y);
	svg_text(t, "note", f->left + 8, y - 6, SVG_START, words);
}

void chart_rate(struct text *t, const char *title, const struct chart_table_series *series, size_t count)
{
	struct chart_frame f = { .x.logarithmic = true, .y.logarithmic = true };

	if (!count)
		return;
	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	find_ends(&f, series, count);
	svg_begin(t, f.width, f.height, title,
		"Median rate by request size with its 95 % interval as a band; the table below has "
		"the "
		"values.");
	chart_y_axis(t, &f, "rate (logarithmic)", chart_label_rate);
	chart_size_axis(t, &f, &series[0].table);
	for (size_t i = 0; i < count; i++)
		draw_band(t, &f, &series[i]);
	for (size_t i = 0; i < count; i++)
		draw_fit(t, &f, &series[i]);
	for (size_t i = 0; i < count; i++)
		draw_line(t, &f, &series[i]);
	if (series[0].table.count)
		draw_ceiling(t, &f, series[0].table.list[0].link_ceiling_bps);
	svg_end(t);
}
