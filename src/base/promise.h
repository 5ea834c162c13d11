/* One line of an audit, shared by auditing, recording and reporting: a promise, what was seen of it, the verdict, and
 * the change of the firmware that would mend it. Plain data. */
#ifndef BASE_PROMISE_H
#define BASE_PROMISE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* In the order in which an audit answers. Each has a row in promise.c. */
enum promise_id {
	PROMISE_ID_INQUIRY,
	PROMISE_ID_CAPACITY,
	PROMISE_ID_CACHE_PAGE,
	PROMISE_ID_KERNEL_VIEW,
	PROMISE_ID_BUFFER,
	PROMISE_ID_FLUSH,
	PROMISE_ID_FUA,
	PROMISE_ID_FSYNC,
	PROMISE_ID_READ_AFTER_WRITE,
	PROMISE_ID_OVERLAP,
	PROMISE_ID_PARTIAL_OVERLAP,
	PROMISE_ID_STRADDLE,
	PROMISE_ID_INTERLEAVED,
	PROMISE_ID_ODD_LENGTH,
	PROMISE_ID_STORED,
	PROMISE_ID_PAST_END,
	PROMISE_ID_SENSE,
	PROMISE_ID_BACKGROUND_ERROR,
	PROMISE_ID_POWER_CUT,
	PROMISE_ID_WRITE_BEHIND,
	PROMISE_ID_TRANSFER_LENGTH,
	PROMISE_ID_EJECT,
	PROMISE_ID_EJECTED,
	PROMISE_ID_STEADY,
	PROMISE_ID_ANSWERED,
	PROMISE_ID_VITAL_PAGES,
	PROMISE_IDS,
};

struct promise_row {
	const char *name; /* "flush": in records, JSON and --only */
	const char *claim; /* what is promised */
	const char *tested; /* what is counted as tested: "flushes" */
};

const struct promise_row *promise_row(enum promise_id id);
int promise_parse(const char *name); /* -1 when there is none of that name */

/* A set of promises; all of them. */
#define PROMISE_BIT(id) (UINT32_C(1) << (id))
#define PROMISES_ALL ((UINT32_C(1) << PROMISE_IDS) - 1)

enum promise_verdict {
	PROMISE_KEPT,
	PROMISE_BROKEN,
	PROMISE_NOT_SHOWN, /* the evidence is too weak either way, or the question could not be asked */
	PROMISE_NOT_ASKED, /* left to an option or to `cut`, left out by --only, or never made */
	PROMISE_VERDICTS,
};

/* The evidence of a line that --only leaves out, and of which nothing bad was seen in passing. */
#define PROMISE_LEFT_OUT "left out by --only"
#define PROMISE_NO_SCSI "no SCSI command path to this target"

struct promise {
	char name[24]; /* of its row; a record may hold one that this version does not know */
	char claim[120];
	char evidence[900]; /* with its numbers */
	char mend[320]; /* "" unless broken */
	enum promise_verdict verdict;
	bool tested_known;
	uint64_t tested; /* of what its row says */
};

enum { PROMISES_MAX = 32 };

/* All lines of one audit, in order. */
struct promises {
	struct promise list[PROMISES_MAX];
	size_t count;
	bool no_scsi; /* the target takes no SCSI commands: much could not be asked */
	bool partial; /* interrupted or failed before the end */
};

/* "kept", "broken", "not shown", "not asked"; and with hyphens, for programs. */
const char *promise_verdict_name(enum promise_verdict v);
const char *promise_verdict_code(enum promise_verdict v);
bool promise_verdict_parse(const char *name, enum promise_verdict *out);

size_t promises_tally(const struct promises *f, enum promise_verdict v);

/* What the audit comes to: broken before not shown, not shown before kept. Where nothing was asked: not asked. */
enum promise_verdict promises_conclude(const struct promises *f);

#endif
