/* What this tool itself wrote, known by its content alone: stamped blocks (integrity/stamp.h) and the random data of timed
 * writes (base/imprint.h), wherever they ended up. */
#ifndef INTEGRITY_OWN_H
#define INTEGRITY_OWN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/stream.h"

enum { OWN_SECTOR = 512 };

struct own {
	uint64_t seed;
	struct stream stream;
};

/* The run that stamped and imprinted with this seed. */
void own_init(struct own *o, uint64_t seed);

/* Is this sector of 512 bytes, to the last bit, one that the run could have written, at whatever offset, in whatever
 * generation, as whatever part of its block? (Where a block of several sectors may end, the four bytes are not looked at that
 * its CRC would be.) Memory aligned to 8 bytes, here and below. */
bool own_fits(const struct own *o, const void *sector);

/* Was it that run that wrote the sector, which may have been damaged since, in up to half of it? Other data passes for
 * it by chance in 2^1000. */
bool own_wrote(const struct own *o, const void *sector);

/* Is what buf begins with test data of any run? How many of its bytes: a stamped block's whose CRC holds, or 512; 0: none. */
struct own_trace {
	bool stamped;
	uint64_t seed; /* the stamp's */
};
size_t own_find(struct own_trace *out, const void *buf, size_t length);

#endif
