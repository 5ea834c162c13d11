/* Waiting for a target that was cut off to come back. */
#ifndef CLI_CUT_RETURN_H
#define CLI_CUT_RETURN_H

#include <stdint.h>

struct error;
struct options;
struct session;

/* Closes *s and opens the same target again for writing when it is back: at its old path, or at a new one if its serial
 * number tells it. Everything a session checks is checked again. limit_ns 0: waits until interrupted. The region stays.
 * What comes back
 * without one of the blocks flushed last, or with another firmware, is not gone on with. 0, or -1 with *err and *s closed. */
int cut_return_wait(
	struct session *s, const struct options *o, uint64_t limit_ns, struct error *err);

#endif
