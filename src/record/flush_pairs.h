/* Does a flush take longer the more was written before it? Counted over pairs of flushes, each of two in a row, of which one
 * had at least twice as much to store and one took at least half as long again as the other. A flush that does nothing is as
 * often the longer one as the shorter. */
#ifndef RECORD_FLUSH_PAIRS_H
#define RECORD_FLUSH_PAIRS_H

#include <stdbool.h>
#include <stdint.h>

struct flush_pairs {
	uint64_t telling, grew; /* pairs; those in which the one with more to store took longer */
	uint64_t waiting_bytes; /* acknowledged since the last promise */
	bool half; /* of a pair is there: */
	uint64_t bytes, ns;
};

/* stored: promised by its own answer. */
void flush_pairs_wrote(struct flush_pairs *p, uint64_t bytes, bool stored);
void flush_pairs_flushed(struct flush_pairs *p, uint64_t ns);

#endif
