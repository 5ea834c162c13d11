/* Where the results of a command go. */
#include "cli/results.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/error.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/options.h"
#include "cli/out_path.h"
#include "cli/session.h"
#include "cli/terminal.h"
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

static const char *name_of(const char *path)
{
	const char *slash = strrchr(path, '/');

	return slash ? slash + 1 : path;
}

static int stat_folder(struct stat *st, const char *path)
{
	char folder[PATH_MAX];
	size_t n = (size_t)(name_of(path) - path);

	snprintf(folder, sizeof folder, "%.*s%s", (int)n, path, n ? "" : ".");
	return stat(folder, st);
}

/* Two ways to write the same path, whether there is anything yet or not. */
static bool is_same(const char *a, const char *b)
{
	struct stat x, y;

	if (strcmp(name_of(a), name_of(b)) != 0)
		return false;
	return stat_folder(&x, a) == 0 && stat_folder(&y, b) == 0 && x.st_dev == y.st_dev &&
	       x.st_ino == y.st_ino;
}

static int refuse_same(const struct options *o, struct error *err)
{
	for (int i = 0; i < FILES; i++)
		for (int k = i + 1; k < FILES; k++) {
			const char *a = options_text(o, file_options[i], NULL);
			const char *b = options_text(o, file_options[k], NULL);

			if (a && b && (!strcmp(a, b) || is_same(a, b)))
				return error_set(err, ERROR_USAGE,
					"--%s and --%s both name '%s'; give each its own file",
					option_spec(file_options[i])->name,
					option_spec(file_options[k])->name, a);
		}
	return 0;
}

/* Whether a file may lie there. */
struct place {
	const char *record; /* of the run; NULL: there is none */
	const struct out_path_target *target; /* NULL: anywhere */
	const struct session *session; /* NULL: the one above tells */
};

static int check_place(const struct place *p, const char *path, struct error *err)
{
	if (!strcmp(path, "-"))
		return 0;
	if (p->record && is_same(path, p->record))
		return error_set(err, ERROR_USAGE,
			"'%s' is where the run's record goes; give each its own file", path);
	if (p->session)
		return session_check_output(p->session, path, err);
	return p->target ? out_path_check_target(path, p->target, err) : 0;
}

static int open_files(
	struct results *r, const struct options *o, const struct place *place, struct error *err)
{
	struct whole_file *files[FILES] = { &r->csv, &r->page, &r->json };

	for (int i = 0; i < FILES; i++) {
		const char *path = options_text(o, file_options[i], NULL);

		if (!path)
			continue;
		if (check_place(place, path, err) < 0 || whole_file_open(files[i], path, err) < 0)
			return -1;
		r->any_file = true;
		r->to_stdout = r->to_stdout || !strcmp(path, "-");
	}
	return 0;
}

static int open_all(
	struct results *r, const struct options *o, const struct place *place, struct error *err)
{
	*r = (struct results){ 0 };
	if (refuse_same(o, err) < 0)
		return -1;
	text_init(&r->text);
	if (open_files(r, o, place, err) < 0) {
		results_release(r);
		return -1;
	}
	r->wants_text = !r->to_stdout;
	return 0;
}

int results_open(struct results *r, const struct options *o, struct error *err)
{
	int rc = open_all(r, o, &(struct place){ 0 }, err);

	r->wants_text = !r->any_file;
	r->several = o->arg_count > 1;
	return rc;
}

int results_open_on(struct results *r, const struct options *o, const char *record,
	const struct out_path_target *target, struct error *err)
{
	return open_all(r, o, &(struct place){ record, target, NULL }, err);
}

int results_open_in(struct results *r, const struct options *o, const char *record,
	const struct session *s, struct error *err)
{
	return open_all(r, o, &(struct place){ .record = record, .session = s }, err);
}

void results_release(struct results *r)
{
	whole_file_drop(&r->csv);
	whole_file_drop(&r->page);
	whole_file_drop(&r->json);
	text_release(&r->text);
}

/* ---- one view ---- */

static int take(void *file, struct text *t, struct error *err)
{
	return whole_file_write(file, t, err);
}

/* Kinds of run have their own columns, so one CSV holds one kind. */
static int check_csv(const struct results *r, const struct view *v, struct error *err)
{
	if (!csv_has(v))
		return error_set(err, ERROR_USAGE, "'%s' has no CSV; leave out --csv", v->kind);
	if (*r->csv_kind && strcmp(r->csv_kind, v->kind) != 0)
		return error_set(err, ERROR_USAGE,
			"results of '%s' have other columns than those of '%s' before them; write "
			"their CSV to a file of its own",
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
		page_begin(&r->text, v->title, v->findings.list[0].sentence);
	r->page_begun = true;
	page_add_view(&r->text, v, r->shown);
	return whole_file_write(&r->page, &r->text, err);
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

	terminal_style(&style);
	style.one_of_several = r->several;
	if (r->shown && !style.brief)
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
	return results_show_beside(r, v, err);
}

int results_show_beside(struct results *r, const struct view *v, struct error *err)
{
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
	if (!rc && r->any_file)
		kept_warning_of(path);
	return rc;
}

int results_end(struct results *r, const char *path, int status)
{
	struct error err = { 0 };
	int shown = 0;

	/* Refused before any I/O: a record of that name is of another run. */
	if (status != 2 && access(path, F_OK) == 0 &&
		(results_show_record(r, path, &err) < 0 || results_finish(r, &err) < 0))
		shown = message_error(&err);
	results_release(r);
	return shown && (status == 0 || status == 1 || status == 4) ? shown : status;
}

int results_finish(struct results *r, struct error *err)
{
	if (r->page_begun) {
		page_end(&r->text);
		if (whole_file_write(&r->page, &r->text, err) < 0)
			return -1;
	}
	if (whole_file_finish(&r->csv, err) < 0 || whole_file_finish(&r->page, err) < 0)
		return -1;
	return whole_file_finish(&r->json, err);
}
