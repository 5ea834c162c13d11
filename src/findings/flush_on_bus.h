/* What the bus showed of the flush after a burst of writes, and of the read that came next: did it wait for what the burst
 * left, and where does a backlog show? */
#ifndef FINDINGS_FLUSH_ON_BUS_H
#define FINDINGS_FLUSH_ON_BUS_H

#include "findings/finding.h"

struct run_storing;

struct flush_codes {
	const struct finding_code *waits, *early, *unsent, *next;
};

#define FLUSH_ON_BUS_KEYS                                                            \
	"burst_bytes flush_command_seconds flush_status_seconds idle_flush_seconds " \
	"left_seconds"
#define NEXT_ON_BUS_KEYS "command_seconds usual_command_seconds data_seconds usual_data_seconds"

/* Nothing where the flush was not watched. */
void flush_on_bus_add(
	struct findings *f, const struct run_storing *s, const struct flush_codes *codes);

#endif
