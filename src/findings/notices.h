/* What a reader should notice, in sentences: for the summary and the page. */
#ifndef FINDINGS_NOTICES_H
#define FINDINGS_NOTICES_H

#include "findings/points.h"
#include "record/run.h"

enum notice_kind {
	NOTICE_FINDING, /* what was found */
	NOTICE_CAUTION, /* what limits how far the figures can be trusted, or asks for a look */
};

struct notice_visitor {
	void *context;
	/* sentence: plain text, may hold a stranger's text: clean it before showing it. */
	void (*notice)(void *context, enum notice_kind kind, const char *sentence);
};

/* Thresholds, named because they are judgements of ours; blkassay-method(7) tells them too. */
#define NOTICE_WIDE_SPREAD \
	0.05 /* half the interval, or with no interval half the range, of the median */
#define NOTICE_STALL_TIMES 20.0 /* slowest request against the median one ... */
#define NOTICE_STALL_SECONDS 0.05 /* ... and at least this long */
#define NOTICE_ENOUGH 0.95 /* of the best rate: named with the smallest request that reaches it */
#define NOTICE_SPLIT 1.02 /* device requests per request: a few more are somebody else's */
#define NOTICE_BEHIND 1.10 /* acknowledged over stored */

/* False when memory ran out and some are missing. */
bool notices_visit(
	const struct run *run, const struct points *points, const struct notice_visitor *visitor);

#endif
