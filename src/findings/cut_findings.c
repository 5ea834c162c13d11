/* What cuts came to, in sentences. */
#include <inttypes.h>
#include <stdio.h>
#include <string.h>

#include "analysis/interval.h"
#include "base/advice.h"
#include "base/shell.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/cut_view.h"
#include "findings/run_findings.h"
#include "record/run.h"

static const double confidence = 0.95;

enum {
	KEPT,
	BROKEN,
	NOT_SHOWN,
	NOT_RECHECKED,
	FLUSHED_BROKEN,
	ANSWERED_BROKEN,
	IN_FLIGHT_BROKEN,
	UNTOUCHED_BROKEN,
	AGES,
	DISTURBED,
	NOT_CUT,
	CUT_LATE,
	NO_STOP,
	JOURNAL_SHORT,
	NO_PROMISE,
	ALL_FLUSHED,
	FUA_UNTESTED,
	FEW_ANSWERS,
	NOTHING_LOST,
	FLAT_FLUSHES,
	CLAIMS_NO_CACHE,
	CLAIMS_CHANGED,
	OLD_OR_NEW,
	UNPROMISED,
	DISORDERED,
	DO_RECHECK,
};

#define TALLY "cuts tested_cuts broken_cuts promises broken_promises"
#define BROKEN_BLOCKS "broken_blocks cuts"

const struct finding_code cut_codes[] = {
	[KEPT] = { "kept", FINDING_PLAIN, true,
		"every promise that a cut tested was kept, by as many cuts as that takes; where "
		"flushes promise, cuts lost what none had covered, and flushes take longer the "
		"more there is to store",
		TALLY " broken_cuts_share_at_most confidence_share" },
	[BROKEN] = { "broken", FINDING_CAUTION, true,
		"a promise did not outlive a cut, or blocks that no promise covers are damaged: "
		"not safe to ship",
		TALLY " broken_cuts_share broken_cuts_share_low broken_cuts_share_high "
		      "confidence_share" },
	[NOT_SHOWN] = { "not-shown", FINDING_CAUTION, true,
		"nothing is broken, and no cut has tested a promise, nothing shows what a flush "
		"is worth, or the journal is damaged",
		TALLY },
	[NOT_RECHECKED] = { "not-rechecked", FINDING_CAUTION, true,
		"nothing is broken so far, and there are cuts that nobody looked at yet", TALLY },
	[FLUSHED_BROKEN] = { "flushed-broken", FINDING_CAUTION, false,
		"data that a flush or FUA promised did not outlive a cut", BROKEN_BLOCKS },
	[ANSWERED_BROKEN] = { "acknowledged-broken", FINDING_CAUTION, false,
		"acknowledged data did not outlive a cut, and no write cache is claimed",
		BROKEN_BLOCKS },
	[IN_FLIGHT_BROKEN] = { "in-flight-broken", FINDING_CAUTION, false,
		"blocks that were being written are neither old nor new", BROKEN_BLOCKS },
	[UNTOUCHED_BROKEN] = { "untouched-broken", FINDING_CAUTION, false,
		"blocks that nobody wrote since the start are damaged", BROKEN_BLOCKS },
	[AGES] = { "ages", FINDING_PLAIN, false,
		"when what is broken was acknowledged, back from the last answer",
		"shortest_seconds longest_seconds fewest_bytes most_bytes" },
	[DISTURBED] = { "disturbed", FINDING_CAUTION, false,
		"something broke in cuts before which the kernel counted errors or resets of the "
		"device: a dip of its supply may have lost what a later flush seemed to cover",
		"cuts errors" },
	[NOT_CUT] = { "not-cut", FINDING_CAUTION, false,
		"the target answered to the end and was not unplugged since: nothing was cut",
		"cuts" },
	[CUT_LATE] = { "cut-late", FINDING_CAUTION, false,
		"power was cut after writing had ended, at a moment that nobody knows: the target "
		"may have had the time to store everything",
		"cuts" },
	[NO_STOP] = { "no-stop", FINDING_CAUTION, false,
		"the journal of a cut has no end: promises may be missing", "cuts" },
	[JOURNAL_SHORT] = { "journal-short", FINDING_CAUTION, false,
		"the target holds writes that the journal does not know", "blocks cuts" },
	[NO_PROMISE] = { "no-promise", FINDING_CAUTION, false,
		"cuts that came before any promise was made", "cuts" },
	[ALL_FLUSHED] = { "all-flushed", FINDING_CAUTION, false,
		"no write cache is claimed, and cuts came when a flush had covered all that was "
		"answered: they say nothing of what an answer alone is worth",
		"cuts" },
	[FUA_UNTESTED] = { "fua-untested", FINDING_CAUTION, false,
		"nothing is broken, but too few cuts came right after a write with FUA: what FUA "
		"alone is worth was hardly put to the test",
		"fua_writes fua_cuts needed_cuts" },
	[FEW_ANSWERS] = { "few-cuts", FINDING_CAUTION, false,
		"nothing is broken, and no write cache is claimed, so that each answer is a "
		"promise; too few cuts tested that",
		"cuts needed_cuts" },
	[NOTHING_LOST] = { "nothing-lost", FINDING_CAUTION, false,
		"no cut lost anything that was acknowledged: that a flush is needed, and does what "
		"it says, was not put to the test",
		"cuts" },
	[FLAT_FLUSHES] = { "flat-flushes", FINDING_CAUTION, false,
		"flushes do not take longer the more was written before them: they may do nothing",
		"pairs longer_pairs" },
	[CLAIMS_NO_CACHE] = { "claims-no-cache", FINDING_PLAIN, false,
		"the target claims no write cache, so that each answered write is a promise",
		NULL },
	[CLAIMS_CHANGED] = { "claims-changed", FINDING_CAUTION, false,
		"before some cuts the target claimed no write cache, and before others it did: "
		"hosts go by what it claims when it is plugged in",
		"answer_cuts cuts" },
	[OLD_OR_NEW] = { "old-or-new", FINDING_PLAIN, false,
		"what became of blocks that were written and not promised",
		"old_blocks new_blocks" },
	[UNPROMISED] = { "unpromised-lost", FINDING_PLAIN, false,
		"acknowledged and not promised writes are gone, which write-behind allows",
		"blocks" },
	[DISORDERED] = { "order-not-kept", FINDING_PLAIN, false,
		"of writes that were not promised, later ones outlived earlier ones", "cuts" },
	[DO_RECHECK] = { "recheck", FINDING_PLAIN, false,
		"what to do now; the command does it once the target is plugged in again",
		"command" },
};

