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
#include "record/run.h"
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

int show_cut(const struct run *run, const struct cut_record *r, struct error *err)
{
	struct text_style style;
	struct text t;

	begin(&t, &style);
	add_kept(&t, run, &style);
	return print(&t, cut_text_add(&t, run, r, &style, err));
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
