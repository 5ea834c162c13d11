/* --region START+LENGTH. */
#ifndef CLI_REGION_H
#define CLI_REGION_H

#include <stdint.h>

struct error;

/* text NULL: the whole target, rounded down to the alignment. 0, or -1 with *err: no such form, not aligned, past the
 * end, or a target smaller than one block. */
int region_parse(uint64_t *start, uint64_t *bytes, const char *text, uint64_t target_bytes,
	uint64_t align, struct error *err);

#endif
