/* Lines of an audit and what they come to. */
#include "base/finding.h"

#include <stdio.h>
#include <string.h>

static const char *const names[] = { "kept", "broken", "not shown" };

const char *finding_verdict_name(enum finding_verdict v)
{
	return names[v];
}

bool finding_verdict_parse(const char *name, enum finding_verdict *out)
{
	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (!strcmp(names[i], name)) {
			*out = (enum finding_verdict)i;
			return true;
		}
	return false;
}

size_t findings_tally(const struct findings *f, enum finding_verdict v)
{
	size_t n = 0;

	for (size_t i = 0; i < f->count; i++)
		n += f->list[i].verdict == v;
	return n;
}

static void list_ids(const struct findings *f, enum finding_verdict v, char *out, size_t room)
{
	size_t n = 0;

	out[0] = 0;
	for (size_t i = 0; i < f->count && n < room; i++)
		if (f->list[i].verdict == v)
			n += (size_t)snprintf(
				out + n, room - n, "%s%s", n ? ", " : "", f->list[i].id);
}

const char *findings_conclude(const struct findings *f, char out[FINDINGS_SENTENCE_MAX])
{
	size_t kept = findings_tally(f, FINDING_KEPT), broken = findings_tally(f, FINDING_BROKEN),
	       open = findings_tally(f, FINDING_NOT_SHOWN);
	const char *scsi = f->no_scsi ? "; it takes no SCSI commands, so its claims, flushes and "
					"errors could not be asked for"
				      : "";
	char ids[240];

	list_ids(f, broken ? FINDING_BROKEN : FINDING_NOT_SHOWN, ids, sizeof ids);
	if (broken)
		snprintf(out, FINDINGS_SENTENCE_MAX,
			"Not safe to ship: %zu of %zu promises broken (%s)%s%s.", broken, f->count,
			ids, f->partial ? "; the audit did not finish" : "", scsi);
	else if (f->partial)
		snprintf(out, FINDINGS_SENTENCE_MAX,
			"No verdict: the audit did not finish; %zu promises kept so far, none "
			"broken%s.",
			kept, scsi);
	else if (!kept)
		snprintf(out, FINDINGS_SENTENCE_MAX, "No verdict: nothing could be shown%s.", scsi);
	else
		snprintf(out, FINDINGS_SENTENCE_MAX,
			"No broken promise found: %zu kept, %zu not shown%s%s%s%s.", kept, open,
			open ? " (" : "", ids, open ? ")" : "", scsi);
	return out;
}
