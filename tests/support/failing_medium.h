/* A medium around another that fails the n-th call: every error path can be walked, one call after the other, and a
 * failure found once can be had again. */
#ifndef SUPPORT_FAILING_MEDIUM_H
#define SUPPORT_FAILING_MEDIUM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct medium;

enum failing_calls { /* a mask of the calls that count */
	FAILING_READ = 1,
	FAILING_WRITE = 2, /* write_through too */
	FAILING_FLUSH = 4,
	FAILING_SCSI = 8,
	FAILING_COUNTS = 16,
	FAILING_DROP_CACHE = 32,
	FAILING_REPLUG = 64,
	FAILING_ANY = 127,
};

enum failing_for { FAIL_ONCE, FAIL_LASTING };

struct failing_plan {
	unsigned calls; /* enum failing_calls, or-ed */
	uint64_t nth; /* from 1 */
	enum failing_for lasts; /* LASTING: every counted call from the n-th on */
	int sys_errno; /* positive; 0: a read or write moves short_bytes only, other calls do nothing */
	size_t short_bytes;
};

/* Takes inner over: closing this closes it. NULL when there is no memory (inner is then still the caller's). May be
 * used from several threads as inner may. */
struct medium *medium_failing(struct medium *inner, const struct failing_plan *plan);

bool medium_failing_hit(const struct medium *m); /* has the n-th call come? */

#endif
