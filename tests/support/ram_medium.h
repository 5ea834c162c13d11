/* A medium in memory, with the misbehaviour the integrity tests need: a smaller store than it claims, blocks that
 * cannot be read, writes that go astray. One thread when asked, which is quicker for small runs. */
#ifndef SUPPORT_RAM_MEDIUM_H
#define SUPPORT_RAM_MEDIUM_H

#include <stdbool.h>
#include <stdint.h>

#include "medium/medium.h"

struct ram_medium {
	struct medium medium;
	uint8_t *bytes; /* size_bytes of them; the test may change them at will */
	uint64_t wrap_bytes; /* addresses repeat after so many bytes; 0: they do not */
	uint64_t bad_from, bad_to; /* reads that touch these bytes fail with EIO */
	uint64_t lost_from, lost_to; /* writes to these bytes are acknowledged and forgotten */
	uint64_t reads, writes, flushes, drops; /* calls so far */
	uint64_t checks[3]; /* by enum medium_check */
	/* calls of read, write and flush, then it is another medium; 0: never */
	uint64_t swap_after;
	int swap_errno; /* what a check gives then; 0: ESTALE */
	/* From this call on it is gone, which only MEDIUM_CHECK_FAILED finds out: until then reads, writes and flushes just
	 * fail, as the kernel has it. 0: never. */
	uint64_t gone_after;
	int gone_errno; /* of these calls; 0: transfers of nothing */
};

struct ram_medium *ram_medium_new(uint64_t size_bytes, uint32_t block_bytes, bool one_thread);

#endif
