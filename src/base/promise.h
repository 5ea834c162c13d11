/* One line of an audit, shared by auditing, recording and reporting: a promise, what was seen of it, the verdict, and
 * the change of the firmware that would mend it. Plain data. */
#ifndef BASE_PROMISE_H
#define BASE_PROMISE_H

#include <stdbool.h>
#include <stddef.h>

enum promise_verdict {
	PROMISE_KEPT,
	PROMISE_BROKEN,
	PROMISE_NOT_SHOWN, /* the evidence is too weak either way, or the question could not be asked */
};

struct promise {
	char id[24]; /* "flush", "fua", ... */
	char claim[120];
	char evidence[640]; /* with its numbers */
	char mend[320]; /* "" unless broken */
	enum promise_verdict verdict;
};

enum { PROMISES_MAX = 32 };

/* All lines of one audit, in order. */
struct promises {
	struct promise list[PROMISES_MAX];
	size_t count;
	bool no_scsi; /* the target takes no SCSI commands: much could not be asked */
	bool partial; /* interrupted or failed before the end */
};

const char *promise_verdict_name(enum promise_verdict v); /* "kept", "broken", "not shown" */
bool promise_verdict_parse(const char *name, enum promise_verdict *out);

size_t promises_tally(const struct promises *f, enum promise_verdict v);

/* One sentence that a release note can quote. Returns out. */
enum { PROMISES_SENTENCE_MAX = 512 };
const char *promises_conclude(const struct promises *f, char out[PROMISES_SENTENCE_MAX]);

#endif
