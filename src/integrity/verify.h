/* Write stamped blocks, read them back, judge every one: the plan, the run, the result. */
#ifndef INTEGRITY_VERIFY_H
#define INTEGRITY_VERIFY_H

#include <stdbool.h>
#include <stdint.h>

#include "integrity/damage_list.h"
#include "integrity/same_place.h"
#include "integrity/transfer.h"

struct error;
struct medium;
struct watch;

enum { VERIFY_SIZES_MAX = 16, VERIFY_REQUEST_MAX = 4 * 1024 * 1024 };

/* Where a run is: pass, phase, and the next request of it. */
struct verify_position {
	uint32_t pass; /* from 0 */
	bool reading;
	uint64_t next;
};

struct verify_plan {
	uint64_t region_start, region_bytes; /* multiples of the target's offset alignment */
	uint32_t block_bytes; /* stamped: stamp_block_bytes(logical block) */
	uint64_t seed;
	uint32_t sizes[VERIFY_SIZES_MAX]; /* request sizes, multiples of the offset alignment */
	uint32_t size_count;
	bool random[2]; /* orders, in turn: false sequential, true random */
	uint32_t order_count;
	uint32_t rewrites; /* how often each size and order writes everything */
	bool write, read;
	/* NULL: the whole region; else offsets of single requests, ascending */
	const uint64_t *spots;
	uint64_t spot_count;
	uint64_t give_up_after; /* failed requests */
	/* how often the checkpoint hook is called; 0: only at the end of a phase */
	uint64_t checkpoint_ns;
	size_t ranges; /* most damage ranges to keep */
};

enum verify_outcome {
	VERIFY_COMPLETE,
	VERIFY_INTERRUPTED,
	VERIFY_GAVE_UP, /* give_up_after failed requests */
	VERIFY_FAILED, /* the target is gone or the machine failed: see the error */
};

struct verify_result {
	struct damage damage;
	enum verify_outcome outcome;
	struct verify_position position; /* the first request not done */
	struct transfer_failures reads, writes;
	int flush_errno; /* of the first flush that failed, positive; 0: none */
	uint64_t written_bytes, read_bytes; /* acknowledged; came back */
	uint64_t write_ns, flush_ns, read_ns; /* time in these phases */
	/* Errors and resets of the device by the kernel's count, in phases in which no request failed. */
	uint64_t device_errors;
	struct same_place
		same_place; /* what misplaced blocks came to, of a run that wrote and was complete */
};

struct verify_hooks {
	void *context;
	/* Between writing and reading: the target is closed and opened anew, so that nothing of it stays cached;
	 * *m changes. NULL: not done. */
	int (*reopen)(void *context, struct medium **m, struct error *err);
	/* The result is consistent up to result->position: store it. NULL: not done. */
	int (*checkpoint)(void *context, const struct verify_result *result, struct error *err);
	const struct watch *watch;
	bool resumable; /* whoever has the result can go on from it later */
};

/* How many passes a plan has, and what pass `i` is. Read-only plans read the last generation with each size. */
struct verify_pass {
	uint32_t generation; /* expected or written, from 1 */
	uint32_t request_bytes;
	bool random;
	uint64_t requests;
};
uint32_t verify_pass_count(const struct verify_plan *p);
uint32_t verify_generations(const struct verify_plan *p); /* the last one written */
void verify_pass_at(const struct verify_plan *p, uint32_t i, struct verify_pass *out);

/* Bytes a plan writes in all. */
uint64_t verify_bytes_to_write(const struct verify_plan *p);

/* Prepares the result (damage_release(&result->damage) when done with it). 0, or -1 with *err. A resumed run then
 * fills in what it knows, position included. */
int verify_result_init(struct verify_result *r, const struct verify_plan *p, struct error *err);

/* Goes on from r->position. 0 with r->outcome saying how it ended, or -1 with *err and VERIFY_FAILED; what is known
 * up to then is in *r either way. *m may be replaced by the reopen hook (and be NULL after its failure). */
int verify_run(struct medium **m, const struct verify_plan *p, const struct verify_hooks *hooks,
	struct verify_result *r, struct error *err);

#endif
