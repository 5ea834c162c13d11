/* What a verify has shown, as findings and tables share it. */
#ifndef FINDINGS_VERIFY_SHOWN_H
#define FINDINGS_VERIFY_SHOWN_H

#include <stdbool.h>
#include <stdint.h>

#include "findings/verify_pattern.h"

struct pool;

/* Blocks judged, each counted once however many passes came to it. */
uint64_t verify_distinct_blocks(const struct verify_record *record);

bool verify_is_complete(const struct verify_record *record);
bool verify_is_whole_target(const struct verify_record *record); /* its region */

/* The capacity that the run has shown, to be another than stated or all of it; 0: it has not. */
uint64_t verify_capacity(const struct verify_record *record, const struct verify_pattern *pattern);

/* "no space left on device"; never NULL. */
const char *verify_why(struct pool *pool, uint64_t sys_errno);

/* Nothing that was judged shows that the run which is asked for ever wrote here: neither damage nor its absence is shown.
 * wrote: this run wrote itself. */
bool verify_has_no_trace(const struct damage_totals *totals, bool wrote);

#endif
