/* Plain text in columns: wrapping and alignment that count characters, not bytes. */
#ifndef REPORT_LAYOUT_H
#define REPORT_LAYOUT_H

#include <stddef.h>

struct text;

/* Adds s wrapped at `columns`; the first line begins at column `at` (already written), later ones are indented by
 * `indent` blanks. A word longer than a line is broken. Ends with a newline. Lines stay readable: never over 100 columns, but
 * for what begins in the right half of that. */
void layout_wrap(struct text *t, const char *s, size_t at, size_t indent, size_t columns);

/* Adds s, a shell's command, from column `indent` on; the line stands at column `at` already. Where it is wider than
 * `columns` it goes on in lines indented by two more, each before them ending in a backslash, so that it can still be pasted.
 * Only blanks outside quotes are places to break: a word longer than a line stays whole. Ends with a newline. */
void layout_command(struct text *t, const char *s, size_t at, size_t indent, size_t columns);

/* Adds s, with blanks before (right) or after (left) up to `width` characters. */
void layout_right(struct text *t, const char *s, size_t width);
void layout_left(struct text *t, const char *s, size_t width);

#endif
