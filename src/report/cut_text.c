/* A journal of cuts as plain text. */
#include "report/cut_text.h"

#include <string.h>

#include "base/clean.h"
#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "report/facts.h"
#include "report/layout.h"

enum { NARROWEST = 60, FACT_INDENT = 12, ROWS_SHOWN = 50, DETAILS_SHOWN = 10 };

struct sheet {
	struct text *t;
	struct text scratch; /* the next words to be wrapped */
	const struct summary_style *style;
	const struct run *run;
	size_t columns;
};

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

/* Cleans what is in scratch and adds it from column `at` on. */
static void add_scratch(struct sheet *s, size_t at)
{
	struct text clean;

	text_init(&clean);
	clean_add(&clean, s->scratch.bytes, !s->style->utf8);
	layout_wrap(s->t, clean.bytes, at, at, s->columns);
	s->t->failed = s->t->failed || clean.failed;
	text_release(&clean);
	text_reset(&s->scratch);
}

static void add_scratch_fact(struct sheet *s, const char *name)
{
	text_adds(s->t, "  ");
	layout_left(s->t, name, FACT_INDENT - 2);
	add_scratch(s, FACT_INDENT);
}

static void add_fact(void *context, const char *name, const char *value)
{
	struct sheet *s = context;

	text_adds(&s->scratch, value);
	add_scratch_fact(s, name);
}

static void add_sentence(struct sheet *s, const char *words)
{
	text_adds(&s->scratch, words);
	add_scratch(s, 0);
}

/* ---- one cut ---- */

static void add_cycle(struct sheet *s, const struct cut_cycle *c)
{
	char time[SIZE_TEXT_MAX];

	text_addf(s->t, "\nCut %lu, seed %llu\n", (unsigned long)c->number, ull(c->seed));
	if (cut_written_add(&s->scratch, c)) {
		add_scratch_fact(s, "written");
		cut_risk_add(&s->scratch, c);
		add_scratch_fact(s, "at risk");
	} else {
		add_scratch_fact(s, "written");
	}
	if (c->pulled)
		text_addf(&s->scratch, "the command of --cut-with began after %s; ",
			duration_format(time, (double)c->pulled_ns / 1e9));
	text_adds(&s->scratch, cut_ending_words(s->run, c));
	add_scratch_fact(s, "ended");
	if (!c->rechecks)
		text_adds(&s->scratch, "not yet");
	else if (c->rechecks == 1)
		text_adds(&s->scratch, "once");
	else
		text_addf(
			&s->scratch, "%lu times; the last one counts", (unsigned long)c->rechecks);
	add_scratch_fact(s, "rechecked");
	if (!c->rechecks)
		return;
	text_adds(s->t, "\n");
	recheck_text(s->t, &c->verdict);
}

/* ---- many ---- */

static void add_row(struct sheet *s, const struct cut_cycle *c)
{
	char bytes[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];
	const struct recheck_result *v = &c->verdict;

	text_addf(s->t, "%5lu%8llu%9s%8llu%9s  ", (unsigned long)c->number, ull(c->writes),
		size_format_decimal(bytes, (double)c->bytes), ull(c->flushes),
		duration_format(time, (double)c->ns / 1e9));
	text_adds(&s->scratch, *c->stop ? c->stop : "killed");
	clean_add(s->t, s->scratch.bytes, true);
	text_addf(s->t, "%*s", (int)(11 - (s->scratch.length < 11 ? s->scratch.length : 11)), "");
	text_reset(&s->scratch);
	if (c->rechecks)
		text_addf(s->t, "%9llu%7llu  %s\n", ull(v->promises), ull(v->promises_broken),
			cut_verdict_name(c));
	else
		text_addf(s->t, "%9s%7s  %s\n", "-", "-", cut_verdict_name(c));
}

static void add_table(struct sheet *s, const struct cut_record *r)
{
	size_t shown = r->count < ROWS_SHOWN ? r->count : ROWS_SHOWN;

	text_addf(s->t, "\n%5s%8s%9s%8s%9s  %-11s%9s%7s  %s\n", "cut", "writes", "written",
		"flushes", "time", "ended", "promises", "broken", "verdict");
	for (size_t i = 0; i < shown; i++)
		add_row(s, &r->cycles[i]);
	if (shown < r->count)
		text_addf(s->t, "and %zu more (report --csv has all)\n", r->count - shown);
}

static void add_broken_cycles(struct sheet *s, const struct cut_record *r)
{
	size_t shown = 0, more = 0;

	for (size_t i = 0; i < r->count; i++) {
		if (!recheck_broken(&r->cycles[i].verdict))
			continue;
		if (shown++ < DETAILS_SHOWN)
			add_cycle(s, &r->cycles[i]);
		else
			more++;
	}
	if (more)
		text_addf(s->t, "\nand %zu more broken cuts (report --csv has all)\n", more);
}

static void add_cycles(struct sheet *s, const struct cut_record *r)
{
	struct recheck_totals totals;

	if (r->count == 1) {
		add_cycle(s, &r->cycles[0]);
		return;
	}
	add_table(s, r);
	add_broken_cycles(s, r);
	cut_totals(&totals, r);
	if (totals.cycles)
		recheck_totals_text(s->t, &totals);
}

/* ---- the whole ---- */

static void add_cautions(struct sheet *s, const struct run *run)
{
	if (run->target.modelled)
		add_sentence(s, "Modelled, not measured: the target is a gadget model.");
	if (run->damaged_lines) {
		text_addf(&s->scratch,
			"Damaged lines of the journal, left out: %llu. Nothing can rest on it; cut "
			"again.",
			ull(run->damaged_lines));
		add_scratch(s, 0);
	}
	if (run->end.present && strcmp(run->end.status, "complete") != 0 && *run->end.reason) {
		text_addf(&s->scratch, "Ended early: %s.", run->end.reason);
		add_scratch(s, 0);
	}
}

static void paint(struct sheet *s, const struct run *run, const struct cut_record *r)
{
	struct fact_visitor facts = { .context = s, .fact = add_fact };

	text_adds(s->t, "Cut\n");
	s->t->failed |= !facts_visit(run, &facts);
	if (r->count) {
		cut_region_add(&s->scratch, &r->cycles[0]);
		add_scratch_fact(s, "region");
		text_adds(&s->scratch, cut_promise_words(&r->cycles[0]));
		add_scratch_fact(s, "promised");
		add_cycles(s, r);
	}
	text_adds(s->t, "\n");
	add_cautions(s, run);
	cut_conclude(&s->scratch, run, r);
	add_scratch(s, 0);
}

int cut_text_add(struct text *t, const struct run *run, const struct cut_record *r,
	const struct summary_style *style, struct error *err)
{
	struct sheet s = { .t = t,
		.style = style,
		.run = run,
		.columns = style->columns < NARROWEST ? NARROWEST : style->columns };

	text_init(&s.scratch);
	paint(&s, run, r);
	t->failed = t->failed || s.scratch.failed;
	text_release(&s.scratch);
	return t->failed ? error_set(err, ERROR_IO, "out of memory for the report") : 0;
}
