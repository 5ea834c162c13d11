/* blkassay restore: puts saved data back after an interrupted run. */
#include <stdbool.h>
#include <stdio.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/session.h"
#include "cli/session_keep.h"
#include "integrity/kept.h"

struct restoring {
	const char *saved, *target;
	const char *overwrite; /* token, or NULL */
	bool skips; /* what is damaged of the saved data */
	bool device; /* which may answer from its memory */
	struct kept *k;
	struct kept_result result;
};

/* What was changed since is listed before the sentence that says so, which ends with the command that puts up with it. */
static void explain_refusal(const struct restoring *r, const struct session *s, struct error *err)
{
	const struct kept_look *look = &r->result.look;
	struct text command;

	keep_list_changed(look);
	text_init(&command);
	keep_restore_command(&command, r->saved, r->target);
	if (look->blocks[KEPT_OTHER_RUN])
		error_add(err, "; restore what a later run with --keep-data saved first, if there "
			       "was one");
	error_add(err,
		"; if this is the right target and none of that is wanted: %s "
		"--overwrite-changed %s",
		command.bytes, s->token);
	text_release(&command);
}

/* There is no other way to what is whole when no copy is. */
static void explain_damage(const struct restoring *r, const struct session *s, struct error *err)
{
	struct text command;

	text_init(&command);
	keep_restore_command(&command, r->saved, r->target);
	error_add(err, "; if there is none, put back what is whole: %s%s%s --skip-damaged",
		command.bytes, r->overwrite ? " --overwrite-changed " : "",
		r->overwrite ? s->token : "");
	text_release(&command);
}

static int put_back(struct restoring *r, struct session *s, struct error *err)
{
	enum kept_over over = r->overwrite ? KEPT_OVER_ALL : KEPT_OVER_RUN;
	struct progress progress;
	int rc;

	progress_start(&progress);
	progress.counts_bytes = true;
	rc = r->skips ? kept_restore_whole_chunks(
				r->k, s->medium, over, &r->result, &progress.watch, err)
		      : kept_restore(r->k, s->medium, over, &r->result, &progress.watch, err);
	progress_finish(&progress, rc ? NULL : "restoring");
	if (rc < 0 && err->kind == ERROR_IO && medium_check(s->medium, MEDIUM_CHECK_FAILED) < 0)
		return medium_explain(s->medium, err);
	if (rc < 0 && err->kind == ERROR_REFUSED)
		explain_refusal(r, s, err);
	if (rc < 0 && r->result.lost_bytes && !r->skips)
		explain_damage(r, s, err);
	return rc;
}

static void tell(const struct restoring *r)
{
	const struct kept_identity *id = kept_identity(r->k);
	uint64_t changed = kept_look_changed(&r->result.look);
	char size[SIZE_TEXT_MAX], written[SIZE_TEXT_MAX];

	printf("restored %s ", size_format(size, r->result.bytes));
	if (id->extent_count)
		printf("at %zu place%s", id->extent_count, text_plural(id->extent_count));
	else
		printf("from byte %llu", (unsigned long long)id->start);
	printf(" of '%s': %s written, the rest was there already; all %s reads back as it was "
	       "saved%s\n",
		r->target, size_format(written, r->result.written_bytes),
		r->result.lost_bytes ? "that is whole of it" : "of it",
		*id->run ? ", which was read twice alike" : "");
	if (changed)
		printf("overwritten as asked: %llu block%s of %u bytes, changed since\n",
			(unsigned long long)changed, text_plural(changed), id->logical_block_bytes);
	if (!r->result.lost_bytes && r->device && r->result.written_bytes)
		message_note("read back under power: keep '%s' until the target was unplugged, "
			     "plugged in again, and the same command has nothing to write",
			r->saved);
	else if (!r->result.lost_bytes)
		message_note("'%s' is no longer needed", r->saved);
}

/* 0, or -1 with *err. */
static int tell_lost(const struct restoring *r, struct error *err)
{
	const struct kept_result *result = &r->result;
	char size[SIZE_TEXT_MAX], all[SIZE_TEXT_MAX];

	if (!result->lost_bytes)
		return 0;
	for (size_t i = 0; i < result->lost_count; i++)
		message_note("  %s from byte %llu: not put back",
			size_format(size, result->lost[i].bytes),
			(unsigned long long)result->lost[i].start);
	if (result->lost_all > result->lost_count)
		message_note("  and %llu more stretch%s",
			(unsigned long long)(result->lost_all - result->lost_count),
			text_plural_es(result->lost_all - result->lost_count));
	return error_set(err, ERROR_IO,
		"%s of the %s saved are damaged in '%s' and were not put back, the first from byte "
		"%llu: what '%s' holds there was left as it is",
		size_format(size, result->lost_bytes), size_format(all, kept_identity(r->k)->bytes),
		r->saved, (unsigned long long)result->lost[0].start, r->target);
}

static int restore(struct restoring *r, struct error *err)
{
	const struct kept_identity *id = kept_identity(r->k);
	struct error late = { 0 };
	struct session s;
	int rc;

	if (kept_in_use(r->k))
		return error_set(err, ERROR_REFUSED,
			"'%s' is in use: the run that saved it is still going, and puts the data "
			"back itself",
			r->saved);
	if (session_open_restore(&s, r->target, id, r->overwrite, err) < 0)
		return -1;
	if (!session_is_named(&s, id))
		message_note("the data was saved from '%s'%s%s, and '%s' is '%s': its content "
			     "decides",
			id->token, *id->place ? ", " : "", id->place, r->target, s.token);
	r->device = medium_traits(s.medium)->kind == MEDIUM_BLOCK_DEVICE;
	rc = put_back(r, &s, err);
	if (rc == 0) {
		tell(r);
		rc = tell_lost(r, err);
	}
	if (session_close(&s, &late) == 0)
		return rc;
	/* Where it went to has another name by now, or may have been written by somebody else. */
	if (rc == 0)
		*err = late;
	else
		message_warning("%s", late.text);
	return -1;
}

int cmd_restore(const struct options *o)
{
	struct restoring r = { .saved = o->args[0],
		.target = o->args[1],
		.skips = o->given[OPTION_SKIP_DAMAGED],
		.overwrite = options_text(o, OPTION_OVERWRITE_CHANGED, NULL) };
	struct error err = { 0 };
	int rc;

	if (kept_open(&r.k, r.saved, &err) < 0)
		return message_error(&err);
	rc = restore(&r, &err);
	kept_close(r.k);
	return rc < 0 ? message_error(&err) : 0;
}
