/* A table on a page. */
#include "report/page_table.h"

#include <string.h>

#include "base/text.h"
#include "findings/table.h"
#include "report/page_figure.h"
#include "report/svg.h"

static const char *class_of(const struct column *c)
{
	return c->words ? " class=\"word\"" : "";
}

static void add_heading(struct text *t, const struct column *c)
{
	text_addf(t, "<th scope=\"col\"%s", class_of(c));
	if (c->meaning) {
		text_adds(t, " title=\"");
		markup_add(t, c->meaning);
		text_adds(t, "\"");
	}
	text_adds(t, ">");
	markup_add(t, c->heading);
	text_adds(t, "</th>");
}

static void add_said(struct text *t, const struct table *table, size_t row, const struct column *c)
{
	struct text said;

	text_init(&said);
	value_add(&said, table_value(table, row, c));
	markup_add(t, said.bytes);
	t->failed |= said.failed;
	text_release(&said);
}

/* The first cell names its row. */
static void add_cell(
	struct text *t, const struct table *table, size_t row, const struct column *c, bool first)
{
	text_addf(t, first ? "<th scope=\"row\"%s>" : "<td%s>", class_of(c));
	add_said(t, table, row, c);
	text_adds(t, first ? "</th>" : "</td>");
}

static void add_row(struct text *t, const struct table *table, size_t row)
{
	const struct table_spec *spec = table->spec;
	bool first = true;

	text_adds(t, "<tr>");
	for (size_t c = 0; c < spec->column_count; c++) {
		if (!table_shows(table, &spec->columns[c]))
			continue;
		add_cell(t, table, row, &spec->columns[c], first);
		first = false;
	}
	text_adds(t, "</tr>\n");
}

/* Under a heading, which its first column is. */
static void add_block(struct text *t, const struct table *table, size_t row)
{
	const struct table_spec *spec = table->spec;
	bool begun = false;

	for (size_t c = 0; c < spec->column_count; c++) {
		const struct column *column = &spec->columns[c];

		if (!table_shows(table, column) ||
			(begun && !table_value(table, row, column).known))
			continue;
		if (begun) {
			text_adds(t, "<dt>");
			markup_add(t, column->heading);
			text_adds(t, "</dt>");
		}
		text_adds(t, begun ? "<dd>" : "<h3>");
		add_said(t, table, row, column);
		text_adds(t, begun ? "</dd>\n" : "</h3>\n<dl>\n");
		begun = true;
	}
	text_adds(t, "</dl>\n");
}

void page_table_add(struct text *t, const struct table *table, const char *caption,
	const struct page_place *place)
{
	const struct table_spec *spec = table->spec;

	for (size_t i = 0; spec->blocks && i < table->count; i++)
		add_block(t, table, i);
	if (spec->blocks)
		return;

	page_scroller_begin(t, "wide", "Table", caption, place);
	text_adds(t, "<table><caption>");
	markup_add(t, caption);
	text_adds(t, "</caption><thead><tr>");
	for (size_t c = 0; c < spec->column_count; c++)
		if (table_shows(table, &spec->columns[c]))
			add_heading(t, &spec->columns[c]);
	text_adds(t, "</tr></thead><tbody>\n");
	for (size_t i = 0; i < table->count; i++)
		add_row(t, table, i);
	text_adds(t, "</tbody></table>");
	page_scroller_end(t);
}

/* Whether a column before has the same heading. */
static bool stands_before(const struct table_spec *spec, size_t column)
{
	for (size_t c = 0; c < column; c++)
		if (spec->columns[c].heading &&
			!strcmp(spec->columns[c].heading, spec->columns[column].heading))
			return true;
	return false;
}

void page_table_glossary(struct text *t, const struct table_spec *spec)
{
	text_adds(t, "<dl>\n");
	for (size_t c = 0; c < spec->column_count; c++) {
		if (!spec->columns[c].heading || stands_before(spec, c))
			continue;
		text_adds(t, "<dt>");
		markup_add(t, spec->columns[c].heading);
		text_adds(t, "</dt><dd>");
		markup_add(t, spec->columns[c].meaning);
		text_adds(t, "</dd>\n");
	}
	text_adds(t, "</dl>\n");
}
