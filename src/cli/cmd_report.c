/* report: the summary, CSV and page of finished or cut records. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/result_file.h"
#include "cli/show.h"
#include "findings/compare.h"
#include "findings/notices.h"
#include "record/audit.h"
#include "record/cut_load.h"
#include "record/observe.h"
#include "record/run.h"
#include "record/verify.h"
#include "report/csv.h"
#include "report/cut_text.h"
#include "report/observe_text.h"
#include "report/page.h"
#include "report/page_audit.h"
#include "report/page_compare.h"
#include "report/page_cut.h"
#include "report/page_observe.h"
#include "report/page_verify.h"
#include "report/verify_text.h"

struct report_kind;

enum { RUNS_MAX = 64 }; /* as the command table allows */

/* Where the report goes: files that were asked for, else the summary to stdout. */
struct report {
	struct result_file csv, page;
	struct text text;
	size_t runs;
	/* Labels of the sweeps so far, and which of them each run has: two make a comparison on the page. */
	char builds[2][128];
	size_t build_count; /* 3: more than two */
	signed char side[RUNS_MAX]; /* -1: no sweep */
	const struct report_kind *before; /* of the run before; NULL: none yet */
	bool page_begun;
};

static bool wants_files(const struct report *r)
{
	return r->csv.file || r->page.file;
}

static int open_files(struct report *r, const struct options *o, struct error *err)
{
	const char *csv = options_text(o, OPTION_CSV_FILE, NULL);
	const char *page = options_text(o, OPTION_PAGE, NULL);

	if (csv && page && !strcmp(csv, page))
		return error_set(err, ERROR_USAGE,
			"--csv and --page both name '%s'; give each its own file", csv);
	if (csv && result_file_open(&r->csv, csv, err) < 0)
		return -1;
	if (page && result_file_open(&r->page, page, err) < 0)
		return -1;
	return 0;
}

static int write_csv(struct report *r, const struct run *run, struct error *err)
{
	enum { ENOUGH = 64 * 1024 };
	int rc = 0;

	if (!r->runs)
		csv_add_header(&r->text);
	for (size_t i = 0; !rc && i < run->pass_count; i++) {
		csv_add_pass(&r->text, run, &run->passes[i]);
		if (r->text.length > ENOUGH || r->text.failed)
			rc = result_file_write(&r->csv, &r->text, err);
	}
	return rc ? rc : result_file_write(&r->csv, &r->text, err);
}

/* What a kind of run adds to its part of the page after the facts, and before them under what was found (NULL: nothing
 * more than the notices). */
typedef void page_part(struct text *t, void *result);
typedef void page_sentences(void *result, const struct notice_visitor *visitor);

/* A page of several runs has a title of its own. */
static void begin_page(struct report *r, const struct run *first)
{
	if (!r->page_begun)
		page_begin(&r->text,
			first && *first->head.label ? first->head.label : "blkassay report");
	r->page_begun = true;
}

static int write_page(struct report *r, const struct run *run, page_part *part,
	page_sentences *sentences, void *result, struct error *err)
{
	struct page_found found = { result, sentences };

	begin_page(r, run);
	if (page_add_run(&r->text, run, sentences ? &found : NULL, err) < 0)
		return -1;
	if (part)
		part(&r->text, result);
	return result_file_write(&r->page, &r->text, err);
}

/* ---- one function a kind of run: each loads what is its own and writes what was asked for ---- */

typedef int kind_reporter(struct report *r, const struct run *run, struct error *err);

static int report_sweep(struct report *r, const struct run *run, struct error *err)
{
	int rc = r->csv.file ? write_csv(r, run, err) : 0;

	if (!rc && r->page.file)
		rc = write_page(r, run, NULL, NULL, NULL, err);
	return !rc && !wants_files(r) ? show_summary(run, err) : rc;
}

struct observed {
	struct run run;
	struct observation seen;
};

static void observe_part(struct text *t, void *result)
{
	page_add_observation(t, &((struct observed *)result)->seen);
}

static void observe_found(void *result, const struct notice_visitor *visitor)
{
	struct observed *o = result;

	observe_sentences_visit(&o->run, &o->seen, visitor);
}

