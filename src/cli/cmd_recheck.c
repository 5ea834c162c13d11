/* blkassay recheck: after the cut, which promises were kept. */
#include <string.h>

#include "base/error.h"
#include "cli/command.h"
#include "cli/cut_verdict.h"
#include "cli/kept_warning.h"
#include "cli/message.h"
#include "cli/results.h"
#include "cli/session.h"
#include "findings/cut_view.h"
#include "record/run.h"

/* written: the verdict is in the journal; else it is shown from memory. */
static int show(struct results *out, const char *journal, struct recheck_result *r, bool written,
	struct error *err)
{
	struct cut_record cuts;
	struct run run;
	struct view v;
	int rc;

	if (run_load(&run, journal, err) < 0)
		return -1;
	rc = cut_load(&cuts, journal, err);
	if (rc == 0 && !written)
		cut_record_judge(&cuts, r);
	if (rc == 0)
		rc = recheck_view(&v, &run, &cuts, err);
	if (rc == 0) {
		rc = results_show(out, &v, err);
		view_release(&v);
	}
	if (rc == 0 && out->any_file)
		kept_warning(&run);
	cut_record_release(&cuts);
	run_release(&run);
	return rc < 0 ? rc : results_finish(out, err);
}

/* The exit status. */
static int conclude(struct results *out, const char *journal, struct recheck_result *r)
{
	static const int statuses[] = {
		[RECHECK_KEPT] = 0,
		[RECHECK_BROKEN] = 1,
		[RECHECK_NOT_SHOWN] = 4,
	};
	struct cut_totals totals = { 0 };
	int status;
	struct error write_err = { 0 }, show_err = { 0 };
	bool written = cut_verdict_record(journal, r, &write_err) == 0;

	cut_totals_add(&totals, r);
	status = statuses[cut_totals_conclude(&totals)];
	if (show(out, journal, r, written, &show_err) < 0)
		status = message_error(&show_err);
	if (!written) {
		struct error told = { 0 };

		error_set(&told, ERROR_IO, "the verdict is not in the journal: %s", write_err.text);
		status = message_error(&told);
	}
	return status;
}

int cmd_recheck(const struct options *o)
{
	struct options target = *o;
	struct recheck_result result;
	struct results results = { 0 };
	struct session s = { 0 };
	struct error err = { 0 };
	int status;

	target.args = o->args + 1;
	target.arg_count = 1;
	if (!strncmp(target.args[0], "model:", 6)) {
		error_set(&err, ERROR_USAGE,
			"a model forgets all when its command ends; 'blkassay cut' rechecks a "
			"model by itself");
		return message_error(&err);
	}
	if (session_open(&s, &target, SESSION_READS, &err) < 0)
		return message_error(&err);
	if (results_open_in(&results, &target, o->args[0], &s, &err) < 0 ||
		cut_verdict(&s, o->args[0], &result, &err) < 0) {
		status = message_error(&err);
	} else {
		status = conclude(&results, o->args[0], &result);
		recheck_result_release(&result);
	}
	results_release(&results);
	session_close(&s, NULL);
	return status;
}
