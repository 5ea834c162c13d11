/* An audit on a page. */
#include "report/page_audit.h"

#include "base/text.h"
#include "findings/notices.h"
#include "report/page.h"
#include "report/svg.h"

/* Sign and word both tell the verdict, beside its colour. */
static void add_verdict(struct text *t, enum promise_verdict v)
{
	static const char *const signs[] = { "+ ", "! ", "? " };
	static const char *const classes[] = { "kept", "broken", "sub" };

	text_addf(t, "<td class=\"%s\">%s", classes[v], signs[v]);
	markup_add(t, promise_verdict_name(v));
	text_adds(t, "</td>");
}

static void add_row(struct text *t, const struct promise *f)
{
	text_adds(t, "<tr><td><b>");
	markup_add(t, f->id);
	text_adds(t, "</b>: ");
	markup_add(t, f->claim);
	text_adds(t, "</td>");
	add_verdict(t, f->verdict);
	text_adds(t, "<td>");
	markup_add(t, *f->evidence ? f->evidence : "-");
	if (*f->mend) {
		text_adds(t, "<br><b>To mend it:</b> ");
		markup_add(t, f->mend);
	}
	text_adds(t, "</td></tr>\n");
}

void page_audit_found(const struct promises *f, const struct notice_visitor *visitor)
{
	char sentence[PROMISES_SENTENCE_MAX];
	bool look = f->partial || promises_tally(f, PROMISE_BROKEN);

	visitor->notice(visitor->context, look ? NOTICE_CAUTION : NOTICE_FINDING,
		promises_conclude(f, sentence));
}

void page_add_audit(struct text *t, const struct promises *f)
{
	page_section(t, "Claims against behaviour");
	text_adds(t, "<div class=\"wide\"><table class=\"words stack\"><thead><tr><th>claim</th>"
		     "<th>verdict</th><th>what was seen</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < f->count; i++)
		add_row(t, &f->list[i]);
	text_adds(t, "</tbody></table></div>\n");
}
