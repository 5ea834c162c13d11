/* The plain-text view. */
#include "report/text_view.h"

#include "base/clean.h"
#include "base/error.h"
#include "findings/view.h"
#include "report/layout.h"
#include "report/text_lines.h"
#include "report/text_strips.h"
#include "report/text_table.h"

enum { FACT_INDENT = 12 };

static void add_fact(struct text_lines *s, const struct fact *f)
{
	text_adds(s->t, "  ");
	layout_left(s->t, f->name, FACT_INDENT - 2);
	if (f->command)
		text_lines_folded(s, f->value, FACT_INDENT);
	else
		text_lines_words(s, f->value, FACT_INDENT, FACT_INDENT);
}

static void add_sentence(struct text_lines *s, bool caution, const char *sentence)
{
	text_adds(s->t, "  ");
	if (caution) {
		text_lines_look(s);
		text_adds(s->t, "!");
		text_lines_plain(s);
	} else {
		text_adds(s->t, "+");
	}
	text_adds(s->t, " ");
	text_lines_words(s, sentence, TEXT_LINES_INDENT, TEXT_LINES_INDENT);
}

static void add_findings(struct text_lines *s, const struct findings *f, size_t first)
{
	for (size_t i = first; i < f->count; i++) {
		if (f->list[i].again)
			continue;
		add_sentence(s, f->list[i].code->kind == FINDING_CAUTION, f->list[i].sentence);
		if (f->list[i].command)
			text_lines_command(s, f->list[i].command);
	}
}

static void add_verdict(struct text_lines *s, const struct finding *verdict)
{
	bool caution = verdict->code->kind == FINDING_CAUTION;

	if (caution)
		text_lines_look(s);
	else
		text_lines_bold(s);
	text_adds(s->t, caution ? "! " : "");
	text_lines_words(s, verdict->sentence, caution ? 2 : 0, caution ? 2 : 0);
	text_lines_plain(s);
}

/* "Run 2026..., build b:" */
static void add_whose(struct text_lines *s, const struct view *v)
{
	struct text words;

	text_init(&words);
	text_addf(&words, "%s, %s:", v->head, v->title);
	s->t->failed |= words.failed;
	text_lines_words(s, words.failed ? "" : words.bytes, 0, 0);
	text_release(&words);
}

static void add_facts(struct text_lines *s, const struct view *v)
{
	if (!*v->head && !v->fact_count)
		return;
	text_adds(s->t, "\n");
	text_lines_bold(s);
	clean_add(s->t, v->head, !s->style->utf8);
	text_lines_plain(s);
	text_adds(s->t, "\n");
	for (size_t i = 0; i < v->fact_count; i++)
		add_fact(s, &v->facts[i]);
}

static void add_section(struct text_lines *s, const struct section *x)
{
	if (x->heading)
		text_lines_section(s, x->heading);
	else
		text_adds(s->t, "\n");
	if (x->intro)
		text_lines_words(s, x->intro, 0, 0);
	if (x->says)
		add_findings(s, x->says, 0);
	if (x->chart && x->chart->kind == CHART_STRIPS)
		text_strips_add(s, x->chart);
	if (x->table.count)
		text_table_add(s, &x->table);
	if (x->note)
		text_lines_words(s, x->note, 0, 0);
}

static void add_details(struct text_lines *s, const struct view *v)
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
	struct text_lines s;

	text_lines_begin(&s, t, style);
	if (style->brief && style->one_of_several && v->runs.spec == &view_run_spec)
		add_whose(&s, v);
	add_verdict(&s, &v->findings.list[0]);
	if (!style->brief)
		add_details(&s, v);
	text_lines_end(&s);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the text") : 0;
}
