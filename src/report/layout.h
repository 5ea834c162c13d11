/* Plain text in columns: wrapping and alignment that count characters, not bytes. */
#ifndef REPORT_LAYOUT_H
#define REPORT_LAYOUT_H

#include <stddef.h>

struct text;

/* Adds s wrapped at `columns`; the first line begins at column `at` (already written), later ones are indented by
 * `indent` blanks. A word longer than a line is broken. Ends with a newline. Lines stay readable: never over 100 columns, but
 * for what begins in the right half of that. */
void layout_wrap(struct text *t, const char *s, size_t at, size_t indent, size_t columns);

/* Adds s, with blanks before (right) or after (left) up to `width` characters. */
void layout_right(struct text *t, const char *s, size_t width);
void layout_left(struct text *t, const char *s, size_t width);

#endif
