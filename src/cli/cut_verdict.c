/* Judging a target against the journal of a cut. */
#include "cli/cut_verdict.h"

#include <string.h>

#include "base/error.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/session.h"
#include "integrity/recheck.h"
#include "platform/boot.h"

static int check_identity(const struct session *s, const struct journal *j, struct error *err)
{
	if (!session_fits(s, j->target.token) || s->traits->size_bytes != j->target.size_bytes)
		return error_set(err, ERROR_REFUSED,
			"'%s' is not the target of this journal: it is '%s' with %llu bytes, the "
			"journal is of '%s' with %llu bytes",
			s->traits->path, s->token, (unsigned long long)s->traits->size_bytes,
			j->target.token, (unsigned long long)j->target.size_bytes);
	return 0;
}

void cut_verdict_plug(struct journal_plug *out, const struct session *s)
{
	*out = (struct journal_plug){ 0 };
	if (s->traits->virtual_clock)
		return; /* a model's power is cut without this host */
	out->disk_sequence = s->traits->disk_sequence;
	boot_id(out->boot);
}

static bool is_same_plug(const struct session *s, const struct journal *j)
{
	struct journal_plug now;

	cut_verdict_plug(&now, s);
	/* Nothing cuts an image off but the machine's own end. */
	if (s->traits->kind == MEDIUM_IMAGE)
		return *now.boot && !strcmp(now.boot, j->cycle.plug.boot);
	return journal_plug_is_same(&now, &j->cycle.plug);
}

/* Another file of the same name and size, in another folder, is not to be accused: what the journal tells of has to be on it
 * somewhere. */
static int check_content(const struct session *s, const struct journal *j,
	const struct recheck_result *r, struct error *err)
{
	uint64_t judged = 0;

	for (int i = 0; i < RECHECK_DUTIES; i++)
		judged += r->blocks[i];
	if (!strcmp(s->token, j->target.token) || !judged || recheck_broken(r) < judged)
		return 0;
	return error_set(err, ERROR_REFUSED,
		"'%s' is not where this journal's target was, and holds nothing of what was "
		"written there, so it is taken for another file; to judge it all the same, move it "
		"back to where it was",
		s->traits->path);
}

int cut_verdict(
	struct session *s, const char *journal_path, struct recheck_result *out, struct error *err)
{
	struct progress progress;
	struct journal j;
	int rc;

	if (journal_load(&j, journal_path, err) < 0)
		return -1;
	rc = check_identity(s, &j, err);
	if (rc == 0) {
		bool same = is_same_plug(s, &j);

		if (same)
			message_warning("the target was not unplugged since the journal was "
					"written; what is read may come from its memory");
		progress_start(&progress);
		progress.counts_bytes = !s->traits->virtual_clock;
		rc = recheck_run(s->medium, &j, &progress.watch, out, err);
		progress_finish(&progress, NULL);
		if (rc == 0 && check_content(s, &j, out, err) < 0) {
			recheck_result_release(out);
			rc = -1;
		}
		/* A target that stopped answering was cut off, whatever this host saw of it. */
		out->uncut = rc == 0 && same && strcmp(j.stop, "gone") != 0;
		/* The host cannot tell when it was cut after that; a model is cut by its own command, which knows. */
		out->late = rc == 0 && !out->uncut && !s->traits->virtual_clock && *j.stop &&
			    strcmp(j.stop, "gone") != 0;
		out->late_known = true;
	}
	journal_release(&j);
	return rc;
}

int cut_verdict_record(const char *journal_path, const struct recheck_result *r, struct error *err)
{
	struct record_writer w;

	if (record_append(&w, journal_path, JOURNAL_KIND, err) < 0)
		return -1;
	if (recheck_write(&w, r, err) < 0) {
		record_close(&w, NULL);
		return -1;
	}
	return record_close(&w, err);
}