const size_t cut_code_count = sizeof cut_codes / sizeof *cut_codes;

struct writer {
	struct findings *f;
	struct pool *pool;
	const struct run *run;
	const struct cut_record *record;
	struct cut_totals totals;
};

/* "8.7", "100": two digits, never "1e+02" */
static const char *percent(struct pool *pool, double share)
{
	return pool_printf(pool, share >= 0.995 ? "%.0f" : "%.2g", share * 100);
}

static void add_tally(struct finding *one, const struct cut_totals *o)
{
	finding_figure(one, "cuts", value_count(o->cuts));
	finding_figure(one, "tested_cuts", value_count(cut_totals_tested(o)));
	finding_figure(one, "broken_cuts", value_count(o->broken));
	finding_figure(one, "promises", value_count(o->promises));
	finding_figure(one, "broken_promises", value_count(o->promises_broken));
}

/* ---- the verdict ---- */

static const char *promises_words(const struct writer *w)
{
	const struct cut_totals *o = &w->totals;

	if (!o->promises_broken)
		return pool_printf(w->pool,
			"Blocks that no promise covers are damaged; none of %" PRIu64
			" promise%s (writes) is broken.",
			o->promises, text_plural(o->promises));
	return pool_printf(w->pool, "%" PRIu64 " of %" PRIu64 " promise%s (writes) %s broken.",
		o->promises_broken, o->promises, text_plural(o->promises),
		o->promises_broken == 1 ? "is" : "are");
}

/* What one cut takes goes together: so it is cuts that chance deals out, not promises. */
static void add_broken(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	uint64_t tested = cut_totals_tested(o);
	struct share_bounds b = interval_share(o->broken, tested, confidence);
	double share = (double)o->broken / (double)tested;
	struct finding *one = finding_add(w->f, &cut_codes[BROKEN],
		"Not safe to ship: in %" PRIu64 " of %" PRIu64
		" cut%s something is broken (95 %% sure: in %s to %s %% of such cuts). %s",
		o->broken, tested, text_plural(tested), percent(w->pool, b.low),
		percent(w->pool, b.high), promises_words(w));

	add_tally(one, o);
	finding_figure(one, "broken_cuts_share", value_share(share));
	finding_figure(one, "broken_cuts_share_low", value_share(b.low));
	finding_figure(one, "broken_cuts_share_high", value_share(b.high));
	finding_figure(one, "confidence_share", value_share(confidence));
}

