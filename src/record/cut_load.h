/* A whole journal of cuts as a report needs it: what was written, promised and found, cut by cut. Unlike
 * integrity/journal.h, which judges by the last cut, it keeps no blocks and takes damaged journals too. */
#ifndef RECORD_CUT_LOAD_H
#define RECORD_CUT_LOAD_H

#include "record/cut_lines.h"

struct cut_cycle {
	uint32_t number; /* 1, 2, ... */
	uint64_t seed, region_start, region_bytes;
	uint32_t block_bytes; /* of a stamp */
	bool by_answer; /* the target claims no write cache: every answered write is a promise */
	bool ready; /* the baseline was written and flushed */
	bool pulled; /* the command that cuts was started */
	char stop[16]; /* cut_ending_name; "" when the journal just ends */
	uint64_t ns; /* from the end of the baseline to the last answer */
	uint64_t pulled_ns; /* from the end of the baseline to the start of that command */
	uint64_t writes, bytes, throughs, flushes; /* that returned */
	uint64_t writes_at_risk, bytes_at_risk; /* acknowledged, and not promised by flush or FUA */
	bool through_last; /* the last thing that returned was a write with FUA, or with a flush of the kernel's */
	uint64_t flush_ns_max; /* of the flushes that returned */
	uint64_t device_errors; /* errors and resets before the cut, by the kernel's count */
	struct flush_pairs pairs; /* of them */
	uint32_t rechecks; /* 0: not rechecked, verdict is empty */
	struct recheck_result verdict; /* of the last one */
};

enum {
	CUT_CYCLES_MAX = 10000, /* of a journal */
	CUT_DAMAGES_MAX = 20, /* ranges kept of a cut; damages_more counts the others */
	CUT_DETAILED_MAX = 50 /* cuts with damage whose ranges are kept */
};

struct cut_record {
	struct cut_cycle *cycles;
	size_t count;
};

/* 0, or -1 with *err (no record, more cuts than that, no memory). */
int cut_load(struct cut_record *out, const char *path, struct error *err);

/* A verdict that is not in the journal, or not yet: of the last cut of its number. Takes over what it owns. */
void cut_record_judge(struct cut_record *r, struct recheck_result *verdict);
void cut_record_release(struct cut_record *r);

#endif
