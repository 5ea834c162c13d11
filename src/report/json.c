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

/* "a+b" as ["a","b"]. */
static void add_words(struct text *t, const char *list)
{
	text_adds(t, "[");
	while (*list) {
		size_t n = strcspn(list, "+");

		text_addf(t, "\"%.*s\"%s", (int)n, list, list[n] ? "," : "");
		list += n + (list[n] == '+');
	}
	text_adds(t, "]");
}

static void add_value(struct text *t, struct value v)
{
	if (!v.known || value_is_for_people(v))
		text_adds(t, "null");
	else if (v.unit == UNIT_WORDS)
		add_words(t, v.text);
	else if (value_is_text(v))
		json_add_string(t, v.text);
	else
		value_add_plain(t, v);
}

/* Keys are ours and need no escaping. */
static void add_key(struct text *t, const char *key, size_t length)
{
	text_addf(t, "\"%.*s\":", (int)length, key);
}

/* ---- rows ---- */

/* Columns [at, end) are the parts of one object, or a single one. */
static size_t group_end(const struct table_spec *spec, size_t at, size_t *prefix)
{
	const char *key = spec->columns[at].key;
	size_t end = at + 1;

	*prefix = strcspn(key, ".");
	if (!key[*prefix])
		return end;
	while (end < spec->column_count && spec->columns[end].key &&
		!strncmp(spec->columns[end].key, key, *prefix + 1))
		end++;
	return end;
}

static bool any_known(const struct table *table, size_t row, size_t at, size_t end)
{
	for (; at < end; at++)
		if (table_value(table, row, &table->spec->columns[at]).known)
			return true;
	return false;
}

static void add_group(
	struct text *t, const struct table *table, size_t row, size_t at, size_t end, size_t prefix)
{
	const struct column *columns = table->spec->columns;

	add_key(t, columns[at].key, prefix);
	if (!columns[at].key[prefix]) {
		add_value(t, table_value(table, row, &columns[at]));
		return;
	}
	if (!any_known(table, row, at, end)) {
		text_adds(t, "null");
		return;
	}
	for (size_t c = at; c < end; c++) {
		const char *rest = columns[c].key + prefix + 1;

		text_adds(t, c == at ? "{" : ",");
		add_key(t, rest, strlen(rest));
		add_value(t, table_value(table, row, &columns[c]));
	}
	text_adds(t, "}");
}

/* Without its braces. */
static void add_row(struct text *t, const struct table *table, size_t row)
{
	const struct table_spec *spec = table->spec;
	bool first = true;

	for (size_t c = 0, end; c < spec->column_count; c = end) {
		size_t prefix;

		end = c + 1;
		if (!spec->columns[c].key)
			continue;
		end = group_end(spec, c, &prefix);
		text_adds(t, first ? "" : ",");
		add_group(t, table, row, c, end, prefix);
		first = false;
	}
}

/* ---- tables and findings ---- */

static int add_array(
	struct text *t, const struct table *table, const struct sink *sink, struct error *err)
{
	text_adds(t, "[");
	for (size_t i = 0; i < table->count; i++) {
		text_adds(t, i ? ",{" : "{");
		add_row(t, table, i);
		text_adds(t, "}");
		if (sink_offer(sink, t, err) < 0)
			return -1;
	}
	text_adds(t, "]");
	return 0;
}

static int add_table(
	struct text *t, const struct table *table, const struct sink *sink, struct error *err)
{
	const char *key = table->spec->key;

	if (table->spec->json == JSON_BARE) {
		add_row(t, table, 0);
		return 0;
	}
	add_key(t, key, strlen(key));
	if (table->spec->json == JSON_ARRAY)
		return add_array(t, table, sink, err);
	text_adds(t, table->count ? "{" : "null");
	if (table->count) {
		add_row(t, table, 0);
		text_adds(t, "}");
	}
	return 0;
}

static void add_finding(struct text *t, const struct finding *f)
{
	text_addf(t, "{\"code\":\"%s\",\"kind\":\"%s\",\"sentence\":", f->code->code,
		finding_kind_name(f->code->kind));
	json_add_string(t, f->sentence);
	for (size_t i = 0; i < f->figure_count; i++) {
		text_adds(t, ",");
		add_key(t, f->figures[i].key, strlen(f->figures[i].key));
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
