/* report: the summary, CSV and page of finished or cut records. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/show.h"
#include "record/run.h"
#include "report/csv.h"

struct csv_file {
	FILE *file; /* NULL: not asked for */
	const char *path;
};

static int csv_open(struct csv_file *csv, const struct options *o, struct error *err)
{
	csv->path = options_text(o, OPTION_CSV_FILE, NULL);
	if (!csv->path)
		return 0;
	csv->file = strcmp(csv->path, "-") ? fopen(csv->path, "we") : stdout;
	if (!csv->file)
		return error_sys(err, ERROR_USAGE, errno, "cannot write '%s'", csv->path);
	return 0;
}

static int csv_flush_text(struct csv_file *csv, struct text *t, struct error *err)
{
	if (t->failed)
		return error_set(err, ERROR_IO, "out of memory for the CSV");
	if (fwrite(t->bytes, 1, t->length, csv->file) != t->length)
		return error_sys(err, ERROR_IO, errno, "cannot write '%s'", csv->path);
	text_reset(t);
	return 0;
}

static int csv_write(struct csv_file *csv, const struct run *run, bool header, struct error *err)
{
	struct text t;
	int rc = 0;

	text_init(&t);
	if (header) {
		csv_add_header(&t);
		rc = csv_flush_text(csv, &t, err);
	}
	for (size_t i = 0; !rc && i < run->pass_count; i++) {
		csv_add_pass(&t, run, &run->passes[i]);
		rc = csv_flush_text(csv, &t, err);
	}
	text_release(&t);
	return rc;
}

/* stdout is closed, and its errors found, by the dispatcher. */
static int csv_close(struct csv_file *csv, struct error *err)
{
	FILE *file = csv->file;

	csv->file = NULL;
	if (!file || file == stdout)
		return 0;
	if (fclose(file) != 0)
		return error_sys(err, ERROR_IO, errno, "cannot write '%s'", csv->path);
	return 0;
}

static int report_one(const char *path, struct csv_file *csv, bool first, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	if (csv->file) {
		rc = csv_write(csv, &run, first, err);
	} else {
		if (!first)
			putchar('\n');
		rc = show_summary(&run, err);
	}
	run_release(&run);
	return rc;
}

int cmd_report(const struct options *o)
{
	struct csv_file csv = { 0 };
	struct error err = { 0 };
	int rc = csv_open(&csv, o, &err);

	for (size_t i = 0; !rc && i < o->arg_count; i++)
		rc = report_one(o->args[i], &csv, i == 0, &err);
	if (!rc)
		rc = csv_close(&csv, &err);
	else if (csv.file)
		csv_close(&csv, NULL);
	return rc < 0 ? message_error(&err) : 0;
}
