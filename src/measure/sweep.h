/* All passes of a sweep: points times passes, interleaved, each handed over as it ends. */
#ifndef MEASURE_SWEEP_H
#define MEASURE_SWEEP_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/watch.h"
#include "measure/pass.h"

struct error;
struct medium;
struct phases;
struct store_evidence;

struct sweep_point {
	bool write, random;
	uint64_t request_bytes;
};

enum { SWEEP_POINTS_MAX = 256 };

struct sweep_plan {
	struct sweep_point points[SWEEP_POINTS_MAX];
	size_t point_count;
	unsigned passes, in_flight;
	uint64_t region_start, region_bytes;
	uint64_t duration_ns; /* per pass */
	uint64_t least_requests,
		longest_ns; /* a pass goes on until it holds so many, up to that long; 0: it does not */
	uint64_t seed;
	struct phases *phases; /* NULL: nobody watches the bus */
};

struct sweep_sink {
	void *context;
	/* A finished pass, number 1.. of its point, begun at_ns after the sweep. 0, or -1 with *err to end the sweep. */
	int (*pass)(void *context, const struct sweep_point *point, unsigned number, uint64_t at_ns,
		const struct pass_result *result, struct error *err);
	/* How this target shows what it has stored; once, before the first write pass. NULL: nothing is written to see
	 * that, and no pass is shown to be stored. 0 or -1 with *err. */
	int (*evidence)(void *context, const struct store_evidence *evidence, struct error *err);
};

enum sweep_outcome { SWEEP_COMPLETE, SWEEP_INTERRUPTED, SWEEP_FAILED };

/* In rounds: each round holds every point once, in an order of its own drawn from the seed, so that slow drift spreads
 * over all points alike (randomised complete blocks; common practice in experiment design, e.g. NIST/SEMATECH e-Handbook
 * 5.3.3.2). All rounds of reads come before the first write, so that nothing a target still has to store can slow them.
 * A pass that the host lost is handed over and made again, twice at most. On SWEEP_FAILED *err says which request
 * failed, where, and what the kernel said; the pass is handed over first. */
enum sweep_outcome sweep_run(struct medium *m, const struct sweep_plan *plan,
	const struct sweep_sink *sink, const struct watch *watch, struct error *err);

/* Time the passes alone take, in ns. */
uint64_t sweep_planned_ns(const struct sweep_plan *plan);

/* The most that is written to see how this target stores; 0 when nothing is. */
uint64_t sweep_look_bytes(const struct sweep_plan *plan);

#endif
