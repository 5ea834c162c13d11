/* report: the summary, CSV and page of finished or cut records. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/result_file.h"
#include "cli/show.h"
#include "record/observe.h"
#include "record/run.h"
#include "record/verify.h"
#include "report/csv.h"
#include "report/observe_text.h"
#include "report/page.h"
#include "report/page_observe.h"
#include "report/verify_text.h"

/* Where the report goes: files that were asked for, else the summary to stdout. */
struct report {
	struct result_file csv, page;
	struct text text;
	size_t runs;
	const char *columns; /* of the CSV so far: a kind of run */
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

/* seen: NULL unless the run is an observation. */
static int write_page(
	struct report *r, const struct run *run, const struct observation *seen, struct error *err)
{
	if (!r->runs)
		page_begin(&r->text, *run->head.label ? run->head.label : "blkassay report");
	if (page_add_run(&r->text, run, err) < 0)
		return -1;
	if (seen)
		page_add_observation(&r->text, seen);
	return result_file_write(&r->page, &r->text, err);
}

/* Kinds of run have their own columns, so one CSV holds one kind. */
static int check_kind(struct report *r, const struct run *run, struct error *err)
{
	static const char *const own[] = { "observe", "verify" };
	const char *columns = "passes";

	for (size_t i = 0; i < sizeof own / sizeof *own; i++)
		if (!strcmp(run->head.kind, own[i]))
			columns = own[i];
	if (r->runs && r->csv.file && strcmp(r->columns, columns) != 0)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of %s and has other columns than the runs before it; write "
			"its CSV to a file of its own",
			run->path, run->head.kind);
	r->columns = columns;
	return 0;
}

static int report_observed(struct report *r, const char *path, struct error *err)
{
	struct observation o;
	struct run run;
	int rc = observe_load(&run, &o, path, err);

	if (rc < 0)
		return rc;
	if (r->csv.file) {
		if (!r->runs)
			observe_csv_header(&r->text);
		observe_csv(&r->text, &run, &o);
		rc = result_file_write(&r->csv, &r->text, err);
	}
	if (!rc && r->page.file)
		rc = write_page(r, &run, &o, err);
	if (!rc && !wants_files(r)) {
		observe_text(&r->text, &run, &o);
		if (r->text.failed)
			rc = error_set(err, ERROR_IO, "out of memory for the summary");
		fwrite(r->text.bytes, 1, r->text.length, stdout);
		text_reset(&r->text);
	}
	observation_release(&o);
	run_release(&run);
	return rc;
}

static int report_verified(struct report *r, const char *path, struct error *err)
{
	struct verify_record v;
	int rc = 0;

	if (r->page.file)
		return error_set(err, ERROR_USAGE,
			"'%s' is a run of verify, which has no page; its summary and --csv show "
			"all",
			path);
	if (verify_load(&v, path, err) < 0)
		return -1;
	if (r->csv.file) {
		if (!r->runs)
			verify_csv_add_header(&r->text);
		for (size_t i = 0; i < v.range_count; i++)
			verify_csv_add(&r->text, &v.ranges[i]);
		rc = result_file_write(&r->csv, &r->text, err);
	} else {
		/* A run that ended before its plan was written has a head and a reason. */
		rc = v.planned ? show_verify(&v, err) : show_summary(&v.run, err);
	}
	verify_record_release(&v);
	return rc;
}

static int report_one(struct report *r, const char *path, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	rc = check_kind(r, &run, err);
	if (!rc && r->runs && !wants_files(r))
		putchar('\n');
	if (!rc && !strcmp(r->columns, "observe")) {
		rc = report_observed(r, path, err);
	} else if (!rc && !strcmp(r->columns, "verify")) {
		rc = report_verified(r, path, err);
	} else {
		if (!rc && r->csv.file)
			rc = write_csv(r, &run, err);
		if (!rc && r->page.file)
			rc = write_page(r, &run, NULL, err);
		if (!rc && !wants_files(r))
			rc = show_summary(&run, err);
	}
	run_release(&run);
	r->runs++;
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
	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = report_one(&r, o->args[i], &err);
	if (!rc)
		rc = finish_files(&r, &err);
	result_file_drop(&r.csv);
	result_file_drop(&r.page);
	text_release(&r.text);
	return rc < 0 ? message_error(&err) : 0;
}
