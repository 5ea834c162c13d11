/* What a journal of cuts says, in the words that text and page share. */
#include <string.h>

#include "analysis/interval.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/cut_words.h"

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

static const char *plural(uint64_t n)
{
	return n == 1 ? "" : "s";
}

const char *cut_verdict_name(const struct cut_cycle *c)
{
	static const char *const names[] = { "kept", "broken", "not shown" };

	return c->rechecks ? names[recheck_conclude(&c->verdict)] : "none yet";
}

const char *cut_ending_words(const struct run *run, const struct cut_cycle *c)
{
	static const struct {
		enum cut_ending ending;
		const char *words;
	} table[] = {
		{ CUT_GONE, "the target stopped answering" },
		{ CUT_TIME_UP, "time was up, and the target still answered" },
		{ CUT_INTERRUPTED, "interrupted by hand" },
		{ CUT_REMAINS,
			"the command ended, and the target still answered: nothing was cut" },
		{ CUT_FAILED, "a request failed, and the target still answered: no cut" },
	};

	/* A model is cut by this tool, when its time is up. */
	if (run->target.modelled && c->rechecks && !strcmp(c->stop, cut_ending_name(CUT_TIME_UP)))
		return "its power was cut";
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		if (!strcmp(c->stop, cut_ending_name(table[i].ending)))
			return table[i].words;
	return *c->stop ? "in a way that this version does not know"
			: "the journal just ends: its writer or its machine was stopped";
}

bool cut_written_add(struct text *t, const struct cut_cycle *c)
{
	char bytes[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX];

	if (!c->ready) {
		text_adds(t, "nothing: the baseline was never flushed");
		return false;
	}
	text_addf(t, "%llu write%s (%s, %llu by FUA) and %llu flush%s in %s", ull(c->writes),
		plural(c->writes), size_format_decimal(bytes, (double)c->bytes), ull(c->throughs),
		ull(c->flushes), c->flushes == 1 ? "" : "es",
		duration_format(time, (double)c->ns / 1e9));
	if (c->flush_ns_max)
		text_addf(t, "; the slowest flush took %s",
			duration_format(time, (double)c->flush_ns_max / 1e9));
	return true;
}

void cut_risk_add(struct text *t, const struct cut_cycle *c)
{
	char bytes[SIZE_TEXT_MAX];

	text_addf(t, "%llu write%s (%s) acknowledged and not flushed", ull(c->writes_at_risk),
		plural(c->writes_at_risk), size_format_decimal(bytes, (double)c->bytes_at_risk));
	if (c->by_answer)
		text_adds(t, ", but promised all the same");
}

void cut_region_add(struct text *t, const struct cut_cycle *c)
{
	char length[SIZE_TEXT_MAX], start[SIZE_TEXT_MAX], block[SIZE_TEXT_MAX];

	text_addf(t, "%s at %s, in blocks of %s", size_format(length, c->region_bytes),
		size_format(start, c->region_start), size_format(block, c->block_bytes));
}

const char *cut_promise_words(const struct cut_cycle *c)
{
	return c->by_answer ? "every answered write: the target claims no write cache"
			    : "what a flush or a write with FUA covered when it returned";
}

void cut_totals(struct recheck_totals *out, const struct cut_record *r)
{
	*out = (struct recheck_totals){ 0 };
	for (size_t i = 0; i < r->count; i++)
		if (r->cycles[i].rechecks)
			recheck_totals_add(out, &r->cycles[i].verdict);
}

/* Written, and then not interrupted by hand or by an error: something may have been cut, and nobody looked. */
static size_t unseen(const struct cut_record *r)
{
	size_t n = 0;

	for (size_t i = 0; i < r->count; i++) {
		const struct cut_cycle *c = &r->cycles[i];

		n += c->ready && !c->rechecks &&
		     (!*c->stop || !strcmp(c->stop, cut_ending_name(CUT_GONE)) ||
			     !strcmp(c->stop, cut_ending_name(CUT_TIME_UP)));
	}
	return n;
}

static void add_broken(struct text *t, const struct recheck_totals *o)
{
	char is[RECHECK_PERCENT_MAX], low[RECHECK_PERCENT_MAX], high[RECHECK_PERCENT_MAX];
	struct share_bounds b = interval_share(o->promises_broken, o->promises, 0.95);

	text_addf(t, "Not safe to ship: in %lu of %lu cut%s ", (unsigned long)o->broken_cycles,
		(unsigned long)o->cycles, plural(o->cycles));
	if (o->promises_broken)
		text_addf(t, "%llu of %llu promises %s broken (%s %%; 95 %%: %s to %s %%).",
			ull(o->promises_broken), ull(o->promises),
			o->promises_broken == 1 ? "is" : "are",
			recheck_percent(is, (double)o->promises_broken / (double)o->promises),
			recheck_percent(low, b.low), recheck_percent(high, b.high));
	else
		text_addf(t,
			"blocks are damaged that no promise covers (none of %llu promises is "
			"broken).",
			ull(o->promises));
}

static void add_kept(struct text *t, const struct recheck_totals *o)
{
	char promises[RECHECK_PERCENT_MAX], each[RECHECK_PERCENT_MAX];
	uint32_t cuts = o->cycles - o->not_shown_cycles;

	text_addf(t,
		"No broken promise found: none of %llu in %lu cut%s; with 95 %% confidence at "
		"most %s %% of promises break, and at most %s %% of cuts break any.",
		ull(o->promises), (unsigned long)cuts, plural(cuts),
		recheck_percent(promises, interval_upper_of_none(o->promises, 0.95)),
		recheck_percent(each, interval_upper_of_none(cuts, 0.95)));
}

void cut_conclude(struct text *t, const struct run *run, const struct cut_record *r)
{
	struct recheck_totals o;
	size_t left = unseen(r);

	cut_totals(&o, r);
	if (o.broken_cycles) {
		add_broken(t, &o);
	} else if (run->damaged_lines) {
		text_adds(t, "No verdict: the journal is damaged.");
	} else if (left) {
		text_addf(t, "No verdict yet: %zu of %zu cut%s not rechecked.", left, r->count,
			r->count == 1 ? " is" : "s are");
	} else if (o.cycles == o.not_shown_cycles) {
		text_adds(t, "No verdict: no promise was tested by a cut.");
	} else {
		add_kept(t, &o);
	}
}
