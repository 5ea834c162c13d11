/* blkassay restore: puts saved data back after an interrupted run. */
#include <stdio.h>

#include "base/error.h"
#include "base/size.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/progress.h"
#include "cli/session.h"
#include "integrity/kept.h"

static int restore(
	const struct kept *k, const char *target, struct kept_result *result, struct error *err)
{
	struct error close_err = { 0 };
	struct progress progress;
	struct session s;
	int rc;

	if (session_open_restore(&s, target, kept_identity(k), err) < 0)
		return -1;
	progress_start(&progress);
	progress.counts_bytes = true;
	/* All of the file must hold before the first byte is written. */
	rc = kept_verify(k, &progress.watch, err);
	if (!rc)
		rc = kept_restore(k, s.medium, result, &progress.watch, err);
	progress_finish(&progress, rc ? NULL : "restoring");
	session_close(&s, NULL, &close_err); /* nothing of its own to put back */
	return rc;
}

int cmd_restore(const struct options *o)
{
	const char *saved = o->args[0], *target = o->args[1];
	char size[SIZE_TEXT_MAX], written[SIZE_TEXT_MAX];
	struct kept_result result;
	struct error err = { 0 };
	struct kept *k;
	int rc;

	if (kept_open(&k, saved, &err) < 0)
		return message_error(&err);
	rc = restore(k, target, &result, &err);
	if (!rc) {
		printf("restored %s ", size_format(size, result.bytes));
		if (kept_identity(k)->extent_count)
			printf("at %zu places", kept_identity(k)->extent_count);
		else
			printf("from byte %llu", (unsigned long long)kept_identity(k)->start);
		printf(" of '%s': %s written, the rest was there already; all of it read back and "
		       "equal\n",
			target, size_format(written, result.written_bytes));
		message_note("'%s' is no longer needed", saved);
	}
	kept_close(k);
	return rc < 0 ? message_error(&err) : 0;
}
