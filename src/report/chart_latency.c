/* How long requests take, by their size. */
#include "base/text.h"
#include "report/chart.h"
#include "report/svg.h"

static bool find_ends(
	struct chart_frame *f, const struct points *table, const struct detail *details)
{
	bool any = false;

	for (size_t i = 0; i < table->count; i++) {
		const struct point *p = &table->list[i];
		double low = detail_quantile_s(&details[i], 0.01);
		double bytes = (double)p->request_bytes;

		if (!(low > 0))
			continue;
		if (!any || low < f->y.low)
			f->y.low = low;
		if (p->lat_max_s > f->y.high)
			f->y.high = p->lat_max_s;
		if (!any || bytes < f->x.low)
			f->x.low = bytes;
		if (bytes > f->x.high)
			f->x.high = bytes;
		any = true;
	}
	if (!any)
		return false;
	f->x.low /= 1.25;
	f->x.high *= 1.25;
	scale_round(&f->y);
	return true;
}

static void draw_point(
	struct text *t, const struct chart_frame *f, const struct point *p, const struct detail *d)
{
	double x = scale_at(&f->x, (double)p->request_bytes);
	double p1 = scale_at(&f->y, detail_quantile_s(d, 0.01));
	double p25 = scale_at(&f->y, detail_quantile_s(d, 0.25));
	double p50 = scale_at(&f->y, detail_quantile_s(d, 0.5));
	double p75 = scale_at(&f->y, detail_quantile_s(d, 0.75));
	double p99 = scale_at(&f->y, detail_quantile_s(d, 0.99));
	double slowest = scale_at(&f->y, p->lat_max_s);

	svg_line(t, "whisker", x, p1, x, slowest);
	svg_box(t, "half", x - 6, p75, 12, p25 - p75 > 1.5 ? p25 - p75 : 1.5);
	svg_line(t, "median", x - 10, p50, x + 10, p50);
	svg_marker(t, 2, false, x, p99);
	svg_marker(t, 0, true, x, slowest);
}

bool chart_latency(
	struct text *t, const char *title, const struct points *table, const struct detail *details)
{
	struct chart_frame f = { .x.logarithmic = true, .y.logarithmic = true };

	chart_frame_init(&f, CHART_WIDTH, CHART_HEIGHT);
	if (!find_ends(&f, table, details))
		return false;
	svg_begin(t, f.width, f.height, title,
		"Time of single requests by their size; the table below has the values.");
	chart_y_axis(t, &f, "time of a request (logarithmic)", chart_label_duration);
	chart_size_axis(t, &f, table);
	for (size_t i = 0; i < table->count; i++)
		if (details[i].requests)
			draw_point(t, &f, &table->list[i], &details[i]);
	svg_end(t);
	return true;
}
