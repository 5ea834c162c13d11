/* The plain-text view: any view of findings/. */
#ifndef REPORT_TEXT_VIEW_H
#define REPORT_TEXT_VIEW_H

struct error;
struct text;
struct text_style;
struct view;

/* Adds all of it: the verdict, what was found, what was tested, tables. 0, or -1 with *err (out of memory). */
int text_view_add(
	struct text *t, const struct view *v, const struct text_style *style, struct error *err);

#endif
