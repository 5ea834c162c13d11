/* What the plain-text views of a record share. */
#include "report/sheet.h"

#include "base/clean.h"
#include "findings/facts.h"
#include "report/layout.h"

enum { NARROWEST = 60, FACT_INDENT = 12, SENTENCE_INDENT = 4 };

void sheet_begin(struct sheet *s, struct text *t, const struct summary_style *style)
{
	*s = (struct sheet){ .t = t,
		.style = style,
		.columns = style->columns < NARROWEST ? NARROWEST : style->columns };
	text_init(&s->scratch);
}

void sheet_end(struct sheet *s)
{
	s->t->failed = s->t->failed || s->scratch.failed;
	text_release(&s->scratch);
}

void sheet_bold(struct sheet *s)
{
	text_adds(s->t, s->style->colour ? "\033[1m" : "");
}

void sheet_look(struct sheet *s)
{
	text_adds(s->t, s->style->colour ? "\033[1;35m" : "");
}

void sheet_plain(struct sheet *s)
{
	text_adds(s->t, s->style->colour ? "\033[0m" : "");
}

void sheet_words(struct sheet *s, const char *words, size_t at, size_t indent)
{
	text_reset(&s->scratch);
	clean_add(&s->scratch, words, !s->style->utf8);
	layout_wrap(s->t, s->scratch.bytes, at, indent, s->columns);
}

void sheet_fact(void *sheet, const char *name, const char *value)
{
	struct sheet *s = sheet;

	text_adds(s->t, "  ");
	layout_left(s->t, name, FACT_INDENT - 2);
	sheet_words(s, value, FACT_INDENT, FACT_INDENT);
}

void sheet_head(struct sheet *s, const struct run *run)
{
	struct fact_visitor facts = { s, sheet_fact };

	sheet_bold(s);
	text_adds(s->t, "Run ");
	clean_add(s->t, run->head.id, !s->style->utf8);
	sheet_plain(s);
	text_adds(s->t, "\n");
	s->t->failed |= !facts_visit(run, &facts);
}

void sheet_section(struct sheet *s, const char *name)
{
	text_adds(s->t, "\n");
	sheet_bold(s);
	text_adds(s->t, name);
	sheet_plain(s);
	text_adds(s->t, "\n");
}

void sheet_notice(void *sheet, enum notice_kind kind, const char *sentence)
{
	struct sheet *s = sheet;

	text_adds(s->t, "  ");
	if (kind == NOTICE_CAUTION) {
		sheet_look(s);
		text_adds(s->t, "!");
		sheet_plain(s);
	} else {
		text_adds(s->t, "+");
	}
	text_adds(s->t, " ");
	sheet_words(s, sentence, SENTENCE_INDENT, SENTENCE_INDENT);
}
