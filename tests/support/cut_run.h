/* A cut on a medium in memory, for the tests of cut, journal and recheck. */
#ifndef SUPPORT_CUT_RUN_H
#define SUPPORT_CUT_RUN_H

#include "integrity/cut.h"
#include "support/ram_medium.h"

enum { CUT_RUN_BYTES = 1 << 20, CUT_RUN_BLOCK = 512 };

struct cut_run {
	struct ram_medium *ram; /* the one below, for reading what it holds */
	struct medium *medium; /* as the cut had it */
	char path[64]; /* of the journal; gone after cut_run_end */
	struct cut_summary summary;
};

/* Cuts at the nth call (0: after the time). promise as in the journal. The journal is closed and whole. */
void cut_run_begin(struct cut_run *c, uint64_t seed, uint64_t nth_call,
	enum journal_promise promise, uint64_t end_after_ns);
/* The kernel counts three errors from the call `errors_at` on. */
void cut_run_begin_disturbed(
	struct cut_run *c, uint64_t seed, uint64_t nth_call, uint64_t errors_at);
void cut_run_end(struct cut_run *c);

#endif
