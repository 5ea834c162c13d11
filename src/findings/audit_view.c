/* What an audit means. */
#include "findings/audit_view.h"

#include <inttypes.h>
#include <string.h>

#include "base/advice.h"
#include "findings/run_findings.h"
#include "record/run.h"

/* ---- findings ---- */

enum { KEPT, BROKEN, NOT_SHOWN, NOT_FINISHED, NOT_ASKED, NO_SCSI, NAME_THEM, ASK_CUT };

#define TALLY "promises kept_promises broken_promises not_shown_promises not_asked_promises"

const struct finding_code audit_codes[] = {
	[KEPT] = { "kept", FINDING_PLAIN, true, "every promise that was asked about was kept",
		TALLY },
	[BROKEN] = { "broken", FINDING_CAUTION, true,
		"at least one promise is broken: not safe to ship", TALLY },
	[NOT_SHOWN] = { "not-shown", FINDING_CAUTION, true,
		"no broken promise was found, and some that were asked about could not be shown",
		TALLY },
	[NOT_FINISHED] = { "not-finished", FINDING_CAUTION, true,
		"the audit ended early, and none of the promises until then is broken", TALLY },
	[NOT_ASKED] = { "not-asked", FINDING_CAUTION, true,
		"not one of the promises was asked about, so nothing is shown", TALLY },
	[NO_SCSI] = { "no-scsi", FINDING_CAUTION, false,
		"the target takes no SCSI commands, so its claims, flushes and errors could not be "
		"examined",
		NULL },
	[NAME_THEM] = { "name-promises", FINDING_PLAIN, false,
		"how to ask only after the promises that matter", NULL },
	[ASK_CUT] = { "ask-cut", FINDING_PLAIN, false,
		"power was not cut, which is the work of another command", NULL },
};

const size_t audit_code_count = sizeof audit_codes / sizeof *audit_codes;

/* " (flush, fua)"; "" for none */
static const char *names_words(
	struct pool *pool, const struct promises *p, enum promise_verdict verdict)
{
	const char *list = "";

	for (size_t i = 0; i < p->count; i++)
		if (p->list[i].verdict == verdict)
			list = pool_printf(
				pool, "%s%s%s", list, *list ? ", " : "", p->list[i].name);
	return *list ? pool_printf(pool, " (%s)", list) : "";
}

static bool is_good(enum promise_verdict v)
{
	return v == PROMISE_KEPT || v == PROMISE_NOT_ASKED;
}

/* "12 kept, 1 broken (flush), 2 not shown (buffer, fsync), 3 not asked" */
static const char *tally_words(struct pool *pool, const struct promises *p)
{
	const char *all = "";

	for (int v = 0; v < PROMISE_VERDICTS; v++) {
		enum promise_verdict verdict = (enum promise_verdict)v;

		all = pool_printf(pool, "%s%s%zu %s%s", all, *all ? ", " : "",
			promises_tally(p, verdict), promise_verdict_name(verdict),
			is_good(verdict) ? "" : names_words(pool, p, verdict));
	}
	return all;
}

static int verdict_of(const struct promises *p)
{
	static const int codes[] = {
		[PROMISE_KEPT] = KEPT,
		[PROMISE_BROKEN] = BROKEN,
		[PROMISE_NOT_SHOWN] = NOT_SHOWN,
		[PROMISE_NOT_ASKED] = NOT_ASKED,
	};
	enum promise_verdict v = promises_conclude(p);

	return p->partial && v != PROMISE_BROKEN ? NOT_FINISHED : codes[v];
}

static void add_verdict(struct findings *f, const struct promises *p)
{
	static const char *const words[] = {
		[KEPT] = "No broken promise found, and everything asked about was shown",
		[BROKEN] = "Not safe to ship",
		[NOT_SHOWN] =
			"No broken promise found, but not everything asked about could be shown",
		[NOT_FINISHED] = "No verdict: the audit did not finish; so far",
		[NOT_ASKED] = "No verdict: nothing was asked about",
	};
	int code = verdict_of(p);
	struct finding *one = finding_add(f, &audit_codes[code], "%s%s: %s.", words[code],
		code == BROKEN && p->partial ? ", and the audit did not finish" : "",
		tally_words(f->pool, p));

	finding_figure(one, "promises", value_count(p->count));
	finding_figure(one, "kept_promises", value_count(promises_tally(p, PROMISE_KEPT)));
	finding_figure(one, "broken_promises", value_count(promises_tally(p, PROMISE_BROKEN)));
	finding_figure(
		one, "not_shown_promises", value_count(promises_tally(p, PROMISE_NOT_SHOWN)));
	finding_figure(
		one, "not_asked_promises", value_count(promises_tally(p, PROMISE_NOT_ASKED)));
}

