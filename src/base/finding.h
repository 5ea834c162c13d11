/* One line of an audit, shared by auditing, recording and reporting: a promise, what was seen of it, the verdict, and
 * the change of the firmware that would mend it. Plain data. */
#ifndef BASE_FINDING_H
#define BASE_FINDING_H

#include <stdbool.h>
#include <stddef.h>

enum finding_verdict {
	FINDING_KEPT,
	FINDING_BROKEN,
	FINDING_NOT_SHOWN, /* the evidence is too weak either way, or the question could not be asked */
};

struct finding {
	char id[24]; /* "flush", "fua", ... */
	char claim[120];
	char evidence[640]; /* with its numbers */
	char mend[320]; /* "" unless broken */
	enum finding_verdict verdict;
};

enum { FINDINGS_MAX = 32 };

/* All lines of one audit, in order. */
struct findings {
	struct finding list[FINDINGS_MAX];
	size_t count;
	bool no_scsi; /* the target takes no SCSI commands: much could not be asked */
	bool partial; /* interrupted or failed before the end */
};

const char *finding_verdict_name(enum finding_verdict v); /* "kept", "broken", "not shown" */
bool finding_verdict_parse(const char *name, enum finding_verdict *out);

size_t findings_tally(const struct findings *f, enum finding_verdict v);

/* One sentence that a release note can quote. Returns out. */
enum { FINDINGS_SENTENCE_MAX = 512 };
const char *findings_conclude(const struct findings *f, char out[FINDINGS_SENTENCE_MAX]);

#endif
