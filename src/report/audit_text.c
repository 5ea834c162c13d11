/* An audit as plain text. */
#include "report/audit_text.h"

#include "base/error.h"
#include "base/text.h"
#include "report/layout.h"
#include "report/text_view.h"

enum { INDENT = 4, VERDICT_WIDTH = 11 };

static void add_promise(struct text_view *s, const struct promise *f)
{
	struct text claim;

	text_adds(s->t, "\n");
	if (f->verdict == PROMISE_BROKEN)
		text_view_look(s);
	layout_left(s->t, promise_verdict_name(f->verdict), VERDICT_WIDTH);
	if (f->verdict == PROMISE_BROKEN)
		text_view_plain(s);
	text_init(&claim);
	text_addf(&claim, "%s: %s", f->id, f->claim);
	text_view_words(s, claim.bytes, VERDICT_WIDTH, VERDICT_WIDTH);
	s->t->failed = s->t->failed || claim.failed;
	text_release(&claim);
	text_addf(s->t, "%*s", INDENT, "");
	text_view_words(s, f->evidence, INDENT, INDENT);
	if (!*f->mend)
		return;
	text_addf(s->t, "%*smend: ", INDENT, "");
	text_view_words(s, f->mend, INDENT + 6, INDENT + 6);
}

int audit_text_add(struct text *t, const struct run *run, const struct promises *f,
	const struct text_style *style, struct error *err)
{
	char sentence[PROMISES_SENTENCE_MAX];
	struct text_view s;

	text_view_begin(&s, t, style);
	text_view_head(&s, run);
	for (size_t i = 0; i < f->count; i++)
		add_promise(&s, &f->list[i]);
	text_adds(t, f->count ? "\n" : "");
	if (run->target.modelled)
		text_view_words(&s, "Modelled, not measured: the target is a gadget model.", 0, 0);
	text_view_words(&s, promises_conclude(f, sentence), 0, 0);
	text_view_end(&s);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the audit") : 0;
}
