/* What a host was seen to send to a device, as plain structs and as lines of a record of kind "observe". */
#ifndef RECORD_OBSERVE_LINES_H
#define RECORD_OBSERVE_LINES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "record/run.h"

struct error;
struct line;
struct line_kind;
struct record_writer;

/* What the kernel's counters said over a stretch of time: a second, or all of it. By enum run_direction. */
struct observed_counts {
	uint64_t at_ns; /* end of the stretch, since the start */
	uint64_t ns; /* its length */
	uint64_t requests[2], bytes[2], merged[2];
	uint64_t wait_ms[2]; /* summed over requests: queue and device */
	uint64_t flushes, flush_ms;
	uint64_t busy_ms; /* at least one request in flight */
	uint64_t in_flight; /* at the end of the stretch */
};

struct observed_size { /* requests of one size, exact */
	enum run_direction direction;
	uint64_t bytes, count;
	uint64_t service_ns; /* of all together, from sent to answered */
};

struct observed_latency { /* of one direction; from the trace */
	uint64_t count;
	uint64_t min_ns, p50_ns, p90_ns, p99_ns, max_ns;
	uint64_t max_at_ns; /* when the slowest was sent, since the start */
	uint64_t max_bytes; /* its size */
};

enum observed_deed { OBSERVED_READ, OBSERVED_WRITE, OBSERVED_FLUSH, OBSERVED_OTHER };

/* Commands on the bus of the disk, of one kind and about one size, all together. */
struct observed_commands {
	enum observed_deed of;
	uint64_t upto_bytes; /* each moved at most this much, and more than half of it */
	uint64_t commands, bytes;
	uint64_t phase_ns[RUN_PHASE_COUNT]; /* the host's without the time between commands */
	uint64_t longest_ns; /* one command */
};

enum { OBSERVED_COMMANDS_MAX = 96 };

struct observation {
	bool traced; /* below: exact requests; else the counters alone are known */
	char why[256]; /* not traced: why */
	struct observed_counts total;
	struct observed_counts *seconds; /* one a second, in order */
	size_t second_count;
	/* traced: */
	struct observed_size *sizes; /* by direction, then size */
	size_t size_count;
	uint64_t sequential[2],
		sequential_bytes[2]; /* requests that began where the last one ended */
	uint64_t requests[2], bytes[2]; /* seen sent */
	uint64_t flushes, fua, discards, others, errors;
	uint64_t lost; /* events the kernel dropped: more was sent than is counted here */
	struct observed_latency latency[2], flush;
	/* Whether the phases of commands were seen on the bus. */
	enum run_phases phases;
	bool phases_watched; /* phases is anything but NOT_WATCHED */
	char phases_off[160]; /* why they were not watched; "": they were, or the record is older */
	uint64_t broken_commands; /* that came to no status of their own */
	struct observed_commands commands[OBSERVED_COMMANDS_MAX]; /* by what they did, then size */
	size_t command_count;
};

void observation_release(struct observation *o);

extern const struct line_kind kind_second, kind_total, kind_seen, kind_mix, kind_service,
	kind_latency, kind_commands;

/* Lines "second", written as they come, and the rest at the end. */
int observe_write_second(
	struct record_writer *w, const struct observed_counts *c, struct error *err);
int observe_write_result(struct record_writer *w, const struct observation *o, struct error *err);
/* Line "service": the histogram of service times of one direction. */
int observe_write_service(struct record_writer *w, enum run_direction d, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err);

/* A record of kind "observe". 0, or -1 with *err and both empty. Release both. */
int observe_load(struct run *run, struct observation *o, const char *path, struct error *err);

#endif
