/* What the damage of a verify run has in common: computed from its totals and ranges, no I/O, no words. */
#ifndef FINDINGS_VERIFY_PATTERN_H
#define FINDINGS_VERIFY_PATTERN_H

#include <stdbool.h>
#include <stdint.h>

#include "analysis/wrap.h"
#include "record/verify_lines.h"

struct verify_pattern {
	/* misplaced: addresses repeat after so many bytes; 0: no such thing was shown */
	uint64_t repeat_bytes;
	bool repeat_is_capacity; /* certain; else the capacity may be a whole fraction of it (places of --spot) */
	/* the same when read, while what was written first is still there: nothing was overwritten, so it is no capacity */
	uint64_t read_repeat_bytes;
	/* the same, and too few requests to tell whether storage repeats or only reads do */
	uint64_t some_repeat_bytes;
	/* all that is damaged holds what was written to the very end, which is still there: so much can be stored; 0: not so */
	uint64_t folded_bytes;
	uint64_t
		same_places; /* so many misplaced blocks changed the other place when written anew: all that were tried */
	uint64_t apart_places; /* so many left it alone: they hold copies */
	bool one_distance; /* all misplaced blocks by the same distance */

	/* all that was judged from some byte on is lost, and nothing before it: the storage ends after the first and at
	 * the latest at the second byte, which are the same unless places of --spot leave a gap; 0: not so */
	uint64_t ends_after, ends_at;

	/* --spot: which false capacities its places see */
	bool sight_known;
	struct wrap_sight sight;

	/* ranges, in order of offset, neighbours joined */
	uint64_t stretches; /* of damage */
	uint64_t period_bytes; /* between the starts of at least three; 0: not constant */
	uint64_t aligned_bytes; /* largest power of two that divides all starts and ends */
	bool ranges_complete; /* else the two above come from the listed ranges only */

	bool request_known; /* one size above one block: what follows means something */
	uint64_t request_bytes;
	bool always_last, always_first; /* of the request's blocks, in more than one request */
	uint64_t whole; /* so many requests are damaged whole, and no other is damaged; 0: not so */

	/* bit errors */
	bool one_byte,
		one_bit; /* always the same byte of a block, or bit of it; in more than one block */
	uint8_t positions; /* mask: bits of the byte that flipped in any block */
	int data_line; /* 0..3: all flips on one line of a 4-bit card bus; -1: not */
	bool only_set, only_cleared;
};

/* May reorder v->ranges (by offset). */
void verify_pattern_find(struct verify_pattern *p, struct verify_record *v);

#endif
