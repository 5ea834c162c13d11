/* A medium in memory, with the misbehaviour the integrity tests need: a smaller store than it claims, blocks that
 * cannot be read, writes that go astray. One thread when asked, which is quicker for small runs. */
#ifndef SUPPORT_RAM_MEDIUM_H
#define SUPPORT_RAM_MEDIUM_H

#include <stdbool.h>
#include <stdint.h>

#include "medium/medium.h"

enum { RAM_LOG = 1024 };

struct ram_medium {
	struct medium medium;
	uint8_t *bytes; /* size_bytes of them; the test may change them at will */
	uint64_t wrap_bytes; /* addresses repeat after so many bytes; 0: they do not */
	uint64_t bad_from, bad_to; /* reads that touch these bytes fail with bad_errno */
	int bad_errno; /* EIO at first */
	bool bad_heals; /* a write to any of them mends all */
	uint64_t lie_at; /* reads of this byte give it with a bit flipped, ... */
	uint64_t lie_after, lie_times; /* ... after so many that were true, for so many */
	uint8_t lie_stuck; /* instead of flipping: these bits are always read as set */
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
	uint64_t gone_checks; /* so many such checks after that find nothing yet */
	uint64_t
		back_after; /* from this call on it serves again, and nobody has noticed; 0: never */
	uint64_t
		errors_at; /* from this call on the kernel has counted three errors; 0: it counts none */
	uint64_t idled_ns; /* waited for; nobody sleeps */
	struct ram_read {
		uint64_t at;
		size_t length;
	} log[RAM_LOG]; /* of the reads, as many as fit */
};

struct ram_medium *ram_medium_new(uint64_t size_bytes, uint32_t block_bytes, bool one_thread);

#endif
