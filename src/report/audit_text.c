/* An audit as plain text. */
#include "report/audit_text.h"

#include "base/clean.h"
#include "base/error.h"
#include "base/text.h"
#include "report/facts.h"
#include "report/layout.h"

enum { NARROWEST = 60, FACT_INDENT = 12, INDENT = 4 };

struct sheet {
	struct text *t;
	struct text scratch;
	const struct summary_style *style;
	size_t columns;
};

static void add_clean(struct sheet *s, const char *value, size_t at, size_t indent)
{
	text_reset(&s->scratch);
	clean_add(&s->scratch, value, !s->style->utf8);
	layout_wrap(s->t, s->scratch.bytes, at, indent, s->columns);
}

static void add_fact(void *context, const char *name, const char *value)
{
	struct sheet *s = context;

	text_adds(s->t, "  ");
	layout_left(s->t, name, FACT_INDENT - 2);
	add_clean(s, value, FACT_INDENT, FACT_INDENT);
}

static void add_finding(struct sheet *s, const struct finding *f)
{
	bool loud = s->style->colour && f->verdict == FINDING_BROKEN;

	text_adds(s->t, "\n");
	text_adds(s->t, loud ? "\033[1;35m" : "");
	layout_left(s->t, finding_verdict_name(f->verdict), 11);
	text_adds(s->t, loud ? "\033[0m" : "");
	text_reset(&s->scratch);
	clean_add(&s->scratch, f->id, !s->style->utf8);
	text_adds(&s->scratch, ": ");
	clean_add(&s->scratch, f->claim, !s->style->utf8);
	layout_wrap(s->t, s->scratch.bytes, 11, 11, s->columns);
	text_addf(s->t, "%*s", INDENT, "");
	add_clean(s, f->evidence, INDENT, INDENT);
	if (!*f->mend)
		return;
	text_addf(s->t, "%*smend: ", INDENT, "");
	add_clean(s, f->mend, INDENT + 6, INDENT + 6);
}

int audit_text_add(struct text *t, const struct run *run, const struct findings *f,
	const struct summary_style *style, struct error *err)
{
	struct sheet s = { .t = t,
		.style = style,
		.columns = style->columns < NARROWEST ? NARROWEST : style->columns };
	struct fact_visitor facts = { .context = &s, .fact = add_fact };
	char sentence[FINDINGS_SENTENCE_MAX];

	text_init(&s.scratch);
	text_adds(t, "Audit\n");
	t->failed |= !facts_visit(run, &facts);
	for (size_t i = 0; i < f->count; i++)
		add_finding(&s, &f->list[i]);
	text_adds(t, f->count ? "\n" : "");
	if (run->target.modelled)
		add_clean(&s, "Modelled, not measured: the target is a gadget model.", 0, 0);
	add_clean(&s, findings_conclude(f, sentence), 0, 0);
	t->failed = t->failed || s.scratch.failed;
	text_release(&s.scratch);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the audit") : 0;
}
