/* The plain-text view: any view of findings/, and the pieces it is painted from. */
#ifndef REPORT_TEXT_VIEW_H
#define REPORT_TEXT_VIEW_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

struct text_style {
	unsigned columns; /* of the terminal; tables too wide go on below; at least 40 */
	bool utf8; /* else every character beyond ASCII becomes '?' */
	bool colour; /* bold headings, and one colour for what asks for a look */
	bool brief; /* the verdict alone */
};

struct error;
struct view;

/* Adds all of it: the verdict, what was found, what was tested, tables. 0, or -1 with *err (out of memory). */
int text_view_add(
	struct text *t, const struct view *v, const struct text_style *style, struct error *err);

/* ---- pieces ---- */

struct text_view {
	struct text *t; /* what was added so far */
	struct text scratch;
	const struct text_style *style;
	size_t columns;
};

/* t and style stay the caller's and outlive the view. */
void text_view_begin(struct text_view *s, struct text *t, const struct text_style *style);
void text_view_end(struct text_view *s); /* t->failed then tells of any failure */

/* An empty line and a heading. */
void text_view_section(struct text_view *s, const char *name);

/* Cleans words and wraps them: from the column `at`, where the line stands, on; then at `indent`. */
void text_view_words(struct text_view *s, const char *words, size_t at, size_t indent);

/* A line to be pasted, below its sentence: as it is, however long. */
void text_view_command(struct text_view *s, const char *command);

/* Switch looks on, when there is colour, and off again. */
void text_view_bold(struct text_view *s);
void text_view_look(struct text_view *s); /* asks for a look */
void text_view_plain(struct text_view *s);

#endif
