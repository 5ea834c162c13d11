/* How long the writes are that a journal of a cut announced last: their answers come in lines of their own. */
#ifndef RECORD_ANNOUNCED_H
#define RECORD_ANNOUNCED_H

#include <stdint.h>

#include "record/journal_lines.h"

struct line;

enum { ANNOUNCED_MAX = JOURNAL_INTENTS_MAX };

/* The last two announcements: a write is done before the next but one. Starts zeroed. */
struct announced {
	struct {
		uint32_t first, count;
		uint32_t bytes[ANNOUNCED_MAX];
	} lists[2];
};

void announced_take(struct announced *a, const struct line *intend);

/* 0 for a write that is not among them. */
uint32_t announced_bytes(const struct announced *a, uint64_t number);

#endif
