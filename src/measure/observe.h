/* Watches what a host sends to a disk, without touching it. */
#ifndef MEASURE_OBSERVE_H
#define MEASURE_OBSERVE_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"
#include "measure/histogram.h"

struct blockdev;
struct blockdev_stat;
struct error;
struct trace;
struct trace_event;

/* Request sizes up to 8 MiB are counted exactly; larger ones together at that size. */
enum { OBSERVE_SIZES = 16384 };

enum { OBSERVE_IN_FLIGHT = 1024 };

struct observe_times {
	struct histogram ns;
	uint64_t slowest_ns, slowest_at_ns, slowest_bytes;
};

/* What trace events add up to; index 0 reads, 1 writes. */
struct observe_tally {
	uint64_t begun_ns; /* CLOCK_MONOTONIC */
	uint64_t requests[2], bytes[2], sequential[2], sequential_bytes[2];
	uint64_t count[2][OBSERVE_SIZES + 1]; /* by sectors */
	uint64_t service_ns[2][OBSERVE_SIZES + 1];
	uint64_t flushes, fua, discards, others, errors, lost;
	struct observe_times times[2], flush_times;
	uint64_t next_sector[2]; /* where a sequential request would begin */
	struct observe_open {
		uint64_t sector, left, sectors, at_ns;
		bool used, write;
	} open[OBSERVE_IN_FLIGHT];
	unsigned open_top; /* entries from here on are unused */
	uint64_t flush_sent_ns[64]; /* flushes in flight, oldest first */
	unsigned flush_count;
};

void observe_tally_init(struct observe_tally *t, uint64_t begun_ns);
void observe_tally_add(struct observe_tally *t, const struct trace_event *e);

enum observe_ending { OBSERVE_TIME_UP, OBSERVE_INTERRUPTED, OBSERVE_GONE, OBSERVE_FAILED };

struct observe_plan {
	const struct blockdev *disk; /* whole */
	uint64_t duration_ns; /* 0: until the watch says stop */
	struct trace *trace; /* NULL: counters alone */
	const char *sysfs; /* NULL: "/sys" */
};

/* Called once a second, and once more at the end with what is left. before and now: the device's counters. Returns -1
 * with *err to end the observation. */
struct observe_sink {
	void *context;
	int (*second)(void *context, const struct blockdev_stat *before,
		const struct blockdev_stat *now, uint64_t at_ns, uint64_t ns, struct error *err);
};

/* GONE: the disk went away, was unplugged or lost its medium; what was seen is kept. FAILED: *err says why. */
enum observe_ending observe_run(const struct observe_plan *plan, struct observe_tally *tally,
	const struct observe_sink *sink, const struct watch *watch, struct error *err);

#endif
