/* One pass of one point: a timed stretch of requests against a medium. */
#ifndef MEASURE_PASS_H
#define MEASURE_PASS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"
#include "measure/histogram.h"

struct medium;
struct phases; /* measure/phases.h */
struct phase_times;

enum { PASS_TRACE_MAX = 128, PASS_IN_FLIGHT_MAX = 64 };

struct pass_plan {
	bool write;
	bool random;
	uint64_t request_bytes;
	unsigned in_flight; /* 1..PASS_IN_FLIGHT_MAX */
	uint64_t region_start, region_bytes;
	/* requests are started until this much time has passed; at least one is made */
	uint64_t duration_ns;
	uint64_t seed;
	struct phases
		*phases; /* told of the pass; NULL: nobody watches. One request in flight alone */
};

struct pass_result {
	uint64_t bytes, requests;
	uint64_t busy_ns; /* first request sent to last answered */
	uint64_t flush_ns; /* closing flush of a write pass */
	bool wrapped; /* every place of the region was used and begun again */
	bool interrupted; /* the watch asked to stop */
	bool device_known; /* the next four come from the device's own counters */
	uint64_t device_requests, device_bytes, device_flushes;
	bool foreign; /* the device did more than was asked here */
	/* errors and timeouts that the kernel counted meanwhile; 0 also when it counts none */
	uint64_t device_errors;
	struct histogram latency_ns;
	const struct phase_times *phases; /* lies in the buffers; NULL: nobody watched */
	uint64_t
		flush_command_ns; /* the longest SYNCHRONIZE CACHE that was seen at the closing flush; 0: none */
	uint64_t trace_step_ns; /* bytes answered in each stretch of this length */
	uint64_t trace[PASS_TRACE_MAX];
	unsigned trace_steps;
	struct pass_failure { /* the request that failed; code 0: none */
		int code; /* negative errno; 0 with got < wanted: a short transfer */
		bool failed;
		bool flush; /* it was the closing flush */
		uint64_t at, wanted, got;
	} failure;
};

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
