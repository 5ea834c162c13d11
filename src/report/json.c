/* JSON. */
#include "report/json.h"

#include <string.h>

#include "base/clean.h"
#include "base/text.h"
#include "findings/view.h"
#include "report/sink.h"

/* ---- pieces ---- */

/* RFC 8259 section 7: beyond the basic plane in two halves. */
static void add_escape(struct text *t, uint32_t c)
{
	if (c < 0x10000) {
		text_addf(t, "\\u%04x", (unsigned)c);
		return;
	}
	c -= 0x10000;
	text_addf(t, "\\u%04x\\u%04x", (unsigned)(0xd800 + (c >> 10)),
		(unsigned)(0xdc00 + (c & 0x3ff)));
}

void json_add_string(struct text *t, const char *s)
{
	text_adds(t, "\"");
	while (*s) {
		uint32_t c;
		size_t length = clean_utf8_next(s, &c);

		if (!length)
			text_adds(t, "\\ufffd");
		else if (c == '"' || c == '\\')
			text_addf(t, "\\%c", (char)c);
		else if (clean_is_printable(c))
			text_add(t, s, length);
		else
			add_escape(t, c);
		s += length ? length : 1;
	}
	text_adds(t, "\"");
}

static void add_value(struct text *t, struct value v)
{
	if (!v.known || v.unit == UNIT_RATE_RANGE)
		text_adds(t, "null");
	else if (value_is_text(v))
		json_add_string(t, v.text);
	else
		value_add_plain(t, v);
}

/* Keys are ours and need no escaping. */
static void add_key(struct text *t, const char *key)
{
	text_addf(t, "\"%s\":", key);
}

/* ---- parts ---- */

static void add_row(struct text *t, const struct table *table, size_t row)
{
	bool first = true;

	text_adds(t, "{");
	for (size_t c = 0; c < table->spec->column_count; c++) {
		const struct column *column = &table->spec->columns[c];

		if (!column->key)
			continue;
		text_adds(t, first ? "" : ",");
		add_key(t, column->key);
		add_value(t, table_value(table, row, column));
		first = false;
	}
	text_adds(t, "}");
}

static int add_table(
	struct text *t, const struct table *table, const struct sink *sink, struct error *err)
{
	bool single = table->spec->single;

	add_key(t, table->spec->key);
	if (single && !table->count)
		text_adds(t, "null");
	text_adds(t, single ? "" : "[");
	for (size_t i = 0; i < (single && table->count ? 1 : table->count); i++) {
		text_adds(t, i ? "," : "");
		add_row(t, table, i);
		if (sink_offer(sink, t, err) < 0)
			return -1;
	}
	text_adds(t, single ? "" : "]");
	return 0;
}

static void add_finding(struct text *t, const struct finding *f)
{
	text_addf(t, "{\"code\":\"%s\",\"kind\":\"%s\",\"sentence\":", f->code->code,
		finding_kind_name(f->code->kind));
	json_add_string(t, f->sentence);
	for (size_t i = 0; i < f->figure_count; i++) {
		text_adds(t, ",");
		add_key(t, f->figures[i].key);
		add_value(t, f->figures[i].value);
	}
	text_adds(t, "}");
}

static void add_findings(struct text *t, const struct findings *f)
{
	text_addf(t, "\"verdict\":\"%s\",\"findings\":[", f->list[0].code->code);
	for (size_t i = 0; i < f->count; i++) {
		text_adds(t, i ? "," : "");
		add_finding(t, &f->list[i]);
	}
	text_adds(t, "]");
}

int json_add_view(struct text *t, const struct view *v, const struct sink *sink, struct error *err)
{
	text_addf(t, "{\"kind\":\"%s\",", v->kind);
	if (!v->runs.spec)
		text_adds(t, "\"run\":null");
	else if (add_table(t, &v->runs, sink, err) < 0)
		return -1;
	text_adds(t, ",");
	add_findings(t, &v->findings);
	for (size_t i = 0; i < v->table_count; i++) {
		text_adds(t, ",");
		if (add_table(t, &v->tables[i], sink, err) < 0)
			return -1;
	}
	text_adds(t, "}\n");
	return sink_finish(sink, t, err);
}
