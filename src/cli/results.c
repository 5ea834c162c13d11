/* Where the results of a command go. */
#include "cli/results.h"

#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "cli/options.h"
#include "cli/output.h"
#include "cli/screen.h"
#include "findings/record_view.h"
#include "report/csv.h"
#include "report/json.h"
#include "report/page.h"
#include "report/sink.h"
#include "report/text_view.h"

/* ---- files ---- */

enum { FILES = 3 };

static const enum option_id file_options[FILES] = {
	OPTION_CSV_FILE,
	OPTION_PAGE,
	OPTION_JSON,
};

static int refuse_same(const struct options *o, struct error *err)
{
	for (int i = 0; i < FILES; i++)
		for (int k = i + 1; k < FILES; k++) {
			const char *a = options_text(o, file_options[i], NULL);
			const char *b = options_text(o, file_options[k], NULL);

			if (a && b && !strcmp(a, b))
				return error_set(err, ERROR_USAGE,
					"--%s and --%s both name '%s'; give each its own file",
					option_spec(file_options[i])->name,
					option_spec(file_options[k])->name, a);
		}
	return 0;
}

int results_check_target(const struct options *o, const struct blockdev *device, const char *target,
	struct error *err)
{
	for (int i = 0; i < FILES; i++) {
		const char *path = options_text(o, file_options[i], "-");

		if (strcmp(path, "-") != 0 && output_check_target(path, device, target, err) < 0)
			return -1;
	}
	return 0;
}

int results_open(
	struct results *r, const struct options *o, enum results_text text, struct error *err)
{
	struct result_file *files[FILES] = { &r->csv, &r->page, &r->json };
	bool any = false, to_stdout = false;

	*r = (struct results){ 0 };
	if (refuse_same(o, err) < 0)
		return -1;
	for (int i = 0; i < FILES; i++) {
		const char *path = options_text(o, file_options[i], NULL);

		if (!path)
			continue;
		if (result_file_open(files[i], path, err) < 0) {
			results_release(r);
			return -1;
		}
		any = true;
		to_stdout = to_stdout || !strcmp(path, "-");
	}
	r->wants_text = text == RESULTS_TEXT_ALWAYS ? !to_stdout : !any;
	text_init(&r->text);
	return 0;
}

void results_release(struct results *r)
{
	result_file_drop(&r->csv);
	result_file_drop(&r->page);
	result_file_drop(&r->json);
	text_release(&r->text);
}

/* ---- one view ---- */

static int take(void *file, struct text *t, struct error *err)
{
	return result_file_write(file, t, err);
}

/* Kinds of run have their own columns, so one CSV holds one kind. */
static int check_csv(const struct results *r, const struct view *v, struct error *err)
{
	if (!csv_has(v))
		return error_set(
			err, ERROR_USAGE, "a run of %s has no CSV; leave --csv away", v->kind);
	if (*r->csv_kind && strcmp(r->csv_kind, v->kind) != 0)
		return error_set(err, ERROR_USAGE,
			"a run of %s has other columns than those of %s before it; write its CSV "
			"to a file of its own",
			v->kind, r->csv_kind);
	return 0;
}

static int add_csv(struct results *r, const struct view *v, struct error *err)
{
	struct sink sink = { &r->csv, take };

	if (check_csv(r, v, err) < 0 || csv_add_view(&r->text, v, !*r->csv_kind, &sink, err) < 0)
		return -1;
	text_copy(r->csv_kind, sizeof r->csv_kind, v->kind);
	return 0;
}

static int add_page(struct results *r, const struct view *v, struct error *err)
{
	if (!r->page_begun)
		page_begin(&r->text, v->title);
	r->page_begun = true;
	page_add_view(&r->text, v);
	return result_file_write(&r->page, &r->text, err);
}

static int add_json(struct results *r, const struct view *v, struct error *err)
{
	struct sink sink = { &r->json, take };

	return json_add_view(&r->text, v, &sink, err);
}

/* That all of it was written is checked at the end, for all commands. */
static int add_text(struct results *r, const struct view *v, struct error *err)
{
	struct text_style style;

	screen_style(&style);
	if (r->shown)
		text_adds(&r->text, "\n");
	if (text_view_add(&r->text, v, &style, err) < 0)
		return -1;
	fwrite(r->text.bytes, 1, r->text.length, stdout);
	text_reset(&r->text);
	return 0;
}

int results_show(struct results *r, const struct view *v, struct error *err)
{
	if (r->csv.file && add_csv(r, v, err) < 0)
		return -1;
	if (r->page.file && add_page(r, v, err) < 0)
		return -1;
	if (r->json.file && add_json(r, v, err) < 0)
		return -1;
	if (r->wants_text && add_text(r, v, err) < 0)
		return -1;
	r->shown++;
	return 0;
}

int results_show_record(struct results *r, const char *path, struct error *err)
{
	struct view v;
	int rc = record_view(&v, path, err);

	if (rc < 0)
		return rc;
	rc = results_show(r, &v, err);
	view_release(&v);
	return rc;
}

int results_finish(struct results *r, struct error *err)
{
	if (r->page_begun) {
		page_end(&r->text);
		if (result_file_write(&r->page, &r->text, err) < 0)
			return -1;
	}
	if (result_file_finish(&r->csv, err) < 0 || result_file_finish(&r->page, err) < 0)
		return -1;
	return result_file_finish(&r->json, err);
}
