/* The plain-text view. */
#include "report/text_view.h"

#include "base/clean.h"
#include "base/error.h"
#include "findings/view.h"
#include "report/layout.h"
#include "report/text_strips.h"
#include "report/text_table.h"

enum { NARROWEST = 40, FACT_INDENT = 12, SENTENCE_INDENT = 4 };

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

static void add_fact(struct text_view *s, const char *name, const char *value)
{
	text_adds(s->t, "  ");
	layout_left(s->t, name, FACT_INDENT - 2);
	text_view_words(s, value, FACT_INDENT, FACT_INDENT);
}

void text_view_section(struct text_view *s, const char *name)
{
	text_adds(s->t, "\n");
	text_view_bold(s);
	text_adds(s->t, name);
	text_view_plain(s);
	text_adds(s->t, "\n");
}

static void add_sentence(struct text_view *s, bool caution, const char *sentence)
{
	text_adds(s->t, "  ");
	if (caution) {
		text_view_look(s);
		text_adds(s->t, "!");
		text_view_plain(s);
	} else {
		text_adds(s->t, "+");
	}
	text_adds(s->t, " ");
	text_view_words(s, sentence, SENTENCE_INDENT, SENTENCE_INDENT);
}

void text_view_command(struct text_view *s, const char *command)
{
	text_addf(s->t, "%*s%s\n", SENTENCE_INDENT, "", command);
}

/* ---- a whole view ---- */

static void add_findings(struct text_view *s, const struct findings *f, size_t first)
{
	for (size_t i = first; i < f->count; i++) {
		add_sentence(s, f->list[i].code->kind == FINDING_CAUTION, f->list[i].sentence);
		if (f->list[i].command)
			text_view_command(s, f->list[i].command);
	}
}

static void add_verdict(struct text_view *s, const struct finding *verdict)
{
	bool caution = verdict->code->kind == FINDING_CAUTION;

	if (caution)
		text_view_look(s);
	else
		text_view_bold(s);
	text_adds(s->t, caution ? "! " : "");
	text_view_words(s, verdict->sentence, caution ? 2 : 0, caution ? 2 : 0);
	text_view_plain(s);
}

static void add_facts(struct text_view *s, const struct view *v)
{
	if (!*v->head && !v->fact_count)
		return;
	text_adds(s->t, "\n");
	text_view_bold(s);
	clean_add(s->t, v->head, !s->style->utf8);
	text_view_plain(s);
	text_adds(s->t, "\n");
	for (size_t i = 0; i < v->fact_count; i++)
		add_fact(s, v->facts[i].name, v->facts[i].value);
}

static void add_section(struct text_view *s, const struct section *x)
{
	if (x->heading)
		text_view_section(s, x->heading);
	else
		text_adds(s->t, "\n");
	if (x->intro)
		text_view_words(s, x->intro, 0, 0);
	if (x->says)
		add_findings(s, x->says, 0);
	if (x->chart && x->chart->kind == CHART_STRIPS)
		text_strips_add(s, x->chart);
	if (x->table.count)
		text_table_add(s, &x->table);
	if (x->note)
		text_view_words(s, x->note, 0, 0);
}

static void add_details(struct text_view *s, const struct view *v)
{
	if (v->findings.count > 1)
		text_adds(s->t, "\n");
	add_findings(s, &v->findings, 1);
	add_facts(s, v);
	for (size_t i = 0; i < v->section_count; i++)
		if (v->sections[i].on & ON_TEXT)
			add_section(s, &v->sections[i]);
}

int text_view_add(
	struct text *t, const struct view *v, const struct text_style *style, struct error *err)
{
	struct text_view s;

	text_view_begin(&s, t, style);
	add_verdict(&s, &v->findings.list[0]);
	if (!style->brief)
		add_details(&s, v);
	text_view_end(&s);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the text") : 0;
}