static bool has(const struct promises *p, enum promise_id id, enum promise_verdict verdict)
{
	for (size_t i = 0; i < p->count; i++)
		if (promise_parse(p->list[i].name) == (int)id && p->list[i].verdict == verdict)
			return true;
	return false;
}

static bool wants_scsi(const struct promise *p)
{
	return !strcmp(p->evidence, PROMISE_NO_SCSI);
}

static const char *names_wanting_scsi(struct pool *pool, const struct promises *p)
{
	const char *names = "";

	for (size_t i = 0; i < p->count; i++)
		if (wants_scsi(&p->list[i]))
			names = pool_printf(
				pool, "%s%s%s", names, *names ? ", " : ": ", p->list[i].name);
	return names;
}

static void add_rest(struct findings *f, const struct promises *p, const char *transport)
{
	if (p->no_scsi)
		finding_add(f, &audit_codes[NO_SCSI],
			"It takes no SCSI commands, so its claims, flushes and errors could not be "
			"examined%s.",
			names_wanting_scsi(f->pool, p));
	if (promises_conclude(p) == PROMISE_NOT_SHOWN && !p->partial)
		finding_add(f, &audit_codes[NAME_THEM],
			"If only some of the promises matter, name them with --only, separated by "
			"commas.");
	if (advice_has_plug(transport) && has(p, PROMISE_ID_POWER_CUT, PROMISE_NOT_ASKED))
		finding_add(f, &audit_codes[ASK_CUT],
			"What survives a real loss of power is not tested here: see 'blkassay "
			"cut'.");
}

/* ---- tables ---- */

#define SUM(function, expression) COLUMN_VALUE(function, struct promises, r, expression)
#define LINE(function, expression) COLUMN_VALUE(function, struct audit_line, r, expression)

SUM(sum_scsi, value_flag(!r->no_scsi))
SUM(sum_finished, value_flag(!r->partial))

static const struct column summary[] = {
	{ "takes_scsi", NULL, "whether the target takes SCSI commands", 0, false, NULL, sum_scsi },
	{ "finished", NULL, "whether all was asked about", 0, false, NULL, sum_finished },
};

const struct table_spec audit_summary_spec = { .key = "summary",
	.meaning = "the audit as a whole",
	.json = JSON_BARE,
	.row_bytes = sizeof(struct promises),
	TABLE_COLUMNS(summary) };

LINE(line_title, value_text(r->title))
LINE(line_name, value_text(r->promise->name))
LINE(line_verdict, value_code(promise_verdict_code(r->promise->verdict)))
LINE(line_claim, value_text(r->promise->claim))
LINE(line_tested, value_text(r->tested))
LINE(line_tested_number, value_if(r->promise->tested_known, value_count(r->promise->tested)))
LINE(line_tested_what, value_word(r->tested_what))
LINE(line_evidence, value_text(r->promise->evidence))
LINE(line_mend, value_text(r->promise->mend))

static const struct column lines[] = {
	{ NULL, "promise", "its name, and what became of it", 0, true, NULL, line_title },
	{ "name", NULL, "of the promise", 0, true, NULL, line_name },
	{ "verdict", NULL, "what became of it", 0, true, NULL, line_verdict },
	{ "claim", "claim", "what is promised", 0, true, NULL, line_claim },
	{ "tested", NULL, "how much the verdict rests on; null: an older record", 0, false, NULL,
		line_tested_number },
	{ "tested_what", NULL, "what that counts: blocks, flushes, ...", 0, true, NULL,
		line_tested_what },
	{ NULL, "tested", "how much the verdict rests on", 0, true, NULL, line_tested },
	{ "evidence", "seen", "what was seen, with its numbers", 0, true, NULL, line_evidence },
	{ "mend", "to mend it", "the change of the firmware that keeps the promise", 0, true, NULL,
		line_mend },
};

const struct table_spec audit_promises_spec = { .key = "promises",
	.meaning = "a promise and what became of it",
	.csv = CSV_RUN_TARGET,
	.blocks = true,
	.row_bytes = sizeof(struct audit_line),
	TABLE_COLUMNS(lines) };

