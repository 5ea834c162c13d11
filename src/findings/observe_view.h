/* What an observation means: how much the host sent in requests of which size, how long they took, and what limits that. */
#ifndef FINDINGS_OBSERVE_VIEW_H
#define FINDINGS_OBSERVE_VIEW_H

#include "findings/view.h"
#include "record/observe_lines.h"

struct error;

/* run and o outlive the view. 0, or -1 with *err and nothing to release. */
int observe_view(
	struct view *v, const struct run *run, const struct observation *o, struct error *err);

extern const struct finding_code observe_codes[];
extern const size_t observe_code_count;

extern const struct table_spec observe_totals_spec, observe_sizes_spec, observe_times_spec,
	observe_seconds_spec,
	observe_commands_spec; /* rows of the last: struct observed_commands */

/* In which phase of which commands most of their time on the bus went; nothing when they were not seen. */
void observe_commands_add(
	struct findings *f, const struct observation *o, const struct finding_code *code);

/* Rows of those tables. */
struct observe_total {
	enum run_direction direction;
	uint64_t requests, bytes, merged;
	uint64_t ns; /* of the observation */
	bool traced;
	uint64_t sequential, seen; /* requests; of those in the trace, which may have lost some */
};

struct observe_size {
	const struct observed_size *size;
	uint64_t requests, bytes; /* of all in that direction */
};

struct observe_time {
	const char *of; /* read, write, flush */
	const struct observed_latency *times;
};

struct observe_second {
	const struct observed_counts *counts;
	enum run_direction direction;
};

#endif
