/* A write-behind buffer. */
#include "medium/model_pending.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

int model_pending_init(struct model_pending *q, size_t bytes, size_t block_bytes)
{
	*q = (struct model_pending){ .block_bytes = block_bytes, .room = bytes / block_bytes };
	if (!q->room)
		return 0;
	q->blocks = calloc(q->room, sizeof *q->blocks);
	q->data = malloc(q->room * block_bytes);
	if (q->blocks && q->data)
		return 0;
	model_pending_release(q);
	return -ENOMEM;
}

void model_pending_release(struct model_pending *q)
{
	free(q->blocks);
	free(q->data);
	*q = (struct model_pending){ 0 };
}

static size_t slot(const struct model_pending *q, size_t i)
{
	return (q->first + i) % q->room;
}

struct model_pending_block *model_pending_block(const struct model_pending *q, size_t i)
{
	return &q->blocks[slot(q, i)];
}

unsigned char *model_pending_data(const struct model_pending *q, size_t i)
{
	return q->data + slot(q, i) * q->block_bytes;
}

void model_pending_push(
	struct model_pending *q, const struct model_pending_block *b, const void *data)
{
	size_t i = q->count++;

	*model_pending_block(q, i) = *b;
	model_pending_block(q, i)->start_ns = INFINITY;
	model_pending_block(q, i)->finish_ns = INFINITY;
	memcpy(model_pending_data(q, i), data, q->block_bytes);
}

void model_pending_schedule(struct model_pending *q, size_t n, double t)
{
	for (; n && q->scheduled < q->count; n--) {
		struct model_pending_block *b = model_pending_block(q, q->scheduled++);

		b->start_ns = fmax(t, q->last_finish_ns);
		b->finish_ns = b->start_ns + b->card_ns;
		q->last_finish_ns = b->finish_ns;
	}
}

void model_pending_hold(struct model_pending *q, double t)
{
	while (q->scheduled) {
		struct model_pending_block *b = model_pending_block(q, q->scheduled - 1);

		if (b->start_ns < t)
			return;
		q->last_finish_ns = b->start_ns;
		b->start_ns = b->finish_ns = INFINITY;
		q->scheduled--;
	}
}

void model_pending_pop(struct model_pending *q)
{
	q->first = slot(q, 1);
	q->count--;
	if (q->scheduled)
		q->scheduled--;
}

void model_pending_drop(struct model_pending *q)
{
	q->count = q->scheduled = 0;
	q->last_finish_ns = 0;
}

ptrdiff_t model_pending_find(const struct model_pending *q, uint64_t at)
{
	for (size_t i = q->count; i-- > 0;)
		if (model_pending_block(q, i)->at == at)
			return (ptrdiff_t)i;
	return -1;
}

void model_pending_delay(struct model_pending *q, double t, double ns)
{
	for (size_t i = 0; i < q->scheduled; i++) {
		struct model_pending_block *b = model_pending_block(q, i);

		if (b->start_ns >= t)
			b->start_ns += ns;
		b->finish_ns += ns;
	}
	if (q->scheduled)
		q->last_finish_ns += ns;
}
