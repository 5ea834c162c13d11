/* Whether a command watches the phases of what its target is sent, and if not, why. */
#ifndef CLI_PHASE_WATCH_H
#define CLI_PHASE_WATCH_H

#include "measure/phases.h"
#include "record/run.h"

struct error;
struct medium;
struct options;

struct phase_watch {
	struct phases *phases; /* NULL: nobody watches */
	char why[160]; /* then: a part of a sentence, such as "the target is not on USB" */
};

int phase_watch_check(const struct options *o, struct error *err); /* its options, before any I/O */
/* Asks nothing of the target. With --phases the kernel's module is loaded where it is missing, and a warning says why
 * there is nothing to watch. */
void phase_watch_open(
	struct phase_watch *w, const struct options *o, struct medium *m, unsigned in_flight);
/* The same for a disk that nobody opens. */
void phase_watch_open_disk(
	struct phase_watch *w, const struct options *o, unsigned major, unsigned minor);
void phase_watch_close(struct phase_watch *w);

/* For whoever wants to see single commands; *w outlives it. NULL, or `out`. */
const struct command_watcher *phase_watch_bus(struct phase_watch *w, struct command_watcher *out);

/* What measure/ calls things, as a record calls them. */
extern const enum run_phase phase_in_record[COMMAND_PHASES];
extern const enum run_phases phases_state_in_record[PHASES_STATES];

#endif
