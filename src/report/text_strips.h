/* A chart of strips as plain text: one sign a cell, in groups of sixteen. */
#ifndef REPORT_TEXT_STRIPS_H
#define REPORT_TEXT_STRIPS_H

struct chart;
struct text_lines;

/* c: CHART_STRIPS. */
void text_strips_add(struct text_lines *s, const struct chart *c);

#endif