static void add_kept(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	uint64_t tested = cut_totals_tested(o);
	double most = interval_upper_of_none(tested, confidence);
	struct finding *one = finding_add(w->f, &cut_codes[KEPT],
		"No broken promise found: none of %" PRIu64 " in %" PRIu64
		" cut%s that tested any; with 95 %% confidence at most %s %% of such cuts break "
		"one.",
		o->promises, tested, text_plural(tested), percent(w->pool, most));

	add_tally(one, o);
	finding_figure(one, "broken_cuts_share_at_most", value_share(most));
	finding_figure(one, "confidence_share", value_share(confidence));
}

static size_t unseen(const struct cut_record *r)
{
	size_t n = 0;

	for (size_t i = 0; i < r->count; i++)
		n += cut_is_unseen(&r->cycles[i]);
	return n;
}

static const char *const lacks[] = {
	[CUT_LACKS_ANSWERS] = "so few say little of what an answer alone is worth",
	[CUT_LACKS_LOSS] = "nothing was lost that was not promised either",
	[CUT_LACKS_FLUSHES] = "nothing shows that flushes store anything",
	[CUT_LACKS_FUA] = "so few say little of what FUA alone is worth",
};

static void add_verdict(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	size_t left = unseen(w->record);

	if (o->broken)
		add_broken(w);
	else if (w->run->damaged_lines)
		add_tally(finding_add(w->f, &cut_codes[NOT_SHOWN],
				  "Not shown: nothing is broken, but the journal is damaged."),
			o);
	else if (left)
		add_tally(finding_add(w->f, &cut_codes[NOT_RECHECKED],
				  "No verdict yet: %zu of %" PRIu64 " cut%s %s not rechecked.",
				  left, o->cuts, text_plural(o->cuts), left == 1 ? "is" : "are"),
			o);
	else if (!cut_totals_tested(o))
		add_tally(finding_add(w->f, &cut_codes[NOT_SHOWN],
				  "Not shown: nothing is broken, but no promise was tested by a "
				  "cut."),
			o);
	else if (cut_totals_lack(o) != CUT_LACKS_NOTHING)
		add_tally(finding_add(w->f, &cut_codes[NOT_SHOWN],
				  "Not shown: none of %" PRIu64 " promises in %" PRIu64
				  " cut%s is broken, but %s.",
				  o->promises, cut_totals_tested(o),
				  text_plural(cut_totals_tested(o)), lacks[cut_totals_lack(o)]),
			o);
	else
		add_kept(w);
}

/* ---- what is broken ---- */

static uint64_t cuts_with(const struct writer *w, enum recheck_duty d)
{
	uint64_t n = 0;

	for (size_t i = 0; i < w->record->count; i++)
		n += w->record->cycles[i].verdict.broken[d] != 0;
	return n;
}

static void add_broken_blocks(struct writer *w)
{
	static const struct {
		int code;
		const char *words;
	} rows[RECHECK_DUTIES] = {
		[RECHECK_FLUSHED] = { FLUSHED_BROKEN,
			"Data that a flush or a write with FUA promised did not survive" },
		[RECHECK_ACKNOWLEDGED] = { ANSWERED_BROKEN,
			"Acknowledged data did not survive, and no write cache is claimed" },
		[RECHECK_IN_FLIGHT] = { IN_FLIGHT_BROKEN,
			"Blocks that were being written are neither old nor new" },
		[RECHECK_UNTOUCHED] = { UNTOUCHED_BROKEN,
			"Blocks that were flushed at the start and not written since are damaged" },
	};

	for (int d = 0; d < RECHECK_DUTIES; d++) {
		uint64_t blocks = w->totals.broken_blocks[d];
		uint64_t cuts = cuts_with(w, (enum recheck_duty)d);
		struct finding *one;

		if (!blocks)
			continue;
		one = finding_add(w->f, &cut_codes[rows[d].code],
			"%s: %" PRIu64 " block%s in %" PRIu64 " cut%s.", rows[d].words, blocks,
			text_plural(blocks), cuts, text_plural(cuts));
		finding_figure(one, "broken_blocks", value_count(blocks));
		finding_figure(one, "cuts", value_count(cuts));
	}
}

