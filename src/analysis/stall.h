/* Stalls: requests many times slower than their like, told from the quantiles of passes, and how much time they take in
 * the long run. */
#ifndef ANALYSIS_STALL_H
#define ANALYSIS_STALL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct stall_pass {
	uint64_t request_bytes;
	double bytes, requests, busy_s, flush_s;
	double p50_s, max_s; /* of single requests */
	unsigned in_flight; /* >= 1 */
	bool stalls_alone; /* its time is not that of storing: it counts for stalls and nothing else */
	double stalled_s; /* result: of busy_s + flush_s */
	double stalled_error_s; /* result: how far off that may be */
};

struct stalls {
	double seconds, count, bytes; /* at the sizes that show them */
	bool not_by_byte; /* some size had far fewer than its bytes would have met: a host's stops do not come by the byte */
};

/* Passes of one table, sorted by request size. Where stalls come so often that they are part of most requests they
 * don't stand out: there as many are taken off as smaller requests show. False when memory runs out. */
bool stalls_find(struct stalls *s, struct stall_pass *passes, size_t count);

/* Seconds that stalls add to each byte in the long run. */
double stalls_per_byte(const struct stalls *s);

/* Ours: a stall is this many times as long as its like, and passes tell them up to this share of requests. */
#define STALL_TIMES 3.0
#define STALL_TELLS 0.2
#define STALL_MIN_SHARE 0.02

#endif
