/* What plain text is painted from: headings, wrapped words, commands, looks. */
#ifndef REPORT_TEXT_LINES_H
#define REPORT_TEXT_LINES_H

#include <stdbool.h>
#include <stddef.h>

#include "base/text.h"

enum { TEXT_LINES_INDENT = 4 }; /* of sentences below a heading */

struct text_style {
	unsigned columns; /* of the terminal; tables too wide go on below; at least 40 */
	bool utf8; /* else every character beyond ASCII becomes '?' */
	bool colour; /* bold headings, and one colour for what asks for a look */
	bool folds_commands; /* those wider than the screen; else they stay one line */
	bool brief; /* the verdict alone */
	bool one_of_several; /* views of single runs: the verdict alone then says of which */
};

struct text_lines {
	struct text *t; /* what was added so far */
	struct text scratch;
	const struct text_style *style;
	size_t columns;
};

/* t and style stay the caller's and outlive the view. */
void text_lines_begin(struct text_lines *s, struct text *t, const struct text_style *style);
void text_lines_end(struct text_lines *s); /* t->failed then tells of any failure */

/* An empty line and a heading. */
void text_lines_section(struct text_lines *s, const char *name);

/* Cleans words and wraps them: from the column `at`, where the line stands, on; then at `indent`. */
void text_lines_words(struct text_lines *s, const char *words, size_t at, size_t indent);

/* A line to be pasted, below its sentence. */
void text_lines_command(struct text_lines *s, const char *command);

/* The same, cleaned, from `indent` on, where the line stands; folded in any case. */
void text_lines_folded(struct text_lines *s, const char *command, size_t indent);

/* Switch looks on, when there is colour, and off again. */
void text_lines_bold(struct text_lines *s);
void text_lines_look(struct text_lines *s); /* asks for a look */
void text_lines_plain(struct text_lines *s);

#endif
