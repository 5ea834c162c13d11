/* What the phases of requests add to an explanation: seen on the bus, not inferred from rates. */
#ifndef FINDINGS_EXPLAIN_PHASES_H
#define FINDINGS_EXPLAIN_PHASES_H

#include "analysis/phase_parts.h"
#include "findings/finding.h"
#include "findings/points.h"

struct explained;
struct explanation;

/* Of the points whose requests the kernel does not split. x: what their rates have shown. link, card: measured, B/s; 0: not
 * known. */
struct phase_parts explain_phases_of(
	const struct points *table, const struct explained *x, double link, double card);

/* Takes causes from those that the rates could not tell apart whose time, by the phases, is not half of what it would have to be: the
 * host's pause, the cost of a request, the link. One stays always. */
void explain_phases_rule_out(struct explained *x);

/* Would the cause that is named alone have to take time that the phases do not have? */
bool explain_phases_contradict(const struct explained *x);

/* directions: bits 1 << enum run_direction. One finding for each part that takes a fifth of the request's time or more, and a
 * caution where they contradict what the rates seemed to say. */
void explain_phases_add(struct findings *f, const struct explanation *e, unsigned directions);

/* "store" and so on, as figures have it. */
const char *phase_part_name(enum phase_part part);

#endif
