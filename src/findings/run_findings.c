/* What any run's record says about itself. */
#include "findings/run_findings.h"

#include <string.h>

#include "base/text.h"
#include "findings/kept_words.h"
#include "record/run.h"

enum { KEPT_AWAY, MODELLED, NOT_KNOWN, IMAGE, NO_END, INTERRUPTED, ENDED_EARLY, DAMAGED };

const struct finding_code run_finding_codes[] = {
	[KEPT_AWAY] = { "kept-data-away", FINDING_CAUTION, false,
		"as far as the record tells, what --keep-data saved was not put back; the command "
		"does it, where the saved file is",
		"saved_file start_bytes kept_bytes command" },
	[MODELLED] = { "modelled", FINDING_CAUTION, false,
		"the target is a gadget model: nothing was measured", NULL },
	[NOT_KNOWN] = { "model-not-known", FINDING_CAUTION, false,
		"the model was made from a run that could not tell all of it", "what" },
	[IMAGE] = { "image-file", FINDING_CAUTION, false,
		"the target is a file: its disk and filesystem were measured, no removable drive",
		NULL },
	[NO_END] = { "no-end", FINDING_CAUTION, false,
		"the record has no end: the run was killed, or its machine went down", NULL },
	[INTERRUPTED] = { "interrupted", FINDING_CAUTION, false,
		"somebody stopped the run before its end", NULL },
	[ENDED_EARLY] = { "ended-early", FINDING_CAUTION, false,
		"the run failed before its end; the sentence says why", NULL },
	[DAMAGED] = { "record-damaged", FINDING_CAUTION, false,
		"lines of the record are damaged or missing", "lines" },
};

const size_t run_finding_code_count = sizeof run_finding_codes / sizeof *run_finding_codes;

static void add_kept(struct findings *f, const struct run *run)
{
	const struct run_kept *k = &run->kept;
	struct text sentence, command;
	struct finding *one;

	text_init(&sentence);
	text_init(&command);
	if (kept_words(&sentence, &command, run)) {
		one = finding_add(f, &run_finding_codes[KEPT_AWAY], "%s", sentence.bytes);
		finding_figure(one, "saved_file", value_text(k->there ? k->saved : NULL));
		finding_figure(one, "start_bytes", value_bytes(k->start));
		finding_figure(one, "kept_bytes", value_bytes(k->bytes));
		if (command.length)
			finding_command(f, one, command.bytes);
		else
			finding_figure(one, "command", value_text(NULL));
	}
	f->pool->failed = f->pool->failed || sentence.failed || command.failed;
	text_release(&sentence);
	text_release(&command);
}

static void add_target(struct findings *f, const struct run *run)
{
	if (run->target.modelled)
		finding_add(f, &run_finding_codes[MODELLED],
			"These figures are modelled, not measured: the target is a gadget model on "
			"a virtual clock.");
	if (*run->target.not_known)
		finding_figure(finding_add(f, &run_finding_codes[NOT_KNOWN],
				       "The model was made from a run that could not tell: %s. "
				       "What rests on "
				       "that may differ from the gadget.",
				       run->target.not_known),
			"what", value_text(run->target.not_known));
	if (!strcmp(run->target.kind, "image"))
		finding_add(f, &run_finding_codes[IMAGE],
			"The target is an image file: these are figures of the disk and filesystem "
			"it lies on, not of a removable drive.");
}

static void add_end(struct findings *f, const struct run *run)
{
	if (!run->end.present)
		finding_add(f, &run_finding_codes[NO_END],
			"The record has no end: the run was stopped or its machine went down while "
			"it was being written. What follows rests on what came before.");
	else if (!strcmp(run->end.status, "interrupted"))
		finding_add(f, &run_finding_codes[INTERRUPTED],
			"The run was interrupted; what was finished before that is intact.");
	else if (strcmp(run->end.status, "complete") != 0)
		finding_add(f, &run_finding_codes[ENDED_EARLY], "The run ended early: %s.",
			*run->end.reason ? run->end.reason : run->end.status);
}

static void add_damage(struct findings *f, const struct run *run)
{
	char damage[RUN_DAMAGE_MAX];

	if (run_damage_words(damage, run))
		finding_figure(finding_add(f, &run_finding_codes[DAMAGED],
				       "%s: do not rest a decision on what is left.", damage),
			"lines", value_count(run->damaged_lines));
}

void run_findings_add(struct findings *f, const struct run *run)
{
	add_kept(f, run);
	add_target(f, run);
	add_end(f, run);
	add_damage(f, run);
}
