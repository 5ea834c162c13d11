/* A write-behind buffer: blocks that were acknowledged and are on their way to the card, oldest first.
 * Each knows when the card begins and ends with it, so that "what is stored by now" is a look at the front. */
#ifndef MEDIUM_MODEL_PENDING_H
#define MEDIUM_MODEL_PENDING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct model_pending_block {
	uint64_t at;
	double start_ns, finish_ns; /* of the card's work on it */
	bool lost; /* a fault: it will not be stored */
	bool fleeting; /* a fault: stored until power is cut */
};

struct model_pending {
	size_t block_bytes, room; /* blocks the buffer holds; 0: no write-behind */
	size_t first, count;
	struct model_pending_block *blocks; /* a ring of `room` */
	unsigned char *data;
	double last_finish_ns;
};

int model_pending_init(struct model_pending *q, size_t bytes, size_t block_bytes); /* 0, -ENOMEM */
void model_pending_release(struct model_pending *q);

/* The i-th oldest block, i < count, and its data. */
struct model_pending_block *model_pending_block(const struct model_pending *q, size_t i);
unsigned char *model_pending_data(const struct model_pending *q, size_t i);

void model_pending_push(
	struct model_pending *q, const struct model_pending_block *b, const void *data);
void model_pending_pop(struct model_pending *q);
/* The newest pending block for this place, or -1. */
ptrdiff_t model_pending_find(const struct model_pending *q, uint64_t at);
/* The card does something else from t on for that long: what it has not finished comes later. */
void model_pending_delay(struct model_pending *q, double t, double ns);

#endif
