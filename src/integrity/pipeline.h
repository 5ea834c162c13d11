/* A ring of buffers between the thread that does the I/O and one worker, so that generating and judging overlap the
 * transfers. Single-threaded when asked: then the worker's part runs inside the calls. */
#ifndef INTEGRITY_PIPELINE_H
#define INTEGRITY_PIPELINE_H

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/transfer.h"

struct slot {
	uint8_t *bytes;
	uint64_t index; /* which request */
	struct transfer_refused refused; /* of a read; its block_bytes is for the caller to set */
};

enum pipeline_role {
	PIPELINE_MAKES, /* the worker fills slots, the caller takes them */
	PIPELINE_TAKES, /* the caller fills slots, the worker takes them */
};

enum { PIPELINE_SLOTS_MAX = 64 };

struct pipeline {
	unsigned slots;
	struct slot slot[PIPELINE_SLOTS_MAX];
	bool threaded;

	enum pipeline_role role;
	void (*work)(void *context, struct slot *slot);
	void *context;
	uint64_t first, end; /* requests; MAKES only */

	/* How many slots each side has finished with since pipeline_start; only that side writes its own. */
	_Atomic uint64_t caller_done, worker_done;
	_Atomic bool caller_waits, worker_waits, closing;
	pthread_mutex_t lock; /* guards sleeping and waking only */
	pthread_cond_t wake;
	pthread_t worker;
	bool running;
};

/* Buffers of request_bytes, aligned; blocks: most blocks in one. 0, or -ENOMEM. */
int pipeline_init(
	struct pipeline *p, size_t request_bytes, size_t align, uint32_t blocks, bool threaded);
void pipeline_release(struct pipeline *p);

/* Starts the worker. MAKES: it works on slots with index first..end-1 in turn. 0, or a negative errno. */
int pipeline_start(struct pipeline *p, enum pipeline_role role,
	void (*work)(void *context, struct slot *slot), void *context, uint64_t first,
	uint64_t end);

/* The next slot for the caller: made (MAKES), or free to fill (TAKES). Waits for it. */
struct slot *pipeline_next(struct pipeline *p);
void pipeline_done(struct pipeline *p); /* with the slot pipeline_next gave */

/* TAKES: waits until the worker is done with all it was given. */
void pipeline_drain(struct pipeline *p);

/* Ends the worker: TAKES after it has finished everything, MAKES at once. */
void pipeline_stop(struct pipeline *p);

#endif
