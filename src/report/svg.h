/* SVG elements, one call each. Coordinates are user units of the viewBox; looks come from classes in the page's style
 * sheet, so that light, dark and print differ there alone. Text is cleaned and escaped. */
#ifndef REPORT_SVG_H
#define REPORT_SVG_H

#include <stdbool.h>

struct text;

/* HTML and SVG text or attribute value: cleaned (base/clean.h), then & < > " ' escaped. */
void markup_add(struct text *t, const char *s);

void svg_begin(struct text *t, double width, double height, const char *title, const char *what);
void svg_end(struct text *t);

enum svg_anchor { SVG_START, SVG_MIDDLE, SVG_FINISH };

void svg_text(struct text *t, const char *class, double x, double y, enum svg_anchor anchor,
	const char *s);
/* Reads upwards, for the name of a vertical axis. */
void svg_text_upwards(struct text *t, const char *class, double x, double y, const char *s);
void svg_line(struct text *t, const char *class, double x1, double y1, double x2, double y2);
void svg_box(struct text *t, const char *class, double x, double y, double width, double height);

/* One part of a whole, whose fill tells it in grey, too: 0 full, 1 hatched aslant, 2 hatched upright, 3 hollow; light: a
 * part of the same part. */
void svg_part(struct text *t, unsigned style, bool light, double x, double y, double width,
	double height);

/* Shape and colour both tell the series (0 circle, 1 square, 2 triangle, 3 diamond), hollow or filled. */
void svg_marker(struct text *t, unsigned series, bool hollow, double x, double y);

void svg_path_begin(struct text *t, const char *class);
void svg_path_to(struct text *t, bool first, double x, double y);
void svg_path_end(struct text *t, bool close);

#endif
