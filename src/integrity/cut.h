/* Writes with a journal until the target is cut off. */
#ifndef INTEGRITY_CUT_H
#define INTEGRITY_CUT_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"
#include "integrity/journal.h"
#include "record/cut_lines.h"

struct error;
struct medium;

/* How the cut is made. Every slot may be NULL: then somebody pulls the plug. */
struct cut_trigger {
	void *context;
	/* Starts what cuts; returns at once. 0, or -1 with *err. */
	int (*pull)(void *context, struct error *err);
	/* Has it ended? Asked between writes after pull. */
	bool (*ended)(void *context);
};

/* What a promise is worth shows best right after it. That there was something to lose shows where it is lost: after a write
 * without one. */
enum cut_moment { CUT_AT_ANY, CUT_AFTER_FLUSH, CUT_AFTER_THROUGH, CUT_AFTER_PLAIN };

struct cut_settings {
	struct journal_cycle cycle;
	uint64_t end_after_ns; /* stop by itself; 0: never */
	uint64_t pull_after_ns; /* pull the trigger this long after the baseline; 0: never */
	/* What the cut waits for, at most so many writes; and what all writes are like while the trigger works, as nobody knows
	 * how long it takes. */
	enum cut_moment moment;
	uint32_t await_writes;
	uint64_t patience_ns; /* once the trigger ended: how long the target may still answer */
};

/* Stamps the region (baseline), flushes, then writes until the end. 0: *out says how it ended, also for a target that
 * failed. -1 with *err: the journal could not be written, or no memory. */
int cut_run(struct medium *m, const struct cut_settings *settings,
	const struct cut_trigger *trigger, struct record_writer *journal, const struct watch *watch,
	struct cut_summary *out, struct error *err);

#endif
