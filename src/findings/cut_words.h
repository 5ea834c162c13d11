/* What a journal of cuts says, in the words that its views share. */
#ifndef FINDINGS_CUT_WORDS_H
#define FINDINGS_CUT_WORDS_H

#include <stdbool.h>

#include "findings/recheck_totals.h"
#include "record/cut_load.h"
#include "record/run.h"

struct text;

/* One sentence that a release note can quote, without its newline. */
void cut_conclude(struct text *t, const struct run *run, const struct cut_record *r);

/* "kept", "broken", "not shown"; "none yet" before its recheck. */
const char *cut_verdict_name(const struct cut_cycle *c);

/* "the target stopped answering", ... */
const char *cut_ending_words(const struct run *run, const struct cut_cycle *c);

/* "54 writes (795 kB, 12 by FUA) and 3 flushes in 893 ms" and what the cut put at risk; false: nothing was written. */
bool cut_written_add(struct text *t, const struct cut_cycle *c);
void cut_risk_add(struct text *t, const struct cut_cycle *c);

/* "8 MiB at 0 B, stamped in blocks of 512 B"; why something was promised. */
void cut_region_add(struct text *t, const struct cut_cycle *c);
const char *cut_promise_words(const struct cut_cycle *c);

void cut_totals(struct recheck_totals *out, const struct cut_record *r); /* of the rechecked ones */

#endif