static int report_observed(struct report *r, const struct run *loaded, struct error *err)
{
	struct observed o;
	int rc = observe_load(&o.run, &o.seen, loaded->path, err);

	if (rc < 0)
		return rc;
	if (r->csv.file) {
		if (!r->runs)
			observe_csv_header(&r->text);
		observe_csv(&r->text, &o.run, &o.seen);
		rc = result_file_write(&r->csv, &r->text, err);
	}
	if (!rc && r->page.file)
		rc = write_page(r, &o.run, observe_part, observe_found, &o, err);
	if (!rc && !wants_files(r))
		rc = show_observation(&o.run, &o.seen, err);
	observation_release(&o.seen);
	run_release(&o.run);
	return rc;
}

static void audit_part(struct text *t, void *result)
{
	page_add_audit(t, result);
}

static void audit_found(void *result, const struct notice_visitor *visitor)
{
	page_audit_found(result, visitor);
}

static int report_audit(struct report *r, const struct run *run, struct error *err)
{
	struct promises *f;
	int rc;

	if (!r->page.file)
		return show_summary(run, err);
	f = calloc(1, sizeof *f);
	if (!f)
		return error_set(err, ERROR_IO, "out of memory");
	rc = audit_load(f, run->path, err);
	if (!rc)
		rc = write_page(r, run, audit_part, audit_found, f, err);
	free(f);
	return rc;
}

/* What page_add_cut needs, through one pointer. */
struct cut_page {
	const struct run *run;
	struct cut_record record;
};

static void cut_part(struct text *t, void *result)
{
	struct cut_page *c = result;

	page_add_cut(t, c->run, &c->record);
}

static int report_cut(struct report *r, const struct run *run, struct error *err)
{
	struct cut_page c = { .run = run };
	int rc = cut_load(&c.record, run->path, err);

	if (!rc && r->csv.file) {
		if (!r->runs)
			cut_csv_header(&r->text);
		cut_csv_add(&r->text, run, &c.record);
		rc = result_file_write(&r->csv, &r->text, err);
	}
	if (!rc && r->page.file)
		rc = write_page(r, run, cut_part, NULL, &c, err);
	if (!rc && !wants_files(r))
		rc = show_cut(run, &c.record, err);
	cut_record_release(&c.record);
	return rc;
}

static void verify_part(struct text *t, void *result)
{
	page_add_verify(t, result);
}

static void verify_found(void *result, const struct notice_visitor *visitor)
{
	verify_sentences_visit(result, visitor);
}

static int report_verified(struct report *r, const struct run *run, struct error *err)
{
	struct verify_record v;
	int rc = verify_load(&v, run->path, err);

	if (rc < 0)
		return rc;
	if (r->csv.file) {
		if (!r->runs)
			verify_csv_add_header(&r->text);
		for (size_t i = 0; i < v.range_count; i++)
			verify_csv_add(&r->text, &v.ranges[i]);
		rc = result_file_write(&r->csv, &r->text, err);
	}
	if (!rc && r->page.file)
		rc = write_page(r, run, verify_part, verify_found, &v, err);
	/* A run that ended before its plan was written has a head and a reason. */
	if (!rc && !wants_files(r))
		rc = v.planned ? show_verify(&v, err) : show_summary(&v.run, err);
	verify_record_release(&v);
	return rc;
}

static const struct report_kind {
	const char *kind;
	bool has_csv;
	kind_reporter *report;
} kinds[] = {
	{ "sweep", true, report_sweep },
	{ "observe", true, report_observed },
	{ "audit", false, report_audit },
	{ "verify", true, report_verified },
	{ "journal", true, report_cut },
};

static const struct report_kind *kind_of(const struct run *run, struct error *err)
{
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (!strcmp(kinds[i].kind, run->head.kind))
			return &kinds[i];
	error_set(err, ERROR_USAGE, "'%s' is a record of '%s', which report does not show",
		run->path, run->head.kind);
	return NULL;
}

