/* Progress on stderr. A terminal gets one line, redrawn at most a few times a second; one that cannot go back to the
 * start of its line gets a line of its own every half minute. Whatever is no terminal gets the last line alone. */
#ifndef CLI_PROGRESS_H
#define CLI_PROGRESS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"

struct progress {
	/* hand &p->watch to the work: steps are drawn, stop answers SIGINT/SIGTERM */
	struct watch watch;
	bool counts_bytes; /* set after _start: done and total are bytes, so a rate can be shown */
	bool live; /* stderr is a terminal that can redraw a line */
	bool silent; /* --quiet, no terminal, or finished */
	uint64_t started_ns, drawn_ns, phase_ns, phase_done;
	uint64_t total_ns, total_done, total; /* where the estimate of the time left begins */
	const char *phase;
	unsigned columns;
};

void progress_start(struct progress *p);

/* Wipes the line. what: named in a last line that says how long it took ("sweep took 12.0 s"); NULL: no such line. */
void progress_finish(struct progress *p, const char *what);

#endif
