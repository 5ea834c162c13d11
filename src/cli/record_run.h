/* What every command's run record begins and ends with. */
#ifndef CLI_RECORD_RUN_H
#define CLI_RECORD_RUN_H

#include <stdint.h>

#include "cli/options.h"
#include "record/file.h"
#include "record/run.h"

struct medium_traits;
struct session;

/* --seed, or a new one. */
uint64_t record_run_seed(const struct options *o);

/* The record's description of a target. */
void record_run_target(struct run_target *out, const struct medium_traits *t, const char *token);

/* Creates the record at path with its head and target lines, and tells the session which run it is. 0, or -1 with *err
 * and no file left. */
int record_run_begin(struct record_writer *w, const char *path, const char *kind, uint64_t seed,
	const struct options *o, struct session *s, struct error *err);

/* The same for a target that no session opened. */
int record_run_begin_on(struct record_writer *w, const char *path, const char *kind, uint64_t seed,
	const struct options *o, const struct run_target *target, struct error *err);

/* Appends the end line and closes. `why` is the failure (or NULL): its kind decides between complete, interrupted and
 * failed together with exit_status. 0, or -1 with *err. */
int record_run_end(
	struct record_writer *w, int exit_status, const struct error *why, struct error *err);

#endif
