/* Lines of an audit and what they come to. */
#include "base/promise.h"

#include <stdio.h>
#include <string.h>

static const char *const names[] = { "kept", "broken", "not shown" };

const char *promise_verdict_name(enum promise_verdict v)
{
	return names[v];
}

bool promise_verdict_parse(const char *name, enum promise_verdict *out)
{
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (!strcmp(names[i], name)) {
			*out = (enum promise_verdict)i;
			return true;
		}
	return false;
}

size_t promises_tally(const struct promises *f, enum promise_verdict v)
{
	size_t n = 0;

	for (size_t i = 0; i < f->count; i++)
		n += f->list[i].verdict == v;
	return n;
}

static void list_ids(const struct promises *f, enum promise_verdict v, char *out, size_t room)
{
	size_t n = 0;

	out[0] = 0;
	for (size_t i = 0; i < f->count && n < room; i++)
		if (f->list[i].verdict == v)
			n += (size_t)snprintf(
				out + n, room - n, "%s%s", n ? ", " : "", f->list[i].id);
}

const char *promises_conclude(const struct promises *f, char out[PROMISES_SENTENCE_MAX])
{
	size_t kept = promises_tally(f, PROMISE_KEPT), broken = promises_tally(f, PROMISE_BROKEN),
	       open = promises_tally(f, PROMISE_NOT_SHOWN);
	const char *scsi = f->no_scsi ? "; it takes no SCSI commands, so its claims, flushes and "
					"errors could not be asked for"
				      : "";
	char ids[240];

	list_ids(f, broken ? PROMISE_BROKEN : PROMISE_NOT_SHOWN, ids, sizeof ids);
	if (broken)
		snprintf(out, PROMISES_SENTENCE_MAX,
			"Not safe to ship: %zu of %zu promises broken (%s)%s%s.", broken, f->count,
			ids, f->partial ? "; the audit did not finish" : "", scsi);
	else if (f->partial)
		snprintf(out, PROMISES_SENTENCE_MAX,
			"No verdict: the audit did not finish; %zu promises kept so far, none "
			"broken%s.",
			kept, scsi);
	else if (!kept)
		snprintf(out, PROMISES_SENTENCE_MAX, "No verdict: nothing could be shown%s.", scsi);
	else
		snprintf(out, PROMISES_SENTENCE_MAX,
			"No broken promise found: %zu kept, %zu not shown%s%s%s%s.", kept, open,
			open ? " (" : "", ids, open ? ")" : "", scsi);
	return out;
}
