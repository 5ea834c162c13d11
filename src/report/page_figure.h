/* The frame of a drawing on a page: caption and key. */
#ifndef REPORT_PAGE_FIGURE_H
#define REPORT_PAGE_FIGURE_H

#include <stdbool.h>

struct text;

void page_figure_begin(struct text *t, const char *caption);
void page_figure_end(struct text *t);

/* One entry of a key: a line of this class (NULL: none), a marker of this style (< 0: none), its name. */
void page_key_begin(struct text *t);
void page_key_add(struct text *t, const char *line, int marker, bool hollow, const char *name);
void page_key_add_box(struct text *t, const char *class, const char *name);
void page_key_end(struct text *t);

#endif
