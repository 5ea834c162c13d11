/* A journal of cuts as plain text. */
#include "report/cut_text.h"

#include <string.h>

#include "base/clean.h"
#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/cut_words.h"
#include "findings/facts.h"
#include "report/text_view.h"

enum { ROWS_SHOWN = 50, DETAILS_SHOWN = 10 };

struct view {
	struct text_view view;
	struct text words; /* the next ones for the view */
	const struct run *run;
};

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

static void add_fact(struct view *v, const char *name)
{
	text_view_fact(&v->view, name, v->words.bytes);
	text_reset(&v->words);
}

static void add_sentence(struct view *v)
{
	text_view_words(&v->view, v->words.bytes, 0, 0);
	text_reset(&v->words);
}

/* ---- one cut ---- */

static void add_cycle(struct view *v, const struct cut_cycle *c)
{
	char time[SIZE_TEXT_MAX];

	text_addf(v->view.t, "\nCut %lu, seed %llu\n", (unsigned long)c->number, ull(c->seed));
	if (cut_written_add(&v->words, c)) {
		add_fact(v, "written");
		cut_risk_add(&v->words, c);
		add_fact(v, "at risk");
	} else {
		add_fact(v, "written");
	}
	if (c->pulled)
		text_addf(&v->words, "the command of --cut-with began after %s; ",
			duration_format(time, (double)c->pulled_ns / 1e9));
	text_adds(&v->words, cut_ending_words(v->run, c));
	add_fact(v, "ended");
	if (!c->rechecks)
		text_adds(&v->words, "not yet");
	else if (c->rechecks == 1)
		text_adds(&v->words, "once");
	else
		text_addf(&v->words, "%lu times; the last one counts", (unsigned long)c->rechecks);
	add_fact(v, "rechecked");
	if (!c->rechecks)
		return;
	text_adds(v->view.t, "\n");
	recheck_text(v->view.t, &c->verdict);
}

/* ---- many ---- */

static void add_row(struct view *v, const struct cut_cycle *c)
{
	char bytes[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];
	const struct recheck_result *found = &c->verdict;

	text_addf(v->view.t, "%5lu%8llu%9s%8llu%9s  ", (unsigned long)c->number, ull(c->writes),
		size_format_decimal(bytes, (double)c->bytes), ull(c->flushes),
		duration_format(time, (double)c->ns / 1e9));
	text_adds(&v->words, *c->stop ? c->stop : "killed");
	clean_add(v->view.t, v->words.bytes, true);
	text_addf(v->view.t, "%*s", (int)(11 - (v->words.length < 11 ? v->words.length : 11)), "");
	text_reset(&v->words);
	if (c->rechecks)
		text_addf(v->view.t, "%9llu%7llu  %s\n", ull(found->promises),
			ull(found->promises_broken), cut_verdict_name(c));
	else
		text_addf(v->view.t, "%9s%7s  %s\n", "-", "-", cut_verdict_name(c));
}

static void add_table(struct view *v, const struct cut_record *r)
{
	size_t shown = r->count < ROWS_SHOWN ? r->count : ROWS_SHOWN;

	text_addf(v->view.t, "\n%5s%8s%9s%8s%9s  %-11s%9s%7s  %s\n", "cut", "writes", "written",
		"flushes", "time", "ended", "promises", "broken", "verdict");
	for (size_t i = 0; i < shown; i++)
		add_row(v, &r->cycles[i]);
	if (shown < r->count)
		text_addf(v->view.t, "and %zu more (report --csv has all)\n", r->count - shown);
}

static void add_broken_cycles(struct view *v, const struct cut_record *r)
{
	size_t shown = 0, more = 0;

	for (size_t i = 0; i < r->count; i++) {
		if (!recheck_broken(&r->cycles[i].verdict))
			continue;
		if (shown++ < DETAILS_SHOWN)
			add_cycle(v, &r->cycles[i]);
		else
			more++;
	}
	if (more)
		text_addf(v->view.t, "\nand %zu more broken cuts (report --csv has all)\n", more);
}

static void add_cycles(struct view *v, const struct cut_record *r)
{
	struct recheck_totals totals;

	if (r->count == 1) {
		add_cycle(v, &r->cycles[0]);
		return;
	}
	add_table(v, r);
	add_broken_cycles(v, r);
	cut_totals(&totals, r);
	if (totals.cycles)
		recheck_totals_text(v->view.t, &totals);
}

/* ---- the whole ---- */

static void add_cautions(struct view *v, const struct run *run)
{
	char damage[RUN_DAMAGE_MAX];

	if (run->target.modelled) {
		text_adds(&v->words, "Modelled, not measured: the target is a gadget model.");
		add_sentence(v);
	}
	if (run_damage_words(damage, run)) {
		text_addf(&v->words, "%s. Nothing can rest on this journal; cut again.", damage);
		add_sentence(v);
	}
	if (run->end.present && strcmp(run->end.status, "complete") != 0 && *run->end.reason) {
		text_addf(&v->words, "Ended early: %s.", run->end.reason);
		add_sentence(v);
	}
}

static void paint(struct view *v, const struct run *run, const struct cut_record *r)
{
	struct fact_visitor facts = { .context = &v->view, .fact = text_view_fact };

	text_adds(v->view.t, "Cut\n");
	v->view.t->failed |= !facts_visit(run, &facts);
	if (r->count) {
		cut_region_add(&v->words, &r->cycles[0]);
		add_fact(v, "region");
		text_adds(&v->words, cut_promise_words(&r->cycles[0]));
		add_fact(v, "promised");
		add_cycles(v, r);
	}
	text_adds(v->view.t, "\n");
	add_cautions(v, run);
	cut_conclude(&v->words, run, r);
	add_sentence(v);
}

int cut_text_add(struct text *t, const struct run *run, const struct cut_record *r,
	const struct text_style *style, struct error *err)
{
	struct view v = { .run = run };

	text_view_begin(&v.view, t, style);
	text_init(&v.words);
	paint(&v, run, r);
	t->failed = t->failed || v.words.failed;
	text_release(&v.words);
	text_view_end(&v.view);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the report") : 0;
}
