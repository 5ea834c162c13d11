/* A journal of cuts on a page. */
#include "report/page_cut.h"

#include "base/size.h"
#include "base/text.h"
#include "findings/cut_words.h"
#include "report/cut_text.h"
#include "report/page.h"
#include "report/svg.h"

enum { CUTS_SHOWN = 500 };

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

/* Sign and word both tell the verdict, beside its colour. */
static void add_verdict(struct text *t, const struct cut_cycle *c)
{
	static const char *const signs[] = { "+ ", "! ", "? " };
	static const char *const classes[] = { "kept", "broken", "sub" };
	enum recheck_conclusion v = c->rechecks ? recheck_conclude(&c->verdict) : RECHECK_NOT_SHOWN;

	text_addf(t, "<td class=\"%s\">%s%s</td>", classes[v], signs[v], cut_verdict_name(c));
}

static void add_cut(struct text *t, const struct run *run, const struct cut_cycle *c)
{
	const struct recheck_result *v = &c->verdict;

	text_addf(t, "<tr><td>%lu</td>", (unsigned long)c->number);
	add_verdict(t, c);
	text_adds(t, "<td>");
	cut_written_add(t, c);
	text_adds(t, "</td><td>");
	if (c->ready)
		cut_risk_add(t, c);
	text_addf(t, "</td><td>%s</td><td>", cut_ending_words(run, c));
	if (c->rechecks) {
		recheck_rate_add(t, v->promises_broken, v->promises);
		text_addf(t, "; blocks broken in all: %llu", ull(recheck_broken(v)));
	}
	text_adds(t, "</td></tr>\n");
}

static void add_cuts(struct text *t, const struct run *run, const struct cut_record *r)
{
	size_t shown = r->count < CUTS_SHOWN ? r->count : CUTS_SHOWN;

	text_adds(t, "<div class=\"wide\"><table class=\"words\"><thead><tr><th>cut</th>"
		     "<th>verdict</th><th>written</th><th>at risk</th><th>ended</th>"
		     "<th>promises (writes)</th></tr></thead><tbody>\n");
	for (size_t i = 0; i < shown; i++)
		add_cut(t, run, &r->cycles[i]);
	text_adds(t, "</tbody></table></div>\n");
	if (shown < r->count)
		text_addf(t, "<p>and %zu more; the CSV has all.</p>\n", r->count - shown);
}

static void add_damage(struct text *t, uint32_t cut, const struct recheck_damage *d)
{
	char text[SIZE_TEXT_MAX];

	text_addf(t, "<tr><td>%lu</td><td>%llu</td><td>%s</td><td>%s</td><td>", (unsigned long)cut,
		ull(d->at), size_format(text, d->bytes), recheck_duty_name(d->duty));
	markup_add(t, d->kind);
	text_addf(t, "</td><td>%s</td><td>",
		d->aged ? duration_format(text, (double)d->ns_before / 1e9) : "-");
	if (d->found)
		text_addf(t, "write %lu, not %lu", (unsigned long)d->found,
			(unsigned long)d->expected);
	else
		markup_add(t, *d->detail ? d->detail : "-");
	text_adds(t, "</td></tr>\n");
}

static void add_damages(struct text *t, const struct cut_record *r)
{
	uint64_t more = 0, shown = 0;

	for (size_t i = 0; i < r->count; i++) {
		const struct recheck_result *v = &r->cycles[i].verdict;

		more += v->damages_more;
		if (v->damage_count && !shown)
			text_adds(t,
				"<h3>Broken ranges</h3>\n<div class=\"wide\">"
				"<table class=\"words\"><thead><tr><th>cut</th><th>at byte</th>"
				"<th>length</th><th>promise</th><th>found</th><th>acknowledged "
				"before the cut</th><th>detail</th></tr></thead><tbody>\n");
		shown += v->damage_count;
		for (size_t k = 0; k < v->damage_count; k++)
			add_damage(t, r->cycles[i].number, &v->damages[k]);
	}
	if (shown)
		text_adds(t, "</tbody></table></div>\n");
	if (more)
		text_addf(t,
			"<p>and %llu more ranges; the journal's lines of kind damage have up "
			"to 1000 of each cut.</p>\n",
			ull(more));
}

void page_add_cut(struct text *t, const struct run *run, const struct cut_record *r)
{
	struct text words;

	page_section(t, "Which promises outlived the cut");
	text_init(&words);
	cut_conclude(&words, run, r);
	page_paragraph(t, words.bytes);
	if (r->count) {
		text_reset(&words);
		text_adds(&words, "Promised is ");
		text_adds(&words, cut_promise_words(&r->cycles[0]));
		text_adds(&words, ". Region: ");
		cut_region_add(&words, &r->cycles[0]);
		text_adds(&words, ".");
		page_paragraph(t, words.bytes);
		add_cuts(t, run, r);
		add_damages(t, r);
	}
	t->failed = t->failed || words.failed;
	text_release(&words);
}
