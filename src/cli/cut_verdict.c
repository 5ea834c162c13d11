/* Judging a target against the journal of a cut. */
#include "cli/cut_verdict.h"

#include <string.h>

#include "base/error.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/session.h"
#include "integrity/recheck.h"

static int check_identity(const struct session *s, const struct journal *j, struct error *err)
{
	if (strcmp(s->token, j->target.token) != 0 || s->traits->size_bytes != j->target.size_bytes)
		return error_set(err, ERROR_REFUSED,
			"'%s' is not the target of this journal: it is '%s' with %llu bytes, the "
			"journal is of '%s' with %llu bytes",
			s->traits->path, s->token, (unsigned long long)s->traits->size_bytes,
			j->target.token, (unsigned long long)j->target.size_bytes);
	return 0;
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
		if (!s->traits->virtual_clock && s->traits->disk_sequence &&
			s->traits->disk_sequence == j.target.disk_sequence)
			message_warning("the target was not unplugged since the journal was "
					"written; what is read\nmay come from its memory, and "
					"nothing was cut");
		progress_start(&progress);
		rc = recheck_run(s->medium, &j, &progress.watch, out, err);
		progress_finish(&progress);
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
