/* A view on a page. */
#include "base/text.h"
#include "findings/view.h"
#include "report/chart_view.h"
#include "report/page.h"
#include "report/page_figure.h"
#include "report/page_table.h"
#include "report/svg.h"

static void add_findings(struct text *t, const struct findings *f, size_t first)
{
	if (f->count <= first)
		return;
	text_adds(t, "<ul class=\"says\">\n");
	for (size_t i = first; i < f->count; i++) {
		if (f->list[i].again)
			continue;
		text_adds(t, f->list[i].code->kind == FINDING_CAUTION
				     ? "<li class=\"look\"><b>Caution:</b>"
				     : "<li>");
		markup_add(t, f->list[i].sentence);
		if (f->list[i].command)
			page_command(t, f->list[i].command);
		text_adds(t, "</li>\n");
	}
	text_adds(t, "</ul>\n");
}

static void add_verdict(struct text *t, const struct finding *verdict)
{
	text_adds(t, verdict->code->kind == FINDING_CAUTION
			     ? "<p class=\"verdict look\"><b>Caution:</b> "
			     : "<p class=\"verdict\">");
	markup_add(t, verdict->sentence);
	text_adds(t, "</p>\n");
}

static void add_facts(struct text *t, const struct view *v)
{
	if (!v->fact_count)
		return;
	page_section(t, "What was tested");
	text_adds(t, "<dl>\n");
	for (size_t i = 0; i < v->fact_count; i++) {
		text_adds(t, "<dt>");
		markup_add(t, v->facts[i].name);
		text_adds(t, "</dt><dd>");
		(v->facts[i].command ? page_add_shell : markup_add)(t, v->facts[i].value);
		text_adds(t, "</dd>\n");
	}
	text_adds(t, "</dl>\n");
}

/* ---- sections ---- */

enum { CONTENTS_FROM = 5 }; /* fewer sections are found without a list */

static bool is_chapter(const struct section *s)
{
	return s->heading && (s->on & ON_PAGE) && s->level != 3;
}

static void add_id(struct text *t, size_t nth, size_t section)
{
	text_addf(t, "part-%zu-%zu", nth + 1, section + 1);
}

static void add_contents(struct text *t, const struct view *v, size_t nth)
{
	size_t chapters = 0;

	for (size_t i = 0; i < v->section_count; i++)
		chapters += is_chapter(&v->sections[i]);
	if (chapters < CONTENTS_FROM)
		return;
	text_adds(t, "<nav aria-label=\"Contents of ");
	markup_add(t, v->title);
	text_adds(t, "\"><ul>\n");
	for (size_t i = 0; i < v->section_count; i++) {
		if (!is_chapter(&v->sections[i]))
			continue;
		text_adds(t, "<li><a href=\"#");
		add_id(t, nth, i);
		text_adds(t, "\">");
		markup_add(t, v->sections[i].heading);
		text_adds(t, "</a></li>\n");
	}
	text_adds(t, "</ul></nav>\n");
}

static void add_section_heading(struct text *t, const struct section *s, size_t nth, size_t section)
{
	unsigned level = s->level == 3 ? 3 : 2;

	text_addf(t, "<h%u", level);
	if (is_chapter(s)) {
		text_adds(t, " id=\"");
		add_id(t, nth, section);
		text_adds(t, "\"");
	}
	text_adds(t, ">");
	markup_add(t, s->heading);
	text_addf(t, "</h%u>\n", level);
}

static void add_note(struct text *t, const char *note)
{
	text_adds(t, "<p class=\"sub\">");
	markup_add(t, note);
	text_adds(t, "</p>\n");
}

/* What a section without a heading belongs to: the one before it. */
static const char *heading_of(const struct view *v, size_t section)
{
	for (size_t i = section + 1; i > 0; i--)
		if (v->sections[i - 1].heading && (v->sections[i - 1].on & ON_PAGE))
			return v->sections[i - 1].heading;
	return v->title;
}

static void add_section(struct text *t, const struct view *v, size_t nth, size_t section)
{
	const struct section *s = &v->sections[section];
	struct page_place place = { .view = nth + 1, .section = section + 1 };

	if (s->heading)
		add_section_heading(t, s, nth, section);
	if (s->intro)
		add_note(t, s->intro);
	if (s->says)
		add_findings(t, s->says, 0);
	if (s->chart)
		chart_add(t, s->chart, &place);
	if (s->table.count)
		page_table_add(t, &s->table, heading_of(v, section), &place);
	if (s->note)
		add_note(t, s->note);
	if (s->glossary)
		page_table_glossary(t, s->glossary);
}

void page_add_view(struct text *t, const struct view *v, size_t nth)
{
	page_heading(t, v->title);
	if (*v->subtitle)
		add_note(t, v->subtitle);
	page_section(t, "What was found");
	add_verdict(t, &v->findings.list[0]);
	add_findings(t, &v->findings, 1);
	add_contents(t, v, nth);
	add_facts(t, v);
	for (size_t i = 0; i < v->section_count; i++)
		if (v->sections[i].on & ON_PAGE)
			add_section(t, v, nth, i);
}
