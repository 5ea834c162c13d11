/* The frame of a drawing or table on a page: caption, key, and what lets it be scrolled sideways. */
#ifndef REPORT_PAGE_FIGURE_H
#define REPORT_PAGE_FIGURE_H

#include <stdbool.h>
#include <stddef.h>

struct text;

void page_figure_begin(struct text *t, const char *caption);
void page_figure_end(struct text *t);

/* Where on a page something stands: of which view, and its section; both from 1. */
struct page_place {
	size_t view, section;
};

/* What can be scrolled sideways must be reached by the keyboard and then say what it is (WCAG 2.1, 2.1.1), each by a name of
 * its own: kind, place and name. */
void page_scroller_begin(struct text *t, const char *class, const char *kind, const char *name,
	const struct page_place *place);
void page_scroller_end(struct text *t);

/* One entry of a key: a line of this class (NULL: none), a marker of this style (< 0: none), its name. */
void page_key_begin(struct text *t);
void page_key_add(struct text *t, const char *line, int marker, bool hollow, const char *name);
void page_key_add_box(struct text *t, const char *class, const char *name);
void page_key_add_part(struct text *t, unsigned style, bool light, const char *name);
void page_key_end(struct text *t);

#endif
