/* One self-contained HTML page: no network, no script; light, dark and print. Begin, add what there is, end.
 * Everything from a device or a person is cleaned and escaped on its way in. */
#ifndef REPORT_PAGE_H
#define REPORT_PAGE_H

#include <stddef.h>

struct text;
struct view;

/* verdict: a sentence that stands in the window's title behind the page's; NULL: none. */
void page_begin(struct text *t, const char *title, const char *verdict);
void page_end(struct text *t);

/* Adds all of a view: what was found, what was tested, charts and tables; a list of contents where they are many. nth: of
 * how many views it is on the page, from 0. */
void page_add_view(struct text *t, const struct view *v, size_t nth);

/* Building blocks for the other sections; the heading is the page's own, where it is not about one run. */
void page_heading(struct text *t, const char *heading);
void page_section(struct text *t, const char *heading);
void page_command(struct text *t, const char *command); /* to be copied as it is */
void page_add_shell(struct text *t, const char *command); /* the same, where other text stands */

#endif
