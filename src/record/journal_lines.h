/* The lines that only a journal of a cut has, as plain structs: written by integrity/journal.h, read by that and by
 * record/cut_load.h. See blkassay-journal(5). Times are of a clock that never jumps; only differences mean anything. */
#ifndef RECORD_JOURNAL_LINES_H
#define RECORD_JOURNAL_LINES_H

#include <stdbool.h>
#include <stdint.h>

#include "record/series.h"

struct line_kind;

enum { JOURNAL_INTENTS_MAX = 256 }; /* writes of one line "intend" */

struct journal_cycle_line {
	uint64_t number, seed, region_start, region_bytes, block_bytes;
	char promise[16]; /* flushed, acknowledged */
	bool plug_known; /* the next one is there; old journals have the first plug-in alone, in "target" */
	uint64_t disk_sequence;
	char boot[40];
	uint64_t at_ns;
};

/* The first fields of a cycle, without which it makes no sense: bits as line_take_fields returns them. */
enum { JOURNAL_CYCLE_NEEDED = 0x3F };

struct journal_intend_line {
	uint64_t first;
	struct series writes; /* offset and length, bytes */
	uint64_t at_ns;
};

struct journal_done_line {
	uint64_t write;
	bool stored;
	uint64_t sent_ns, at_ns;
};

struct journal_flush_line { /* "flush" and "stored" */
	uint64_t through;
	uint64_t at_ns;
};

struct journal_moment_line { /* "ready" and "pull" */
	uint64_t at_ns;
};

struct journal_stop_line {
	char reason[16];
	int code; /* errno */
	uint64_t device_errors;
	uint64_t at_ns;
};

extern const struct line_kind kind_cycle, kind_ready, kind_intend, kind_done, kind_flush,
	kind_stored, kind_pull, kind_stop;

#endif
