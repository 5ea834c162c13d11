/* What limits each direction of a sweep, as findings. */
#ifndef FINDINGS_EXPLAIN_LIMITS_H
#define FINDINGS_EXPLAIN_LIMITS_H

#include "findings/explain.h"
#include "findings/finding.h"

/* directions: bits 1 << enum run_direction. One finding for all tables that come to the same; most to gain first. */
void explain_limits_add(struct findings *f, const struct explanation *e, unsigned directions);

/* Codes with '+' between; "" for none. */
const char *explain_codes_of(struct pool *p, const struct culprit *list, size_t count);

#endif
