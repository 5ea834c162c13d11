/* Any chart of a view. */
#include "report/chart_view.h"

#include <stdio.h>

#include "base/text.h"
#include "findings/chart.h"
#include "report/page_figure.h"
#include "report/svg.h"

/* ---- keys ---- */

static bool any_range(const struct chart *c)
{
	for (size_t k = 0; k < c->series_count; k++)
		for (size_t i = 0; i < c->series[k].count; i++)
			if (c->series[k].points[i].ranged)
				return true;
	return false;
}

static const struct chart_series *first_fitted(const struct chart *c)
{
	for (size_t k = 0; k < c->series_count; k++)
		if (c->series[k].fitted)
			return &c->series[k];
	return NULL;
}

static void add_series_key(struct text *t, const struct chart *c)
{
	const struct chart_series *fitted = first_fitted(c);
	bool marked = c->kind == CHART_LINES || c->kind == CHART_RATIOS;
	char class[24];

	for (size_t i = 0; i < c->series_count; i++) {
		const struct chart_series *s = &c->series[i];

		if (s->fitted)
			continue;
		snprintf(class, sizeof class, "line l%u%s", s->style % 4, s->second ? " ack" : "");
		page_key_add(t, class, marked ? (int)s->style : -1, s->second, s->name);
	}
	if (any_range(c))
		page_key_add_box(t, "band b0", "95 % interval");
	if (fitted)
		page_key_add(t, "fit", -1, false, fitted->name);
	if (c->ceiling > 0)
		page_key_add(t, "ceiling", -1, false, c->ceiling_name);
}

static void add_box_key(struct text *t)
{
	page_key_add_box(t, "half", "middle half");
	page_key_add(t, "median", -1, false, "median");
	page_key_add(t, NULL, 2, false, "p99");
	page_key_add(t, NULL, 0, true, "slowest of all");
	page_key_add(t, "whisker", -1, false, "from p1 up");
}

static void add_stack_key(struct text *t, const struct chart *c)
{
	for (size_t i = 0; i < c->series_count; i++)
		page_key_add_part(t, c->series[i].style, c->series[i].second, c->series[i].name);
}

static void add_key(struct text *t, const struct chart *c)
{
	if (c->kind == CHART_PANELS || c->kind == CHART_STRIPS) /* each bears its name */
		return;
	page_key_begin(t);
	if (c->kind == CHART_BOXES)
		add_box_key(t);
	else if (c->kind == CHART_STACKS)
		add_stack_key(t, c);
	else
		add_series_key(t, c);
	page_key_end(t);
}

/* ---- drawing ---- */

static void draw(struct text *t, const struct chart *c)
{
	switch (c->kind) {
	case CHART_LINES:
		chart_add_lines(t, c);
		break;
	case CHART_BOXES:
		chart_add_boxes(t, c);
		break;
	case CHART_STEPS:
		chart_add_steps(t, c);
		break;
	case CHART_RATIOS:
		chart_add_ratios(t, c);
		break;
	case CHART_PANELS:
		chart_add_panels(t, c);
		break;
	case CHART_STRIPS:
		chart_add_strips(t, c);
		break;
	case CHART_STACKS:
		chart_add_stacks(t, c);
		break;
	}
}

void chart_add(struct text *t, const struct chart *c, const struct page_place *place)
{
	page_figure_begin(t, c->title);
	if (c->intro) {
		text_adds(t, "<p class=\"sub\">");
		markup_add(t, c->intro);
		text_adds(t, "</p>\n");
	}
	add_key(t, c);
	page_scroller_begin(t, "chart", "Chart", c->title, place);
	draw(t, c);
	page_scroller_end(t);
	page_figure_end(t);
}
