/* Rate over time within passes: small panels, one a request size. */
#include "base/size.h"
#include "base/text.h"
#include "report/chart.h"
#include "report/svg.h"

enum { PANELS_ACROSS = 3, PANEL_HEIGHT = 92, PANEL_GAP = 20, PANELS_MAX = 30 };

static const double first_left = 108, panel_top = 26;

static bool find_ends(
	struct scale *x, struct scale *y, const struct points *table, const struct detail *details)
{
	bool any = false;

	for (size_t i = 0; i < table->count; i++) {
		for (size_t k = 0; k < details[i].trace_count; k++) {
			const struct detail_trace *trace = &details[i].traces[k];
			double end = (double)trace->step_ns * (double)trace->steps / 1e9;

			if (end > x->high)
				x->high = end;
			for (size_t s = 0; s < trace->steps; s++)
				if (trace->rate_bps[s] > y->high)
					y->high = trace->rate_bps[s];
			any = true;
		}
	}
	scale_round(y);
	return any && x->high > 0;
}

static void draw_pass(struct text *t, const struct scale *x, const struct scale *y,
	const struct detail_trace *trace)
{
	double step = (double)trace->step_ns / 1e9;

	svg_path_begin(t, "pass");
	for (size_t i = 0; i < trace->steps; i++) {
		double place = scale_at(y, trace->rate_bps[i]);

		/* A step each: the rate is that of the whole stretch. */
		svg_path_to(t, i == 0, scale_at(x, step * (double)i), place);
		svg_path_to(t, false, scale_at(x, step * (double)(i + 1)), place);
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

static void draw_panel(struct text *t, struct scale x, struct scale y, size_t at, bool lowest,
	const struct point *p, const struct detail *d)
{
	double width = (CHART_WIDTH - first_left - 10 - 2 * PANEL_GAP) / PANELS_ACROSS;
	size_t rows_above = at / PANELS_ACROSS;
	char size[SIZE_TEXT_MAX];

	x.from = first_left + (double)(at % PANELS_ACROSS) * (width + PANEL_GAP);
	x.to = x.from + width;
	y.to = panel_top + (double)rows_above * (PANEL_HEIGHT + 34);
	y.from = y.to + PANEL_HEIGHT;
	draw_panel_axes(t, &x, &y, at % PANELS_ACROSS == 0, lowest);
	svg_text(t, "panel-name", x.from, y.to - 6, SVG_START, size_format(size, p->request_bytes));
	for (size_t i = 0; i < d->trace_count; i++)
		draw_pass(t, &x, &y, &d->traces[i]);
}

static size_t count_panels(const struct points *table, const struct detail *details)
{
	size_t n = 0;

	for (size_t i = 0; i < table->count; i++)
		n += details[i].trace_count > 0;
	return n < PANELS_MAX ? n : PANELS_MAX;
}

bool chart_traces(
	struct text *t, const char *title, const struct points *table, const struct detail *details)
{
	struct scale x = { 0 }, y = { 0 };
	size_t panels = count_panels(table, details), at = 0;
	size_t rows = (panels + PANELS_ACROSS - 1) / PANELS_ACROSS;
	double height;

	if (!find_ends(&x, &y, table, details))
		return false;
	height = panel_top + (double)rows * (PANEL_HEIGHT + 34) + 18;
	svg_begin(t, CHART_WIDTH, height, title,
		"Rate over the time of each pass, one panel a request size; the table below has "
		"the "
		"extremes.");
	for (size_t i = 0; i < table->count && at < panels; i++) {
		if (!details[i].trace_count)
			continue;
		draw_panel(t, x, y, at, at + PANELS_ACROSS >= panels, &table->list[i], &details[i]);
		at++;
	}
	svg_text(t, "axis", CHART_WIDTH / 2.0, height - 6, SVG_MIDDLE,
		"time since the start of the pass");
	svg_text_upwards(t, "axis", 14, height / 2, "rate");
	svg_end(t);
	return true;
}
