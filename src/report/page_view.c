/* A view on a page. */
#include "base/text.h"
#include "findings/view.h"
#include "report/chart_view.h"
#include "report/page.h"
#include "report/page_table.h"
#include "report/svg.h"

static void add_findings(struct text *t, const struct findings *f, size_t first)
{
	if (f->count <= first)
		return;
	text_adds(t, "<ul class=\"says\">\n");
	for (size_t i = first; i < f->count; i++) {
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
		markup_add(t, v->facts[i].value);
		text_adds(t, "</dd>\n");
	}
	text_adds(t, "</dl>\n");
}

static void add_section_heading(struct text *t, const struct section *s)
{
	unsigned level = s->level == 3 ? 3 : 2;

	text_addf(t, "<h%u>", level);
	markup_add(t, s->heading);
	text_addf(t, "</h%u>\n", level);
}

static void add_note(struct text *t, const char *note)
{
	text_adds(t, "<p class=\"sub\">");
	markup_add(t, note);
	text_adds(t, "</p>\n");
}

static void add_section(struct text *t, const struct section *s)
{
	if (s->heading)
		add_section_heading(t, s);
	if (s->intro)
		add_note(t, s->intro);
	if (s->says)
		add_findings(t, s->says, 0);
	if (s->chart)
		chart_add(t, s->chart);
	if (s->table.count)
		page_table_add(t, &s->table);
	if (s->note)
		add_note(t, s->note);
	if (s->glossary)
		page_table_glossary(t, s->glossary);
}

void page_add_view(struct text *t, const struct view *v)
{
	page_heading(t, v->title);
	if (*v->subtitle)
		add_note(t, v->subtitle);
	page_section(t, "What was found");
	add_verdict(t, &v->findings.list[0]);
	add_findings(t, &v->findings, 1);
	add_facts(t, v);
	for (size_t i = 0; i < v->section_count; i++)
		if (v->sections[i].on & ON_PAGE)
			add_section(t, &v->sections[i]);
}
