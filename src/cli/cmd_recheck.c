/* blkassay recheck: after the cut, which promises were kept. */
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/cut_verdict.h"
#include "cli/message.h"
#include "cli/session.h"
#include "report/recheck_text.h"

static int show(const struct recheck_result *r, const char *journal, const char *target)
{
	enum recheck_conclusion c = recheck_conclude(r);
	struct error err = { 0 };
	struct text t;

	text_init(&t);
	recheck_text(&t, r);
	fputs(t.bytes, stdout);
	fflush(stdout); /* the results before what is said about them */
	text_release(&t);
	if (cut_verdict_record(journal, r, &err) < 0) {
		struct error told = { 0 };

		error_set(&told, ERROR_IO, "the verdict is not in the journal: %s", err.text);
		return message_error(&told);
	}
	if (c == RECHECK_NOT_SHOWN) {
		cut_verdict_nothing(target, r, &err);
		return message_error(&err);
	}
	return c == RECHECK_BROKEN ? 1 : 0;
}

int cmd_recheck(const struct options *o)
{
	struct options target = *o;
	struct recheck_result result;
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
	if (cut_verdict(&s, o->args[0], &result, &err) < 0) {
		status = message_error(&err);
	} else {
		status = show(&result, o->args[0], o->args[1]);
		recheck_result_release(&result);
	}
	session_close(&s, NULL);
	return status;
}
