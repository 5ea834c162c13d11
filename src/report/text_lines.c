/* Lines of plain text. */
#include "report/text_lines.h"

#include <stdint.h>

#include "base/clean.h"
#include "report/layout.h"

enum { NARROWEST = 40 };

void text_lines_begin(struct text_lines *s, struct text *t, const struct text_style *style)
{
	*s = (struct text_lines){ .t = t,
		.style = style,
		.columns = style->columns < NARROWEST ? NARROWEST : style->columns };
	text_init(&s->scratch);
}

void text_lines_end(struct text_lines *s)
{
	s->t->failed = s->t->failed || s->scratch.failed;
	text_release(&s->scratch);
}

void text_lines_bold(struct text_lines *s)
{
	text_adds(s->t, s->style->colour ? "\033[1m" : "");
}

void text_lines_look(struct text_lines *s)
{
	text_adds(s->t, s->style->colour ? "\033[1;35m" : "");
}

void text_lines_plain(struct text_lines *s)
{
	text_adds(s->t, s->style->colour ? "\033[0m" : "");
}

void text_lines_words(struct text_lines *s, const char *words, size_t at, size_t indent)
{
	text_reset(&s->scratch);
	clean_add(&s->scratch, words, !s->style->utf8);
	layout_wrap(s->t, s->scratch.bytes, at, indent, s->columns);
}

void text_lines_section(struct text_lines *s, const char *name)
{
	text_adds(s->t, "\n");
	text_lines_bold(s);
	text_lines_words(s, name, 0, 0);
	text_lines_plain(s);
}

void text_lines_command(struct text_lines *s, const char *command)
{
	layout_command(s->t, command, 0, TEXT_LINES_INDENT,
		s->style->folds_commands ? s->columns : SIZE_MAX);
}

void text_lines_folded(struct text_lines *s, const char *command, size_t indent)
{
	text_reset(&s->scratch);
	clean_add(&s->scratch, command, !s->style->utf8);
	layout_command(s->t, s->scratch.bytes, indent, indent, s->columns);
}