bool audit_word(size_t i, struct view_word *out)
{
	static const char *const meanings[] = {
		[PROMISE_KEPT] = "the evidence fits the promise",
		[PROMISE_BROKEN] = "noise cannot explain the evidence",
		[PROMISE_NOT_SHOWN] = "asked about, but the evidence is too weak or missing",
		[PROMISE_NOT_ASKED] =
			"left to an option or to cut, left out by --only, or never promised",
	};
	size_t v = i - PROMISE_IDS;

	if (i < PROMISE_IDS)
		*out = (struct view_word){ .key = "name",
			.word = promise_row((enum promise_id)i)->name,
			.meaning = promise_row((enum promise_id)i)->claim,
			.note = "" };
	else if (v < PROMISE_VERDICTS)
		*out = (struct view_word){ .key = "verdict",
			.word = promise_verdict_code((enum promise_verdict)v),
			.meaning = meanings[v],
			.note = "" };
	return v < PROMISE_VERDICTS || i < PROMISE_IDS;
}

/* "5 flushes", "1 flush" */
static const char *counted(struct pool *pool, uint64_t n, const char *plural)
{
	size_t length = strlen(plural), ending = strstr(plural, "shes") ? 2 : 1;

	return pool_printf(
		pool, "%" PRIu64 " %.*s", n, (int)(n == 1 ? length - ending : length), plural);
}

static void make_line(struct audit_line *line, struct pool *pool, const struct promise *one)
{
	int id = promise_parse(one->name);

	*line = (struct audit_line){ .promise = one,
		.title = pool_printf(pool, "%s: %s", one->name, promise_verdict_name(one->verdict)),
		.tested_what = id < 0 ? NULL : promise_row((enum promise_id)id)->tested };
	if (id >= 0 && one->tested_known && one->verdict != PROMISE_NOT_ASKED)
		line->tested = counted(pool, one->tested, line->tested_what);
}

/* What is to be mended first, what nobody asked about last; else in the order of the audit. */
static struct audit_line *make_lines(struct pool *pool, const struct promises *p)
{
	static const enum promise_verdict order[PROMISE_VERDICTS] = { PROMISE_BROKEN,
		PROMISE_NOT_SHOWN, PROMISE_KEPT, PROMISE_NOT_ASKED };
	struct audit_line *all = pool_alloc(pool, p->count, sizeof *all);
	size_t n = 0;

	for (size_t v = 0; all && v < PROMISE_VERDICTS; v++)
		for (size_t i = 0; i < p->count; i++)
			if (p->list[i].verdict == order[v])
				make_line(&all[n++], pool, &p->list[i]);
	return all;
}

static const char *rest_words(struct pool *pool, size_t left_out, size_t no_scsi)
{
	if (!left_out && !no_scsi)
		return NULL;
	return pool_printf(pool, "and %s%s%s (CSV and JSON have them)",
		left_out ? pool_printf(pool, "%zu left out by --only", left_out) : "",
		left_out && no_scsi ? ", " : "",
		no_scsi ? pool_printf(pool, "%zu that need SCSI commands: not shown", no_scsi)
			: "");
}

/* People need not read what nobody wanted to know, nor over and over what the findings say once. */
static void show_lines(struct view *v, const struct audit_line *all, size_t count)
{
	struct audit_line *rows = pool_alloc(&v->pool, count, sizeof *rows);
	size_t n = 0, no_scsi = 0, left_out = 0;

	for (size_t i = 0; rows && i < count; i++)
		if (!strcmp(all[i].promise->evidence, PROMISE_LEFT_OUT))
			left_out++;
		else if (wants_scsi(all[i].promise))
			no_scsi++;
		else
			rows[n++] = all[i];
	view_section(v, (struct section){ .on = ON_SCREENS,
				.level = 2,
				.heading = "Promises",
				.table = { &audit_promises_spec, rows, n },
				.note = rest_words(&v->pool, left_out, no_scsi) });
}

int audit_view(struct view *v, const struct run *run, const struct promises *p, struct error *err)
{
	struct audit_line *rows;

	view_begin(v, "audit");
	view_of_run(v, run);
	add_verdict(&v->findings, p);
	run_findings_add(&v->findings, run);
	add_rest(&v->findings, p, run->target.transport);
	rows = make_lines(&v->pool, p);
	view_table(v, &audit_summary_spec, p, 1);
	view_table(v, &audit_promises_spec, rows, rows ? p->count : 0);
	if (rows)
		show_lines(v, rows, p->count);
	return view_end(v, err);
}
