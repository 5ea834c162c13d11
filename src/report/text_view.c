/* What the plain-text views of a record share. */
#include "report/text_view.h"

#include "base/clean.h"
#include "findings/facts.h"
#include "report/layout.h"

enum { NARROWEST = 60, FACT_INDENT = 12, SENTENCE_INDENT = 4 };

void text_view_begin(struct text_view *s, struct text *t, const struct text_style *style)
{
	*s = (struct text_view){ .t = t,
		.style = style,
		.columns = style->columns < NARROWEST ? NARROWEST : style->columns };
	text_init(&s->scratch);
}

void text_view_end(struct text_view *s)
{
	s->t->failed = s->t->failed || s->scratch.failed;
	text_release(&s->scratch);
}

void text_view_bold(struct text_view *s)
{
	text_adds(s->t, s->style->colour ? "\033[1m" : "");
}

void text_view_look(struct text_view *s)
{
	text_adds(s->t, s->style->colour ? "\033[1;35m" : "");
}

void text_view_plain(struct text_view *s)
{
	text_adds(s->t, s->style->colour ? "\033[0m" : "");
}

void text_view_words(struct text_view *s, const char *words, size_t at, size_t indent)
{
	text_reset(&s->scratch);
	clean_add(&s->scratch, words, !s->style->utf8);
	layout_wrap(s->t, s->scratch.bytes, at, indent, s->columns);
}

void text_view_fact(void *view, const char *name, const char *value)
{
	struct text_view *s = view;

	text_adds(s->t, "  ");
	layout_left(s->t, name, FACT_INDENT - 2);
	text_view_words(s, value, FACT_INDENT, FACT_INDENT);
}

void text_view_head(struct text_view *s, const struct run *run)
{
	struct fact_visitor facts = { s, text_view_fact };

	text_view_bold(s);
	text_adds(s->t, "Run ");
	clean_add(s->t, run->head.id, !s->style->utf8);
	text_view_plain(s);
	text_adds(s->t, "\n");
	s->t->failed |= !facts_visit(run, &facts);
}

void text_view_section(struct text_view *s, const char *name)
{
	text_adds(s->t, "\n");
	text_view_bold(s);
	text_adds(s->t, name);
	text_view_plain(s);
	text_adds(s->t, "\n");
}

void text_view_notice(void *view, enum notice_kind kind, const char *sentence)
{
	struct text_view *s = view;

	text_adds(s->t, "  ");
	if (kind == NOTICE_CAUTION) {
		text_view_look(s);
		text_adds(s->t, "!");
		text_view_plain(s);
	} else {
		text_adds(s->t, "+");
	}
	text_adds(s->t, " ");
	text_view_words(s, sentence, SENTENCE_INDENT, SENTENCE_INDENT);
}
