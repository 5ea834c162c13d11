/* All that views may hold. */
#include "report/keys.h"

#include "base/text.h"
#include "findings/record_view.h"
#include "findings/run_findings.h"

static const char *or_dash(const char *s)
{
	return s ? s : "-";
}

static void add_codes(
	struct text *t, const char *kind, const struct finding_code *codes, size_t count)
{
	for (size_t i = 0; i < count; i++)
		text_addf(t, "%s\t%s\t%s\t%s\t%s\n",
			codes[i].verdict ? "verdict" : finding_kind_name(codes[i].kind), kind,
			codes[i].code, or_dash(codes[i].figures), codes[i].meaning);
}

static void add_table(struct text *t, const char *kind, const struct table_spec *spec)
{
	static const char *const forms[] = { "array", "object", "bare" };

	text_addf(t, "table\t%s\t%s\t%s\t%s\t%s\n", kind, spec->key, forms[spec->json],
		spec->csv ? "csv" : "-", spec->meaning);
	for (size_t i = 0; i < spec->column_count; i++) {
		const struct column *c = &spec->columns[i];

		if (c->key)
			text_addf(t, "key\t%s\t%s\t%s\t%s\t%s\n", kind, spec->key, c->key,
				or_dash(c->heading), c->meaning);
	}
}

static void add_words(struct text *t, const struct view_kind *k)
{
	struct view_word w;

	for (size_t i = 0; k->word && k->word(i, &w); i++)
		text_addf(t, "word\t%s\t%s\t%s\t%s\t%s\n", k->kind, w.key, w.word, w.meaning,
			*w.note ? w.note : "-");
}

static void add_kind(struct text *t, const struct view_kind *k)
{
	text_addf(t, "kind\t%s\t%s\n", k->kind, k->meaning);
	add_codes(t, k->kind, k->codes, *k->code_count);
	for (size_t i = 0; i < k->table_count; i++)
		add_table(t, k->kind, k->tables[i]);
	add_words(t, k);
}

void keys_add(struct text *t)
{
	text_adds(t, "kind\trun\tany run\n");
	add_codes(t, "run", run_finding_codes, run_finding_code_count);
	add_table(t, "run", &view_run_spec);
	for (size_t i = 0; i < view_kind_count; i++)
		add_kind(t, &view_kinds[i]);
}
