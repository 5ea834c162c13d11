/* A verify run's result to its record and back. */
#ifndef CLI_VERIFY_KEEP_H
#define CLI_VERIFY_KEEP_H

#include "integrity/verify.h"
#include "record/verify_lines.h"

struct record_writer;

struct verify_keeper {
	struct record_writer *writer;
	const struct verify_plan *plan;
	size_t ranges_written;
};

/* Appends the ranges found since the last call, then the state. outcome: "running", or how it ended. */
int verify_keep(struct verify_keeper *k, const struct verify_result *r, const char *outcome,
	struct error *err);

/* The outcome's word. */
const char *verify_keep_outcome(enum verify_outcome o);

/* Puts a record's state into a fresh result, so that the run goes on from there. */
void verify_keep_resume(struct verify_result *r, const struct verify_record *v);

/* Puts a result into a record in memory, for showing. Ranges are copied. 0, or -1 with *err. */
int verify_keep_show(struct verify_record *v, const struct verify_plan *p,
	const struct verify_result *r, struct error *err);

#endif
