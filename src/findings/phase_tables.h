/* Where the time of a request goes: the phases of its commands as they were seen on the bus, or modelled. */
#ifndef FINDINGS_PHASE_TABLES_H
#define FINDINGS_PHASE_TABLES_H

#include "findings/points.h"
#include "findings/view.h"

/* Of one request of a point: means over all requests of the passes in which phases were seen. */
struct phases_of_point {
	size_t passes; /* in which they were; 0: nothing below is known */
	uint64_t requests;
	double seconds[RUN_PHASE_COUNT]; /* by enum run_phase, summed over the request's commands */
	double typical_seconds
		[RUN_PHASE_COUNT]; /* of a command: medians of the passes, mean over these */
	double whole_seconds; /* their sum */
	double link_seconds; /* least time that the link needs for the data; 0: not known, or the data took less */
	double commands; /* a request */
	bool shared; /* with other devices on the bus */
	double flush_seconds; /* longest SYNCHRONIZE CACHE at a closing flush; 0: none was seen */
};

struct phases_of_point phases_of_point(const struct point *p);

/* The rows are struct phases_row. */
struct phases_row {
	const struct point *point;
	struct phases_of_point of;
};

extern const struct table_spec phases_spec;

/* Rows of those points in which phases were seen. */
struct table phases_table(struct pool *p, const struct points *points);

/* A sentence a direction and order, the same one for both orders where they go alike, and one if passes did not show
 * theirs; under these codes, whose figures are: direction order request_bytes in_flight request_seconds command_seconds
 * data_seconds link_seconds status_seconds host_seconds; passes passes_shown. */
void phases_findings_add(struct findings *f, const struct points *points,
	const struct finding_code *shown, const struct finding_code *left_out);

/* Sections of one direction: a chart and a table each order. */
void phases_show(struct view *v, const struct points *points, enum run_direction d);
/* Why they were not watched, where the record says so; that watching took time, where it was a bus and requests are short. */
void phases_show_notes(struct view *v, const struct run *run);

#endif
