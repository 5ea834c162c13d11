/* --keep-data in a session. */
#include "cli/session_keep.h"

#include <limits.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/shell.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "integrity/kept.h"
#include "medium/medium.h"
#include "platform/clock.h"
#include "platform/interrupt.h"
#include "record/file.h"

void keep_restore_command(struct text *t, const char *saved, const char *target)
{
	text_adds(t, "blkassay restore ");
	shell_add_word(t, saved, false);
	text_adds(t, " ");
	shell_add_word(t, target, false);
}

/* ---- what the record says ---- */

/* "" where it is too long for the field: better none than that of another file. */
static void full_path(char *out, size_t room, const char *path)
{
	char folder[PATH_MAX];
	int n;

	if (*path == '/')
		n = snprintf(out, room, "%s", path);
	else if (getcwd(folder, sizeof folder))
		n = snprintf(out, room, "%s/%s", strcmp(folder, "/") ? folder : "", path);
	else
		n = (int)room;
	if (n < 0 || (size_t)n >= room - 1)
		out[0] = 0;
}

static int say(struct session_keep *k, struct record_writer *record, enum run_kept_state state,
	struct error *err)
{
	k->said.state = state;
	return record ? run_write_kept(record, &k->said, err) : 0;
}

static void let_go(struct session_keep *k)
{
	kept_close(k->kept);
	k->kept = NULL;
}

/* ---- before the first write ---- */

static void warn_of_test_data(const struct kept_own *own)
{
	char seed[48] = "";

	if (own->trace.stamped)
		snprintf(seed, sizeof seed, " (seed %llu)", (unsigned long long)own->trace.seed);
	message_warning(
		"%u of %u places looked at hold test data from this tool%s: that is what will be "
		"saved and put back. If an earlier run with --keep-data was stopped, stop here and "
		"restore first: 'blkassay report' of its record shows the command, and its saved "
		"file lies next to that record, as RECORD.kept.",
		own->own, own->looked, seed);
}

/* "512 KiB of the 4 MiB" */
static const char *own_part(const struct session_keep *k, char out[2 * SIZE_TEXT_MAX + 16])
{
	char own[SIZE_TEXT_MAX], all[SIZE_TEXT_MAX];

	snprintf(out, 2 * SIZE_TEXT_MAX + 16, "%s of the %s", size_format(own, k->own_bytes),
		size_format(all, k->said.bytes));
	return out;
}

static void warn_of_all_test_data(const struct session_keep *k)
{
	char part[2 * SIZE_TEXT_MAX + 16];

	if (k->own_bytes)
		message_warning("%s saved is test data from an earlier run of this tool",
			own_part(k, part));
}

int session_keep_save(struct session_keep *k, const struct kept_identity *id, struct medium *m,
	struct record_writer *record, const struct watch *watch, struct error *err)
{
	struct kept_own own;

	full_path(k->said.saved, sizeof k->said.saved, k->path);
	full_path(k->said.target, sizeof k->said.target, k->target);
	k->said.start = id->start;
	k->said.bytes = id->bytes;
	/* What cannot be read now will be told when it is saved. */
	if (kept_sample_own(id, m, &own) == 0 && own.own)
		warn_of_test_data(&own);
	if (say(k, record, RUN_KEPT_SAVING, err) < 0 ||
		kept_save(&k->kept, k->path, id, m, &k->own_bytes, watch, err) < 0)
		return -1;
	warn_of_all_test_data(k);
	if (say(k, record, RUN_KEPT_SAVED, err) == 0)
		return 0;
	kept_remove(k->kept, NULL);
	let_go(k);
	return -1;
}

/* ---- at the end ---- */

void keep_list_changed(const struct kept_look *look)
{
	char size[SIZE_TEXT_MAX];

	for (size_t i = 0; i < look->range_count; i++)
		message_note("  %s from byte %llu: %s", size_format(size, look->ranges[i].bytes),
			(unsigned long long)look->ranges[i].at,
			kept_there_words(look->ranges[i].there));
	if (look->ranges_all > look->range_count)
		message_note("  and %llu more stretch%s",
			(unsigned long long)(look->ranges_all - look->range_count),
			text_plural_es(look->ranges_all - look->range_count));
}

/* kind: what the putting back failed with. damaged: the saved data is. */
static int explain(
	const struct session_keep *k, enum error_kind kind, bool damaged, struct error *err)
{
	struct text command;

	text_init(&command);
	keep_restore_command(&command, k->path, k->target);
	error_add(err, "; the target does NOT hold its own data%s; %s %s%s",
		damaged ? "" : ", which is in the saved file",
		damaged                 ? "if there is no whole copy, put back what is whole:"
		: kind == ERROR_REFUSED ? "to look again, and to learn how to overwrite that, run:"
					: "when it answers again run:",
		command.bytes, damaged ? " --skip-damaged" : "");
	err->kind = ERROR_IO; /* what was refused is nothing that the user asked for */
	text_release(&command);
	return -1;
}

