/* How far an explanation's figures carry, as findings. */
#ifndef FINDINGS_EXPLAIN_DOUBTS_H
#define FINDINGS_EXPLAIN_DOUBTS_H

#include "findings/explain.h"
#include "findings/finding.h"

/* directions: bits 1 << enum run_direction. */
void explain_doubts_add(struct findings *f, const struct explanation *e, unsigned directions);

#endif
