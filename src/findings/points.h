/* The passes of a run gathered into points: one (direction, order, requests in flight, request size) each, with the
 * figures that tables and charts show. */
#ifndef FINDINGS_POINTS_H
#define FINDINGS_POINTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/places.h"
#include "analysis/summary.h"
#include "record/run.h"

struct error;
struct pool;

struct point {
	enum run_direction direction;
	enum run_order order;
	uint32_t in_flight;
	uint64_t request_bytes;
	const struct run_pass *const *passes; /* those that count, in order of their number */
	size_t pass_count;
	size_t left_out; /* passes that do not count (record/run.h), which no figure below rests on */
	size_t disturbed; /* of those: the kernel counted errors or resets meanwhile */
	uint64_t device_errors; /* how many, in these passes */
	struct rate_summary acknowledged,
		stored; /* B/s; the same for reads; stored 0 where not shown */
	enum run_stored_by stored_by; /* of writes: the weakest evidence among its passes */
	size_t shown; /* passes that are shown to be stored */
	/* Of the passes that have a stored rate (reads: all that count): */
	double bytes, stored_s; /* moved, and the time in which they were stored */
	uint64_t
		stalls; /* requests, and closing flushes that took much of the time of what their pass wrote */
	double stalls_s; /* what they took beyond the median request, or beyond the pass that took the median time */
	double flush_stall_s; /* the longest of these flushes; 0: none */
	double table_stalled; /* share of the time of its table that stalls took */
	double long_run; /* B/s: all of it over all time, with its share of the stalls of its table; 0 where not shown */
	double requests_per_second; /* median */
	/* medians over passes of each pass's own quantile; p99 0 where point_has_p99 says no */
	double lat_p50_s, lat_p99_s;
	double lat_max_s; /* slowest request of all passes */
	double flush_s; /* median time of the closing flush */
	double device_requests_each; /* device requests per host request; 0: unknown */
	uint64_t errors;
	size_t flagged
		[RUN_PASS_FLAGS]; /* passes, left out or not, with flag 1 << i of enum run_pass_flag */
	struct places places; /* of its table: does the rate depend on the place? */
	double covered; /* share of the region that its passes went to, at most */
	double link_ceiling_bps; /* what the link can carry at most; 0: unknown */
};

struct points {
	struct point *list; /* by direction, order, requests in flight, size */
	size_t count;
	const struct run_pass **passes; /* owned; the points' slices lie in it */
};

/* The run must outlive the points. 0, or -1 with *err (out of memory). A run without passes gives count 0. */
int points_make(struct points *out, const struct run *run, struct error *err);
void points_release(struct points *p);

/* Has every pass that counts RUN_P99_REQUESTS or more? Those that have among others are the quick ones: their p99 would be
 * that of the better half, and may lie below the median of all. */
bool point_has_p99(const struct point *p);

/* The table that starts at list[first]: all with its direction, order and requests in flight. Its `passes` is NULL and
 * it owns nothing. */
struct points points_table(const struct points *all, size_t first);

/* "sequential reads, 4 in flight" */
const char *points_series_words(
	struct pool *pool, enum run_order order, enum run_direction direction, unsigned in_flight);
const char *point_series_words(struct pool *pool, const struct point *p);

size_t point_flagged(const struct point *p, enum run_pass_flag flag);

#endif