struct ages {
	bool known;
	uint64_t ns_min, ns_max, bytes_min, bytes_max;
};

static void take_ages(struct ages *a, const struct recheck_result *v)
{
	if (!v->ages_known)
		return;
	if (!a->known || v->ns_before_min < a->ns_min)
		a->ns_min = v->ns_before_min;
	if (!a->known || v->bytes_before_min < a->bytes_min)
		a->bytes_min = v->bytes_before_min;
	if (v->ns_before_max > a->ns_max)
		a->ns_max = v->ns_before_max;
	if (v->bytes_before_max > a->bytes_max)
		a->bytes_max = v->bytes_before_max;
	a->known = true;
}

static const char *age(struct pool *pool, uint64_t ns)
{
	char words[SIZE_TEXT_MAX];

	return ns < 1000 ? "0 ms"
			 : pool_printf(pool, "%s", duration_format(words, (double)ns / 1e9));
}

static void add_ages(struct writer *w)
{
	struct ages a = { 0 };
	struct finding *one;

	for (size_t i = 0; i < w->record->count; i++)
		take_ages(&a, &w->record->cycles[i].verdict);
	if (!a.known)
		return;
	one = finding_add(w->f, &cut_codes[AGES],
		"What is broken was acknowledged %s%s%s before the last answer, %.0f%s%s KiB "
		"before the last byte acknowledged. A buffer's worth points to flushes that do not "
		"store; much more points to the card.",
		age(w->pool, a.ns_min), a.ns_max > a.ns_min ? " to " : "",
		a.ns_max > a.ns_min ? age(w->pool, a.ns_max) : "", (double)a.bytes_min / 1024,
		a.bytes_max > a.bytes_min ? " to " : "",
		a.bytes_max > a.bytes_min ? pool_printf(w->pool, "%.0f", (double)a.bytes_max / 1024)
					  : "");
	finding_figure(one, "shortest_seconds", value_ns(a.ns_min));
	finding_figure(one, "longest_seconds", value_ns(a.ns_max));
	finding_figure(one, "fewest_bytes", value_bytes_decimal(a.bytes_min));
	finding_figure(one, "most_bytes", value_bytes_decimal(a.bytes_max));
}

/* The kernel repeats what a reset threw back, and tells nobody: what a dip of the supply took from the buffer is no fault of the
 * next flush. */
static void add_disturbed(struct writer *w)
{
	uint64_t cuts = 0, errors = 0;
	struct finding *one;

	for (size_t i = 0; i < w->record->count; i++) {
		const struct cut_cycle *c = &w->record->cycles[i];

		if (!c->device_errors || !c->rechecks ||
			recheck_conclude(&c->verdict) != RECHECK_BROKEN)
			continue;
		cuts++;
		errors += c->device_errors;
	}
	if (!cuts)
		return;
	one = finding_add(w->f, &cut_codes[DISTURBED],
		"Before %" PRIu64 " of the cuts in which something broke, the kernel had counted "
		"errors or resets of the device (%" PRIu64 " in all). If its supply dipped, what "
		"was lost then is not the flush's fault: look into the kernel log (dmesg), rule "
		"out cable, hub and supply, and cut again.",
		cuts, errors);
	finding_figure(one, "cuts", value_count(cuts));
	finding_figure(one, "errors", value_count(errors));
}

/* ---- what was not tested, and why ---- */

/* Why this one tested nothing; -1: it did, or is broken. */
static int why_not(const struct recheck_result *v)
{
	if (recheck_conclude(v) != RECHECK_NOT_SHOWN)
		return -1;
	return v->uncut      ? NOT_CUT
	       : v->late     ? CUT_LATE
	       : v->beyond   ? JOURNAL_SHORT
	       : v->unended  ? NO_STOP
	       : v->promises ? ALL_FLUSHED
			     : NO_PROMISE;
}

