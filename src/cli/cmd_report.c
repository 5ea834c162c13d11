/* report: the summary, CSV and page of finished or cut records. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/report_builds.h"
#include "cli/results.h"
#include "cli/show.h"
#include "findings/notices.h"
#include "findings/record_view.h"
#include "record/cut_load.h"
#include "record/run.h"
#include "report/cut_text.h"
#include "report/page.h"
#include "report/page_cut.h"

struct report {
	struct results out;
};

static bool wants_files(const struct report *r)
{
	return !r->out.wants_text;
}

/* ---- kinds of run without a view ---- */

/* What a kind of run adds to its part of the page after the facts, and before them under what was found (NULL: nothing
 * more than the notices). */
typedef void page_part(struct text *t, void *result);
typedef void page_sentences(void *result, const struct notice_visitor *visitor);

/* A page of several runs has a title of its own. */
static void begin_page(struct report *r, const struct run *first)
{
	if (!r->out.page_begun)
		page_begin(&r->out.text,
			first && *first->head.label ? first->head.label : "blkassay report", NULL);
	r->out.page_begun = true;
}

static int write_page(struct report *r, const struct run *run, page_part *part,
	page_sentences *sentences, void *result, struct error *err)
{
	struct page_found found = { result, sentences };

	begin_page(r, run);
	if (page_add_run(&r->out.text, run, sentences ? &found : NULL, err) < 0)
		return -1;
	if (part)
		part(&r->out.text, result);
	return result_file_write(&r->out.page, &r->out.text, err);
}

/* ---- one function a kind of run: each loads what is its own and writes what was asked for ---- */

typedef int kind_reporter(struct report *r, const struct run *run, struct error *err);

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

	if (!rc && r->out.csv.file) {
		if (!r->out.shown)
			cut_csv_header(&r->out.text);
		cut_csv_add(&r->out.text, run, &c.record);
		rc = result_file_write(&r->out.csv, &r->out.text, err);
	}
	if (!rc && r->out.page.file)
		rc = write_page(r, run, cut_part, NULL, &c, err);
	if (!rc && !wants_files(r))
		rc = show_cut(run, &c.record, err);
	cut_record_release(&c.record);
	return rc;
}

static const struct report_kind {
	const char *kind;
	bool has_csv;
	kind_reporter *report;
} kinds[] = {
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

static int check_files(
	struct report *r, const struct report_kind *kind, const struct run *run, struct error *err)
{
	char *csv_kind = r->out.csv_kind;

	if (r->out.json.file)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s, which has no JSON; leave --json away", run->path,
			run->head.kind);
	if (r->out.csv.file && !kind->has_csv)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s, which has no CSV; leave --csv away", run->path,
			run->head.kind);
	if (r->out.csv.file && *csv_kind && strcmp(csv_kind, kind->kind) != 0)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s and has other columns than the runs before it; write "
			"its CSV to a file of its own",
			run->path, run->head.kind);
	text_copy(csv_kind, sizeof r->out.csv_kind, kind->kind);
	return 0;
}

static int report_without_view(struct report *r, const char *path, struct error *err)
{
	const struct report_kind *kind;
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	kind = kind_of(&run, err);
	rc = kind ? check_files(r, kind, &run, err) : -1;
	if (!rc && r->out.shown && !wants_files(r))
		putchar('\n');
	if (!rc)
		rc = kind->report(r, &run, err);
	if (!rc && wants_files(r))
		show_kept_warning(&run);
	run_release(&run);
	r->out.shown++;
	return rc;
}

static int report_one(struct report *r, const char *path, struct error *err)
{
	return record_view_knows(path) ? results_show_record(&r->out, path, err)
				       : report_without_view(r, path, err);
}

int cmd_report(const struct options *o)
{
	struct report r = { 0 };
	struct error err = { 0 };
	int rc = results_open(&r.out, o, &err);

	if (rc < 0)
		return message_error(&err);
	rc = report_builds(&r.out, o, &err);
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = report_one(&r, o->args[i], &err);
	if (!rc)
		rc = results_finish(&r.out, &err);
	results_release(&r.out);
	return rc < 0 ? message_error(&err) : 0;
}