/* Put back and read, but somebody else came by in the meantime: what was saved is not removed. */
static int explain_doubt(const struct session_keep *k, const struct medium *m, struct error *err)
{
	medium_explain(m, err);
	error_add(err,
		"; its data had been put back by then, but what was saved of it stays in '%s'",
		k->path);
	return -1;
}

/* What was begun by writing is ended, whatever signal comes; but who sends one is told why nothing stops. */
struct put_back_watch {
	struct watch watch;
	struct progress *progress;
	unsigned signals; /* that were answered */
	uint64_t answered_ns;
};

static const uint64_t answer_every_ns = 1000000000; /* a held-down Ctrl-C gets no screenful */

static bool answer(void *context)
{
	struct put_back_watch *w = context;

	uint64_t now = clock_now_ns();

	if (interrupt_count() != w->signals && now - w->answered_ns > answer_every_ns) {
		w->signals = interrupt_count();
		w->answered_ns = now;
		message_warning("the target's own data is being put back, and that goes on: "
				"stopping now would leave the target without it");
	}
	return false;
}

static void pass_on(void *context, const struct watch_step *step)
{
	struct put_back_watch *w = context;

	watch_step(&w->progress->watch, step);
}

static void watch_patiently(struct put_back_watch *w, struct progress *p)
{
	*w = (struct put_back_watch){ .progress = p, .signals = interrupt_count() };
	w->watch = (struct watch){ .context = w, .stop = answer, .step = pass_on };
}

/* The list of what is changed stands before the sentence that says so. */
static int put_back(struct session_keep *k, struct medium *m, bool *damaged, struct error *err)
{
	struct kept_result result = { 0 };
	struct progress progress;
	struct put_back_watch patient;
	int rc;

	if (!m)
		return error_set(err, ERROR_IO, "'%s' is not open any more", k->target);
	if (medium_lost(m))
		return error_set(err, ERROR_IO,
			"nothing is put back on '%s', because it may not be the same any more",
			k->target);
	progress_start(&progress);
	progress.counts_bytes = true;
	watch_patiently(&patient, &progress);
	rc = kept_restore(k->kept, m, KEPT_OVER_DAMAGED, &result, &patient.watch, err);
	progress_finish(&progress, NULL);
	*damaged = result.lost_bytes != 0;
	if (rc < 0 && err->kind == ERROR_IO)
		(void)medium_check(m, MEDIUM_CHECK_FAILED);
	if (rc < 0 && !medium_lost(m))
		keep_list_changed(&result.look);
	return rc < 0 ? medium_explain(m, err) : rc;
}

/* A device that loses what it acknowledged may answer from its memory now. */
static int finish_doubted(struct session_keep *k, struct record_writer *record, struct error *err)
{
	struct text command;

	text_init(&command);
	keep_restore_command(&command, k->path, k->target);
	message_warning("kept data is back on '%s' and reads the same; but this run found the "
			"target at fault, so what was saved stays in '%s'. Unplug the target, plug "
			"it in again and run: %s - when that has nothing to write, all is there, "
			"and the file can go",
		k->target, k->path, command.bytes);
	text_release(&command);
	return say(k, record, RUN_KEPT_BACK, err);
}

static int finish(struct session_keep *k, struct record_writer *record, struct error *err)
{
	int rc = kept_remove(k->kept, err);
	char part[2 * SIZE_TEXT_MAX + 16];

	message_note("kept data is back on '%s': read twice alike before the run, and the same "
		     "again now",
		k->target);
	if (k->own_bytes)
		message_warning("%s put back is test data from an earlier run of this tool",
			own_part(k, part));
	if (rc > 0)
		message_warning(
			"another file or none is now where '%s' was, so nothing was removed; "
			"the saved data is no longer needed",
			k->path);
	/* Only closed does it give back its room, which the record may need. */
	let_go(k);
	if (rc < 0)
		return -1;
	return say(k, record, RUN_KEPT_BACK, err);
}

int session_keep_put_back(
	struct session_keep *k, struct medium *m, struct record_writer *record, struct error *err)
{
	bool damaged = false;
	int rc;

	if (!k->kept)
		return 0;
	rc = put_back(k, m, &damaged, err);
	if (rc < 0)
		rc = explain(k, err->kind, damaged, err);
	else if (medium_check(m, MEDIUM_CHECK_BATCH) < 0)
		rc = explain_doubt(k, m, err);
	else
		rc = k->doubted ? finish_doubted(k, record, err) : finish(k, record, err);
	let_go(k);
	return rc;
}

int session_keep_leave(struct session_keep *k, struct record_writer *record, struct text *command,
	struct error *err)
{
	int rc;

	if (!k->kept)
		return 0;
	keep_restore_command(command, k->path, k->target);
	rc = say(k, record, RUN_KEPT_LEFT, err);
	let_go(k);
	return rc;
}
