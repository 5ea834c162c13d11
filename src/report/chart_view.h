/* Any chart of a view, as inline SVG drawn by ourselves: a few lines and marks need less code than driving a plotting
 * program, and follow the page's style sheet for dark, light and print. */
#ifndef REPORT_CHART_VIEW_H
#define REPORT_CHART_VIEW_H

struct chart;
struct page_place;
struct text;

/* Adds the whole figure: caption, key, drawing. */
void chart_add(struct text *t, const struct chart *c, const struct page_place *place);

/* One a kind of chart; each adds one <svg>. */
void chart_add_lines(struct text *t, const struct chart *c);
void chart_add_boxes(struct text *t, const struct chart *c);
void chart_add_steps(struct text *t, const struct chart *c);
void chart_add_ratios(struct text *t, const struct chart *c);
void chart_add_panels(struct text *t, const struct chart *c);
void chart_add_strips(struct text *t, const struct chart *c);
void chart_add_stacks(struct text *t, const struct chart *c);

#endif
