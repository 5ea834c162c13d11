/* Requests that do not give up at the first error: a failed one is tried again block by block, once each. */
#ifndef INTEGRITY_TRANSFER_H
#define INTEGRITY_TRANSFER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;
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

/* A device that goes away may refuse requests for a while before the kernel has it as gone. */
struct transfer_patience {
	uint64_t waited_ns; /* so far */
	bool refused; /* the last request */
	bool served; /* any yet: the first and the last one lay here */
	uint64_t first, last;
	bool silent; /* it refuses even those */
};

enum {
	TRANSFER_AGAIN = 1, /* the target served nobody for a while: ask anew */
	TRANSFER_AGAIN_MAX = 3 /* times; then it is the request's fault */
};

/* After each request for the `unit` (bytes) at `at` and more: was any of it refused? That is believed of a device that still gives
 * what it served before: it is read anew. If it does not, the device is waited for: ten seconds; before it served anything one
 * second, ten in all (ours). Files and models are there or not. 0: believe it; TRANSFER_AGAIN; or a negative errno: of medium_check
 * when it is gone, -EIO with p->silent, -ENOMEM. */
int transfer_believe(
	struct medium *m, struct transfer_patience *p, uint64_t at, uint32_t unit, bool refused);

/* What p->silent means, as a sentence. */
void transfer_explain_silence(
	const struct medium *m, const struct transfer_patience *p, struct error *err);

/* Is the target gone, or of no use for anything more? */
bool transfer_is_final(int sys_errno);

#endif
