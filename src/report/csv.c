/* CSV. */
#include "report/csv.h"

#include <string.h>

#include "base/clean.h"
#include "base/text.h"
#include "findings/view.h"
#include "report/sink.h"

/* Spreadsheets run a cell that begins like this, and labels and serial numbers are not ours to trust. */
static bool looks_like_formula(const char *value)
{
	return *value && strchr("=+-@", *value);
}

void csv_add_field(struct text *t, const char *value, bool guard)
{
	bool quoted = strpbrk(value, ",\"") != NULL;
	struct text clean;

	text_init(&clean);
	clean_add(&clean, value, false);
	if (quoted)
		text_adds(t, "\"");
	if (guard && looks_like_formula(value))
		text_adds(t, "'");
	for (const char *c = clean.bytes; *c; c++)
		text_add(t, *c == '"' ? "\"\"" : c, *c == '"' ? 2 : 1);
	if (quoted)
		text_adds(t, "\"");
	t->failed |= clean.failed;
	text_release(&clean);
}

/* ---- a view ---- */

enum { NAMES_MAX = 64 };

/* Columns of all tables: each keeps its order in every one of them. */
struct names {
	const char *list[NAMES_MAX];
	size_t count;
	enum csv_lead lead;
	bool several; /* tables, which column `what` tells apart */
};

static size_t find_name(const struct names *n, const char *key)
{
	size_t i = 0;

	while (i < n->count && strcmp(n->list[i], key) != 0)
		i++;
	return i;
}

/* Before the next one of its own table that is there already. */
static size_t place_for(const struct names *n, const struct table_spec *spec, size_t column)
{
	for (size_t i = column + 1; i < spec->column_count; i++) {
		size_t at = spec->columns[i].key ? find_name(n, spec->columns[i].key) : n->count;

		if (at < n->count)
			return at;
	}
	return n->count;
}

static void take_names(struct names *n, const struct table_spec *spec)
{
	n->several = n->lead != CSV_NONE;
	n->lead = spec->csv;
	for (size_t i = 0; i < spec->column_count && n->count < NAMES_MAX; i++) {
		const char *key = spec->columns[i].key;
		size_t at;

		if (!key || find_name(n, key) < n->count)
			continue;
		at = place_for(n, spec, i);
		memmove(&n->list[at + 1], &n->list[at], (n->count - at) * sizeof *n->list);
		n->list[at] = key;
		n->count++;
	}
}

static void take_all_names(struct names *n, const struct view *v)
{
	*n = (struct names){ 0 };
	for (size_t i = 0; i < v->table_count; i++)
		if (v->tables[i].spec->csv != CSV_NONE)
			take_names(n, v->tables[i].spec);
}

/* "run,label,target" of enum csv_lead. */
static const char *const leads[] = { "", "", "run,label", "run,label,target" };

static void add_names(struct text *t, const struct names *n)
{
	size_t start = t->length;

	text_adds(t, leads[n->lead]);
	if (n->several)
		text_adds(t, t->length > start ? ",what" : "what");
	for (size_t i = 0; i < n->count; i++)
		text_addf(t, "%s%s", t->length > start ? "," : "", n->list[i]);
	text_adds(t, "\r\n");
}

static const struct column *find_column(const struct table_spec *spec, const char *key)
{
	for (size_t i = 0; i < spec->column_count; i++)
		if (spec->columns[i].key && !strcmp(spec->columns[i].key, key))
			return &spec->columns[i];
	return NULL;
}

static void add_value(struct text *t, struct value v)
{
	if (v.known && value_is_text(v))
		csv_add_field(t, v.text, v.unit == UNIT_TEXT);
	else
		value_add_plain(t, v);
}

/* What JSON says of the run under that key. */
static struct value of_run(const struct view *v, const char *key)
{
	return v->runs.count ? table_value(&v->runs, 0, find_column(v->runs.spec, key))
			     : value_unknown();
}

static void add_lead(struct text *t, const struct view *v, enum csv_lead lead)
{
	struct value token;

	if (lead < CSV_RUN)
		return;
	add_value(t, of_run(v, "id"));
	text_adds(t, ",");
	add_value(t, of_run(v, "label"));
	if (lead < CSV_RUN_TARGET)
		return;
	text_adds(t, ",");
	token = of_run(v, "target_token");
	add_value(t, token.known ? token : of_run(v, "target_path"));
}

static int add_rows(struct text *t, const struct view *v, const struct table *table,
	const struct names *n, const struct sink *sink, struct error *err)
{
	const struct column *columns[NAMES_MAX];

	for (size_t c = 0; c < n->count; c++)
		columns[c] = find_column(table->spec, n->list[c]);
	for (size_t i = 0; i < table->count; i++) {
		size_t start = t->length;

		add_lead(t, v, n->lead);
		if (n->several)
			text_addf(t, "%s%s", n->lead > CSV_BARE ? "," : "", table->spec->csv_what);
		for (size_t c = 0; c < n->count; c++) {
			text_adds(t, c || t->length > start ? "," : "");
			if (columns[c])
				add_value(t, table_value(table, i, columns[c]));
		}
		text_adds(t, "\r\n");
		if (sink_offer(sink, t, err) < 0)
			return -1;
	}
	return 0;
}

bool csv_has(const struct view *v)
{
	struct names n;

	take_all_names(&n, v);
	return n.lead != CSV_NONE;
}

int csv_add_view(struct text *t, const struct view *v, bool header, const struct sink *sink,
	struct error *err)
{
	struct names n;

	take_all_names(&n, v);
	if (header)
		add_names(t, &n);
	for (size_t i = 0; i < v->table_count; i++)
		if (v->tables[i].spec->csv != CSV_NONE &&
			add_rows(t, v, &v->tables[i], &n, sink, err) < 0)
			return -1;
	return sink_finish(sink, t, err);
}