/* Kinds of run have their own columns, so one CSV holds one kind. */
static int check_csv(
	struct report *r, const struct report_kind *kind, const struct run *run, struct error *err)
{
	if (r->csv.file && !kind->has_csv)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s, which has no CSV; leave --csv away", run->path,
			run->head.kind);
	if (r->csv.file && r->before && r->before != kind)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s and has other columns than the runs before it; write "
			"its CSV to a file of its own",
			run->path, run->head.kind);
	r->before = kind;
	return 0;
}

static int report_one(struct report *r, const char *path, struct error *err)
{
	const struct report_kind *kind;
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	kind = kind_of(&run, err);
	rc = kind ? check_csv(r, kind, &run, err) : -1;
	if (!rc && r->runs && !wants_files(r))
		putchar('\n');
	if (!rc)
		rc = kind->report(r, &run, err);
	run_release(&run);
	r->runs++;
	return rc;
}

static int take_side(struct compared *c, const struct report *r, const struct options *o, int side,
	struct error *err)
{
	for (size_t i = 0; i < o->arg_count; i++)
		if (r->side[i] == side &&
			compared_take(c, side ? COMPARE_NEW : COMPARE_BASE, o->args[i], err) < 0)
			return -1;
	return 0;
}

static void note_build(struct report *r, const struct run *run, size_t index)
{
	size_t side = 0;

	while (side < r->build_count && side < 2 && strcmp(r->builds[side], run->head.label) != 0)
		side++;
	if (side == r->build_count && side < 2)
		text_copy(r->builds[side], sizeof r->builds[side], run->head.label);
	if (side == r->build_count)
		r->build_count++;
	r->side[index] = (signed char)side;
}

/* Which sweep belongs to which build has to be known before the first of them is shown. */
static int note_builds(struct report *r, const struct options *o, struct error *err)
{
	for (size_t i = 0; i < o->arg_count; i++) {
		struct run run;

		r->side[i] = -1;
		if (run_load(&run, o->args[i], err) < 0)
			return -1;
		if (!strcmp(run.head.kind, "sweep"))
			note_build(r, &run, i);
		run_release(&run);
	}
	return 0;
}

/* Sweeps of just two builds are set against each other, first of all on the page, the one named first as the base. What keeps them from being
 * compared is said on the page; only a failing machine fails the report. */
static int add_comparison(struct report *r, const struct options *o, struct error *err)
{
	struct error why = { 0 };
	struct compared c;
	size_t runs[2] = { 0 };
	int rc;

	if (o->arg_count < 2)
		return 0;
	if (note_builds(r, o, err) < 0)
		return -1;
	if (r->build_count != 2)
		return 0;
	for (size_t i = 0; i < o->arg_count; i++)
		if (r->side[i] >= 0)
			runs[(int)r->side[i]]++;
	compared_init(&c, runs[0], runs[1], true);
	rc = take_side(&c, r, o, 0, &why) < 0 || take_side(&c, r, o, 1, &why) < 0 ||
			     compared_finish(&c, &why) < 0
		     ? -1
		     : 0;
	begin_page(r, NULL);
	page_heading(&r->text, "Comparison of two builds");
	if (!rc) {
		page_add_comparison(&r->text, &c);
	} else if (why.kind != ERROR_IO) {
		page_paragraph(&r->text, why.text);
		rc = 0;
	} else {
		*err = why;
	}
	compared_release(&c);
	return rc;
}

static int finish_files(struct report *r, struct error *err)
{
	if (r->page.file) {
		page_end(&r->text);
		if (result_file_write(&r->page, &r->text, err) < 0)
			return -1;
	}
	if (result_file_finish(&r->csv, err) < 0)
		return -1;
	return result_file_finish(&r->page, err);
}

int cmd_report(const struct options *o)
{
	struct report r = { 0 };
	struct error err = { 0 };
	int rc = open_files(&r, o, &err);

	text_init(&r.text);
	if (!rc && r.page.file)
		rc = add_comparison(&r, o, &err);
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = report_one(&r, o->args[i], &err);
	if (!rc)
		rc = finish_files(&r, &err);
	result_file_drop(&r.csv);
	result_file_drop(&r.page);
	text_release(&r.text);
	return rc < 0 ? message_error(&err) : 0;
}
