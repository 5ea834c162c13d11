/* What is named rests on rates that somebody gave. */
#ifndef FINDINGS_EXPLAIN_TRUST_H
#define FINDINGS_EXPLAIN_TRUST_H

#include "findings/explain.h"

struct pool;

/* Would the figures allow another cause if this rate were not known? without: what culprits_find was given, but for that rate. */
bool explain_needs(
	const struct explained *x, const struct culprit_input *without, enum explain_given rate);

/* Does this table show that the link is faster than the rate that was given? */
bool explain_refutes_link(const struct explained *x);

/* Takes back what rests on a rate that the data contradict, and what the phases contradict. Comes after rests_on is set.
 * link_refuted: by any table of the run. */
void explain_distrust(struct explained *x, bool link_refuted);

/* "if the link really carries 1.00 MB/s and the card really reads 3.00 MB/s"; "" when it rests on neither. */
const char *explain_trust_words(struct pool *p, const struct explained *x);

/* "link+card-read", as figures have it; "" for none. */
const char *explain_trust_codes(struct pool *p, const struct explained *x);

#endif
