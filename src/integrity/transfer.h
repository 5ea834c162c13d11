/* Requests that do not give up at the first error: a failed one is tried again block by block, once each. */
#ifndef INTEGRITY_TRANSFER_H
#define INTEGRITY_TRANSFER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct medium;

struct transfer_failures {
	uint64_t requests; /* failed or ended early at the first try */
	uint64_t retries; /* blocks tried again on their own */
	uint64_t blocks; /* that failed again */
	uint64_t first_offset; /* of the first failed request */
	int first_errno; /* 0: it ended early */
};

/* unit: the smallest transfer, bytes (a multiple of the stamped block). Both return 0, or a negative errno when going
 * on is pointless: the target is gone, is another one, or cannot take writes at all. Then nothing of this request is
 * counted: whoever is not there did not fail. Before a failure is believed the target is asked whether it is there. EINTR
 * is simply tried again. */
int transfer_write(struct medium *m, uint64_t at, const void *bytes, size_t length, size_t unit,
	struct transfer_failures *f);

/* What a read did not give, by stamped block. */
struct transfer_refused {
	/* one a block: the errno, or -1: ended early; 0: it was read. Only set when `any` */
	int16_t *blocks;
	uint32_t block_bytes;
	bool any;
};

int transfer_read(struct medium *m, uint64_t at, void *bytes, size_t length, size_t unit,
	struct transfer_refused *refused, struct transfer_failures *f);

/* A device that goes away may refuse reads for a moment before the kernel has it as gone. */
struct transfer_patience {
	uint64_t waited_ns; /* so far */
	bool refused; /* the last read */
};

/* After each read: was it refused? Where the one before was not, waits up to a second for the device to turn out to be gone, ten
 * seconds in all (ours). Files and models are there or not. 0, or the negative errno of medium_check. */
int transfer_believe(struct medium *m, struct transfer_patience *p, bool refused);

/* Is the target gone, or of no use for anything more? */
bool transfer_is_final(int sys_errno);

#endif
