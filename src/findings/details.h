/* Latency distributions and rates over time, gathered by point from the details of a record. */
#ifndef FINDINGS_DETAILS_H
#define FINDINGS_DETAILS_H

#include <stddef.h>
#include <stdint.h>

#include "findings/points.h"

struct error;

/* 32 bins an octave of nanoseconds: 2.2 % wide, up to 1100 s. The record itself holds finer ones. */
enum { DETAIL_BINS_PER_OCTAVE = 32, DETAIL_BINS = 40 * DETAIL_BINS_PER_OCTAVE };

/* More passes or steps than a chart can show are left out or joined. */
enum { DETAIL_TRACES = 12, DETAIL_STEPS = 60 };

struct detail_trace {
	uint64_t step_ns;
	size_t steps;
	float rate_bps[DETAIL_STEPS];
};

struct detail {
	uint64_t *bins; /* DETAIL_BINS counts; NULL: no histogram of this point */
	uint64_t requests;
	double slowest_s; /* exact, where the bins are not */
	struct detail_trace *traces; /* NULL: none */
	size_t trace_count, traces_seen;
};

struct details {
	struct detail *list; /* one a point, same order */
	size_t count;
};

/* Reads the record again; takes nothing from one with damaged lines, or of a run without a path. 0, or -1 with *err. */
int details_load(
	struct details *d, const struct run *run, const struct points *points, struct error *err);
void details_release(struct details *d);

/* Quantile in seconds, 0 <= p <= 1; 0 without a histogram. */
double detail_quantile_s(const struct detail *d, double p);

#endif