static void add_untested(struct writer *w)
{
	static const struct {
		int code;
		const char *words;
	} rows[] = {
		{ NOT_CUT, "the target answered to the end and was not unplugged since, so nothing "
			   "was cut" },
		{ CUT_LATE, "power was cut after writing had ended, when the target may have had "
			    "time to store everything; cut while it writes: pull the plug yourself "
			    "without --seconds, or use --cut-with" },
		{ NO_STOP, "the journal has no end, so promises may be missing; recheck with the "
			   "whole journal, or cut again" },
		{ JOURNAL_SHORT,
			"the target holds writes that the journal lacks: its last lines are "
			"missing, or another cut had the same seed; recheck with the whole "
			"journal, or cut again" },
		{ NO_PROMISE, "it came before the target had made a promise; cut again, later" },
		{ ALL_FLUSHED,
			"all that was answered had been flushed as well, and of a target that "
			"claims no write cache each answer is to be tested; cut again" },
	};

	for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
		uint64_t n = 0, beyond = 0;
		struct finding *one;

		for (size_t i = 0; i < w->record->count; i++) {
			const struct cut_cycle *c = &w->record->cycles[i];
			bool so = c->rechecks && why_not(&c->verdict) == rows[k].code;

			n += so;
			beyond += so ? c->verdict.beyond : 0;
		}
		if (!n)
			continue;
		one = finding_add(w->f, &cut_codes[rows[k].code],
			"%" PRIu64 " cut%s tested nothing: %s%s.", n, text_plural(n), rows[k].words,
			rows[k].code == NOT_CUT && advice_has_plug(w->run->target.transport)
				? "; cut its power, then recheck"
				: "");
		if (rows[k].code == JOURNAL_SHORT)
			finding_figure(one, "blocks", value_count(beyond));
		finding_figure(one, "cuts", value_count(n));
	}
}

static void add_nothing_lost(struct writer *w, uint64_t tested)
{
	finding_figure(
		finding_add(w->f, &cut_codes[NOTHING_LOST],
			"Every acknowledged write was there after the cut%s, flushed or not: "
			"the target held nothing back at that moment, or still had power. "
			"Make sure that a cut takes all of its power, a battery's too, and "
			"cut more often.",
			text_plural(tested)),
		"cuts", value_count(tested));
}

static void add_flat_flushes(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	struct finding *one;

	if (!o->flush_pairs)
		one = finding_add(w->f, &cut_codes[FLAT_FLUSHES],
			"No flush took notably longer than another with less to store: what they "
			"covered may have been stored in its own time. Cut more often; 'blkassay "
			"audit' asks after flushes alone.");
	else
		one = finding_add(w->f, &cut_codes[FLAT_FLUSHES],
			"Of two flushes the one with more to store took longer in %" PRIu64
			" of %" PRIu64
			" cases: too few to tell that from chance, so that what they covered may "
			"have been stored in its own time. Cut more often; 'blkassay audit' asks "
			"after flushes alone.",
			o->flush_pairs_grew, o->flush_pairs);
	finding_figure(one, "pairs", value_count(o->flush_pairs));
	finding_figure(one, "longer_pairs", value_count(o->flush_pairs_grew));
}

static void add_few_answers(struct writer *w)
{
	uint64_t tested = w->totals.answer_cuts;
	struct finding *one = finding_add(w->f, &cut_codes[FEW_ANSWERS],
		"Each answer is a promise here, and nothing but cuts shows that it is kept: %d are "
		"needed to say so, and %" PRIu64 " tested it. With fewer, more than a fifth of "
		"them could break a promise. Cut more often.",
		CUT_ANSWERS_LEAST, tested);

	finding_figure(one, "cuts", value_count(tested));
	finding_figure(one, "needed_cuts", value_count(CUT_ANSWERS_LEAST));
}

static void add_few_fua(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	struct finding *one = finding_add(w->f, &cut_codes[FUA_UNTESTED],
		"Of FUA alone too little is shown: a cut tests it right after such a write, and "
		"%" PRIu64 " of %" PRIu64
		" came so, and %d are needed. Cut more often; 'blkassay audit' asks after FUA "
		"alone.",
		o->through_cuts, cut_totals_tested(o), CUT_FUA_LEAST);

	finding_figure(one, "fua_writes", value_count(o->throughs));
	finding_figure(one, "fua_cuts", value_count(o->through_cuts));
	finding_figure(one, "needed_cuts", value_count(CUT_FUA_LEAST));
}

