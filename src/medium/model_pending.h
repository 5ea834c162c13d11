/* A write-behind buffer: blocks that were acknowledged and are on their way to the card, oldest first.
 * The first `scheduled` of them know when the card begins and ends with them, so that "what is stored by now" is a look
 * at the front; the others wait until something makes the firmware drain. */
#ifndef MEDIUM_MODEL_PENDING_H
#define MEDIUM_MODEL_PENDING_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct model_pending_block {
	uint64_t at;
	double card_ns; /* what the card takes for it */
	double start_ns, finish_ns; /* of the card's work on it; infinite while it waits */
	bool lost; /* a fault: it will not be stored */
	bool lost_at_cut; /* a fault: stored until power is cut */
};

struct model_pending {
	size_t block_bytes, room; /* blocks the buffer holds; 0: no write-behind */
	size_t first, count, scheduled;
	struct model_pending_block *blocks; /* a ring of `room` */
	unsigned char *data;
	double last_finish_ns; /* of what was ever scheduled */
};

int model_pending_init(struct model_pending *q, size_t bytes, size_t block_bytes); /* 0, -ENOMEM */
void model_pending_release(struct model_pending *q);

/* The i-th oldest block, i < count, and its data. */
struct model_pending_block *model_pending_block(const struct model_pending *q, size_t i);
unsigned char *model_pending_data(const struct model_pending *q, size_t i);

/* As the newest; it waits. */
void model_pending_push(
	struct model_pending *q, const struct model_pending_block *b, const void *data);
/* The card takes up to n of those that wait, the oldest first, from t on. */
void model_pending_schedule(struct model_pending *q, size_t n, double t);
/* What the card has not begun by t waits again. */
void model_pending_hold(struct model_pending *q, double t);
void model_pending_pop(struct model_pending *q);
/* Everything that waits is lost. */
void model_pending_drop(struct model_pending *q);
/* The newest pending block for this place, or -1. */
ptrdiff_t model_pending_find(const struct model_pending *q, uint64_t at);
/* The card does something else from t on for that long: what it has not finished comes later. */
void model_pending_delay(struct model_pending *q, double t, double ns);

#endif
