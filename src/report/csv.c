/* CSV. */
#include "report/csv.h"

#include <string.h>

#include "base/text.h"
#include "findings/columns.h"

/* Spreadsheets run a cell that begins like this, and labels and serial numbers are not ours to trust. */
static bool looks_like_formula(const char *value)
{
	return *value && strchr("=+-@", *value);
}

void csv_add_field(struct text *t, const char *value, bool guard)
{
	bool quoted = strpbrk(value, ",\"") != NULL;

	if (quoted)
		text_adds(t, "\"");
	if (guard && looks_like_formula(value))
		text_adds(t, "'");
	for (const char *c = value; *c; c++) {
		if (*c == '"')
			text_adds(t, "\"\"");
		else if ((unsigned char)*c < 0x20 || *c == 0x7f)
			text_adds(t, "?");
		else
			text_add(t, c, 1);
	}
	if (quoted)
		text_adds(t, "\"");
}

void csv_add_header(struct text *t)
{
	for (size_t i = 0; i < pass_column_count; i++)
		text_addf(t, "%s%s", i ? "," : "", pass_columns[i].key);
	text_adds(t, "\r\n");
}

void csv_add_pass(struct text *t, const struct run *run, const struct run_pass *pass)
{
	struct pass_row row = { run, pass };
	struct text value;

	text_init(&value);
	for (size_t i = 0; i < pass_column_count; i++) {
		const struct pass_column *c = &pass_columns[i];

		text_adds(t, i ? "," : "");
		if (!c->free_text) {
			c->value(t, &row);
			continue;
		}
		text_reset(&value);
		c->value(&value, &row);
		csv_add_field(t, value.bytes, true);
	}
	text_adds(t, "\r\n");
	t->failed = t->failed || value.failed;
	text_release(&value);
}
