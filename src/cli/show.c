/* A run's summary on standard output. */
#include "cli/show.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/screen.h"
#include "findings/kept_words.h"
#include "record/audit.h"
#include "record/run.h"
#include "report/audit_text.h"
#include "report/cut_text.h"
#include "report/text_view.h"

/* Before anything else, for kinds without a view: where the target's own data is, and in a line of its own, to be copied,
 * how to get it back. */
static void add_kept(struct text *t, const struct run *run, const struct text_style *style)
{
	struct text sentence, command;
	struct text_view v;

	text_init(&sentence);
	text_init(&command);
	text_view_begin(&v, t, style);
	if (kept_words(&sentence, &command, run)) {
		text_view_notice(&v, NOTICE_CAUTION, sentence.bytes);
		if (command.length)
			text_view_command(&v, command.bytes);
		text_adds(t, "\n");
	}
	text_view_end(&v);
	t->failed = t->failed || sentence.failed || command.failed;
	text_release(&sentence);
	text_release(&command);
}

/* An audit has lines of its own, which run_load leaves to others. */
static int add_audit(
	struct text *t, const struct run *run, const struct text_style *style, struct error *err)
{
	struct promises *f = malloc(sizeof *f);
	int rc = f ? audit_load(f, run->path, err) : error_set(err, ERROR_IO, "out of memory");

	add_kept(t, run, style);
	if (!rc)
		rc = audit_text_add(t, run, f, style, err);
	free(f);
	return rc;
}

/* An empty text, and the style for it. */
static void begin(struct text *t, struct text_style *style)
{
	screen_style(style);
	text_init(t);
}

/* Prints it if it could be made (rc 0). That all of it was written is checked at the end, for all commands. */
static int print(struct text *t, int rc)
{
	if (!rc)
		fwrite(t->bytes, 1, t->length, stdout);
	text_release(t);
	return rc;
}

int show_summary(const struct run *run, struct error *err)
{
	struct text_style style;
	struct text t;

	begin(&t, &style);
	return print(&t, !strcmp(run->head.kind, "audit")
				 ? add_audit(&t, run, &style, err)
				 : text_view_add_run(&t, run, &style, err));
}

int show_cut(const struct run *run, const struct cut_record *r, struct error *err)
{
	struct text_style style;
	struct text t;

	begin(&t, &style);
	add_kept(&t, run, &style);
	return print(&t, cut_text_add(&t, run, r, &style, err));
}

/* Loads it first, so that the user sees what was kept, not what was meant. */
static int show_record(const char *path, struct error *err)
{
	struct run run;
	int rc = run_load(&run, path, err);

	if (rc < 0)
		return rc;
	rc = show_summary(&run, err);
	run_release(&run);
	return rc;
}

void show_kept_warning(const struct run *run)
{
	struct text sentence, command;

	text_init(&sentence);
	text_init(&command);
	if (!kept_words(&sentence, &command, run))
		;
	else if (command.length)
		message_warning("'%s': %s\n  %s", run->path, sentence.bytes, command.bytes);
	else
		message_warning("'%s': %s", run->path, sentence.bytes);
	text_release(&sentence);
	text_release(&command);
}

void show_kept_warning_of(const char *path)
{
	char saved[1024];
	struct run run;

	snprintf(saved, sizeof saved, "%s.kept", path);
	if (access(saved, F_OK) < 0 || run_load(&run, path, NULL) < 0)
		return;
	show_kept_warning(&run);
	run_release(&run);
}

int show_finished(const char *path, int status)
{
	struct error err = { 0 };
	int shown = 0;

	if (access(path, F_OK) == 0 && show_record(path, &err) < 0)
		shown = message_error(&err);
	return status == 0 ? shown : status;
}