/* Why nothing is broken, and nothing kept. */
static void add_unshown(struct writer *w)
{
	const struct cut_totals *o = &w->totals;
	uint64_t tested = cut_totals_tested(o);

	if (!tested || cut_totals_conclude(o) != RECHECK_NOT_SHOWN)
		return;
	switch (cut_totals_lack(o)) {
	case CUT_LACKS_NOTHING:
		break;
	case CUT_LACKS_ANSWERS:
		add_few_answers(w);
		break;
	case CUT_LACKS_LOSS:
		add_nothing_lost(w, tested);
		break;
	case CUT_LACKS_FLUSHES:
		add_flat_flushes(w);
		break;
	case CUT_LACKS_FUA:
		add_few_fua(w);
		break;
	}
}

/* ---- what is allowed ---- */

static void add_claims(struct writer *w)
{
	const struct cut_record *r = w->record;
	uint64_t by_answer = 0;
	struct finding *one;

	for (size_t i = 0; i < r->count; i++)
		by_answer += r->cycles[i].by_answer;
	if (!by_answer)
		return;
	if (by_answer == r->count) {
		finding_add(w->f, &cut_codes[CLAIMS_NO_CACHE],
			"The target claims no write cache, so each answered write is a promise.");
		return;
	}
	one = finding_add(w->f, &cut_codes[CLAIMS_CHANGED],
		"Its claim changed: before %" PRIu64 " of %zu cuts it claimed no write cache, so "
		"that each answered write was a promise, and before the others it claimed one. "
		"Hosts go by what it claims when it is plugged in.",
		by_answer, r->count);
	finding_figure(one, "answer_cuts", value_count(by_answer));
	finding_figure(one, "cuts", value_count(r->count));
}

static void add_allowed(struct writer *w)
{
	const struct cut_totals *o = &w->totals;

	add_claims(w);
	if (o->in_flight_old || o->in_flight_new) {
		struct finding *one = finding_add(w->f, &cut_codes[OLD_OR_NEW],
			"Of the blocks not promised, %" PRIu64 " are old and %" PRIu64 " new.",
			o->in_flight_old, o->in_flight_new);

		finding_figure(one, "old_blocks", value_count(o->in_flight_old));
		finding_figure(one, "new_blocks", value_count(o->in_flight_new));
	}
	if (o->forgotten)
		finding_figure(finding_add(w->f, &cut_codes[UNPROMISED],
				       "%" PRIu64 " block%s lost a write that was acknowledged but "
				       "not flushed, which write-behind allows.",
				       o->forgotten, text_plural(o->forgotten)),
			"blocks", value_count(o->forgotten));
	if (o->disordered)
		finding_figure(finding_add(w->f, &cut_codes[DISORDERED],
				       "Of writes that were not promised, later ones survived "
				       "where earlier ones did not in %" PRIu64
				       " cut%s: their order was not kept, and need not be.",
				       o->disordered, text_plural(o->disordered)),
			"cuts", value_count(o->disordered));
}

/* ---- what to do now ---- */

static void add_next(struct writer *w)
{
	const struct cut_record *r = w->record;
	const struct cut_cycle *last = r->count ? &r->cycles[r->count - 1] : NULL;
	struct finding *one;
	struct text t;

	if (!last || !cut_is_unseen(last) || w->run->target.modelled)
		return;
	one = finding_add(w->f, &cut_codes[DO_RECHECK],
		!advice_has_plug(w->run->target.transport)
			? "It has no plug to pull. Once whatever it lies on has lost its power:"
		: !strcmp(last->stop, cut_ending_name(CUT_TIME_UP))
			? "Time was up, and the target still answered. A cut now can show only "
			  "what is broken, as the target has had time to store everything. After "
			  "it:"
			: "Plug it in again, then:");
	text_init(&t);
	text_adds(&t, "blkassay recheck ");
	shell_add_word(&t, w->run->path, true);
	text_adds(&t, " ");
	shell_add_word(&t, w->run->target.path, true);
	w->pool->failed |= t.failed;
	finding_command(w->f, one, t.bytes);
	text_release(&t);
}

void cut_findings_add(struct findings *f, const struct run *run, const struct cut_record *record)
{
	struct writer w = { .f = f, .pool = f->pool, .run = run, .record = record };

	cut_totals(&w.totals, record);
	add_verdict(&w);
	run_findings_add(f, run);
	add_broken_blocks(&w);
	add_ages(&w);
	add_disturbed(&w);
	add_untested(&w);
	add_unshown(&w);
	add_allowed(&w);
	add_next(&w);
}
