/* A sweep made up for the tests of the report: a full-speed gadget with known figures. */
#ifndef SUPPORT_SAMPLE_RUN_H
#define SUPPORT_SAMPLE_RUN_H

#include <stddef.h>

#include "record/run.h"

/* Target, head, plan and end, no passes. Nothing is allocated. */
void sample_run_init(struct run *r);

/* Adds a pass of one second in which every request took the same time; grows r->passes (run_release frees it). */
struct run_pass *sample_run_add(struct run *r, enum run_direction direction, enum run_order order,
	uint64_t request_bytes, uint32_t pass, double rate_bps);

/* Writes it as a record, with a histogram and a trace for every pass. Aborts the test on failure. */
void sample_run_write(const struct run *r, const char *path);

#endif
