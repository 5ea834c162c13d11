/* Any chart of a view: its frame, its key, its drawing. */
#ifndef REPORT_CHART_VIEW_H
#define REPORT_CHART_VIEW_H

struct chart;
struct chart_frame;
struct text;

/* Adds the whole figure; nothing where there is nothing to draw. */
void chart_add(struct text *t, const struct chart *c);

/* One a kind of chart. */
void chart_add_steps(struct text *t, const struct chart *c);

/* The axes, labelled in the chart's units. */
void chart_axes(struct text *t, const struct chart_frame *f, const struct chart *c);

#endif
