/* Kept data that is not back. */
#include "findings/kept_words.h"

#include "base/shell.h"
#include "base/size.h"
#include "base/text.h"
#include "record/run.h"

static void add_command(struct text *t, const struct run *run)
{
	const struct run_kept *k = &run->kept;

	text_adds(t, "blkassay restore ");
	shell_add_word(t, k->saved, true);
	text_adds(t, " ");
	shell_add_word(t, *k->target ? k->target : run->target.path, true);
}

static void add_amount(struct text *t, const struct run_kept *k)
{
	char size[SIZE_TEXT_MAX];

	text_addf(
		t, "%s from byte %llu", size_format(size, k->bytes), (unsigned long long)k->start);
}

static void say_saving(struct text *t, const struct run_kept *k)
{
	text_adds(t, "The run was stopped while it saved the target's data: nothing was written to "
		     "the target.");
	if (k->there)
		text_addf(t, " What it saved so far, '%s', is not whole and can be deleted.",
			k->saved);
}

static void say_away(struct text *t, const struct run_kept *k)
{
	if (k->state == RUN_KEPT_LEFT)
		text_adds(t, "The target holds what the cut left there, and its own data (");
	else
		text_adds(t, "The record ends before the target's own data was put back: what was "
			     "kept (");
	add_amount(t, k);
	if (k->there)
		text_addf(t, ") is in '%s'. %s", k->saved,
			k->state == RUN_KEPT_LEFT ? "Recheck first, then put it back; if that was "
						    "done, the file can go."
						  : "If it was not restored since, put it back:");
	else
		text_addf(t, ") is not in '%s' any more: it was put back and deleted, or moved.",
			*k->saved ? k->saved : "the saved file");
}

bool kept_words(struct text *sentence, struct text *command, const struct run *run)
{
	const struct run_kept *k = &run->kept;

	if (k->state == RUN_KEPT_NONE || k->state == RUN_KEPT_BACK)
		return false;
	/* One that failed while saving has said why, and has removed what it saved. */
	if (k->state == RUN_KEPT_SAVING && run->end.present)
		return false;
	if (k->state == RUN_KEPT_SAVING)
		say_saving(sentence, k);
	else
		say_away(sentence, k);
	if (k->state != RUN_KEPT_SAVING && k->there)
		add_command(command, run);
	return true;
}
