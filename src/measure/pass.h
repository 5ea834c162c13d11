/* One pass of one point: a timed stretch of requests against a medium. */
#ifndef MEASURE_PASS_H
#define MEASURE_PASS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"
#include "measure/histogram.h"
#include "measure/offsets.h"
#include "medium/command_times.h"

struct flusher;
struct medium;
struct phases; /* measure/phases.h */
struct phase_times;

enum { PASS_TRACE_MAX = 128, PASS_IN_FLIGHT_MAX = 64 };

/* What shows that all of a write pass was stored (measure/store.h). */
enum pass_stored_by {
	PASS_NOT_SHOWN,
	PASS_STORED_FLUSH, /* a flush after it */
	PASS_STORED_SETTLED, /* single reads that took their usual time again */
	PASS_STORED_STEADY, /* written with the buffer full, or with none to be found */
};

struct pass_plan {
	bool write;
	bool random;
	uint64_t request_bytes;
	unsigned in_flight; /* 1..PASS_IN_FLIGHT_MAX */
	uint64_t region_start, region_bytes;
	struct offsets_part begin; /* of sequential requests */
	/* requests are started until this much time has passed; at least one is made */
	uint64_t duration_ns;
	uint64_t least_bytes; /* and until so much was moved */
	uint64_t least_requests,
		longest_ns; /* and until there are so many, but not for that once this is over */
	/* 0, or: the pass is timed from the end of one request that took so long to that of another, and goes on for up to
	 * patience_ns more until there is one. Without two of them it is timed as a whole. */
	uint64_t wait_ns, patience_ns;
	uint64_t wait_requests; /* so many lie between the two at least */
	struct flusher *flusher; /* of the closing flush of a write pass; NULL: none */
	uint64_t seed;
	struct phases
		*phases; /* told of the pass; NULL: nobody watches. One request in flight alone */
};

struct pass_result {
	uint64_t bytes, requests;
	uint64_t all_requests; /* untimed ones at the ends among them: see the plan's wait_ns */
	uint64_t busy_ns; /* first request sent to last answered */
	uint64_t flush_ns; /* closing flush of a write pass */
	uint64_t waits; /* requests that took wait_ns, where the plan says so */
	uint64_t stalls, stall_ns; /* requests over PASS_STALL_TIMES the median; their time */
	/* By measure/store.h: */
	enum pass_stored_by stored_by;
	uint64_t stored_ns; /* time in which `bytes` were stored; 0: not shown */
	uint64_t settle_ns; /* after the flush, until reads took their usual time again */
	uint64_t lead_bytes; /* written before, untimed */
	bool lost; /* the host was away for some of it: it counts for nothing */
	uint64_t start_bytes; /* where the first request went */
	bool wrapped; /* every place of the region was used and begun again */
	bool interrupted; /* the watch asked to stop */
	bool device_known; /* the next four come from the device's own counters */
	uint64_t device_requests, device_bytes, device_flushes;
	bool foreign; /* the device did more than was asked here */
	/* errors and timeouts that the kernel counted meanwhile; 0 also when it counts none */
	uint64_t device_errors;
	struct histogram latency_ns;
	const struct phase_times
		*phases; /* lies in the buffers; NULL: nobody watched, or the pass failed */
	struct command_sum flush_on_bus; /* SYNCHRONIZE CACHE, while the closing flush went on */
	uint64_t trace_step_ns; /* bytes answered in each stretch of this length */
	uint64_t trace[PASS_TRACE_MAX];
	unsigned trace_steps;
	struct pass_failure { /* the request that failed; code 0: none */
		int code; /* negative errno; 0 with got < wanted: a short transfer */
		bool failed;
		bool flush; /* it was the closing flush */
		bool probe; /* it was a read that waited for the target to settle */
		uint64_t at, wanted, got;
	} failure;
};

#define PASS_STALL_TIMES 20.0

/* All but a few of the requests between the first and the last that waited did so too. */
static inline bool pass_waits_evenly(uint64_t waits, uint64_t requests)
{
	return requests >= 8 && (waits - 1) * 10 >= requests * 9;
}

/* Buffers are allocated once for the largest request and in_flight. */
struct pass_buffers {
	void *memory[PASS_IN_FLIGHT_MAX];
	struct histogram *latencies; /* one a worker */
	struct phase_times *phases;
	unsigned count;
	uint64_t serial; /* of sectors written so far */
	uint64_t seed; /* of the run: whoever writes sets it, and the data bears its imprint */
};

int pass_buffers_init(struct pass_buffers *b, const struct medium *m, uint64_t largest_request,
	unsigned in_flight); /* 0, -ENOMEM */
void pass_buffers_release(struct pass_buffers *b);

/* Runs it. Always fills *out with what was done up to a failure or interruption. 0, or a negative errno when the pass
 * could not be run at all (threads). A failed request is not such an error: see out->failure. */
int pass_run(struct medium *m, const struct pass_plan *plan, struct pass_buffers *buffers,
	struct pass_result *out, const struct watch *watch);

#endif
