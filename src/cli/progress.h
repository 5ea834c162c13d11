/* Progress on stderr, only when that is a terminal: one line, redrawn at most a few times a second. */
#ifndef CLI_PROGRESS_H
#define CLI_PROGRESS_H

#include <stdbool.h>
#include <stdint.h>

#include "base/watch.h"

struct progress {
	struct watch
		watch; /* hand &p->watch to the work: steps are drawn, stop answers SIGINT/SIGTERM */
	bool counts_bytes; /* set after _start: done and total are bytes, so a rate can be shown */
	bool live; /* stderr is a terminal that can redraw a line, and not --quiet */
	uint64_t started_ns, drawn_ns, phase_ns, phase_done;
	const char *phase;
	unsigned columns;
};

void progress_start(struct progress *p);
void progress_finish(struct progress *p); /* wipes the line */

#endif
