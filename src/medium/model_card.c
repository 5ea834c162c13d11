/* The card of a gadget model. */
#include "medium/model_card.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"

int model_memory_open(
	struct model_memory *c, const struct model_spec *spec, bool writable, struct error *err)
{
	unsigned char fill = (unsigned char)spec->device.fill;

	*c = (struct model_memory){ .spec = spec };
	if (writable)
		return model_store_open(&c->store, fill, err);
	model_store_empty(&c->store, fill);
	return 0;
}

void model_memory_close(struct model_memory *c)
{
	for (size_t i = 0; i < c->undo_count; i++)
		free(c->undo[i].before);
	free(c->undo);
	c->undo = NULL;
	c->undo_count = 0;
	model_store_close(&c->store);
}

enum { SLOT_BYTES = 65536 };

/* The part at the end of the card that takes whatever lies beyond, again and again; 0: none does. */
static uint64_t folded_bytes(const struct model_spec *s)
{
	uint64_t size = s->faults.real_capacity_bytes, half = size / 2;

	switch ((enum model_beyond)s->faults.beyond) {
	case MODEL_BEYOND_WRAPS:
		return size;
	case MODEL_BEYOND_BLOCK:
		return s->device.block_bytes;
	case MODEL_BEYOND_SLOT:
		return size < SLOT_BYTES ? size : SLOT_BYTES;
	case MODEL_BEYOND_HALF:
		return half < s->device.block_bytes ? s->device.block_bytes
						    : half - half % s->device.block_bytes;
	case MODEL_BEYOND_DROPS:
		break;
	}
	return 0;
}

/* Where a claimed place lies on a card that is smaller than claimed, and how far from there it goes on.
 * False: nowhere. */
static bool real_place(
	const struct model_spec *s, uint64_t at, size_t len, uint64_t *real, size_t *n)
{
	uint64_t size = s->faults.real_capacity_bytes, folded;

	*real = at;
	*n = len;
	if (!size)
		return true;
	if (at >= size) {
		folded = folded_bytes(s);
		if (!folded)
			return false;
		*real = size - folded + (at - size) % folded;
	}
	if (*n > size - *real)
		*n = (size_t)(size - *real);
	return true;
}

static void forget_undo(struct model_memory *c, size_t i)
{
	free(c->undo[i].before);
	c->undo_count--;
	memmove(&c->undo[i], &c->undo[i + 1], (c->undo_count - i) * sizeof *c->undo);
}

/* What is stored properly stays, whatever an earlier write to the same place was. */
static void settle(struct model_memory *c, uint64_t at, size_t len)
{
	for (size_t i = c->undo_count; i-- > 0;)
		if (c->undo[i].at >= at && c->undo[i].at - at < len)
			forget_undo(c, i);
}

static int put_once(struct model_memory *c, uint64_t at, const void *data, size_t len)
{
	const unsigned char *bytes = data;

	c->strays += c->swapped;
	while (len) {
		uint64_t real;
		size_t n;
		int rc = 0;

		if (real_place(c->spec, at, len, &real, &n))
			rc = model_store_write(&c->store, real, bytes, n);
		if (rc < 0)
			return rc;
		bytes += n;
		at += n;
		len -= n;
	}
	return 0;
}

/* A block that is written twice, the second time where it does not belong. */
static int put_copies(struct model_memory *c, uint64_t at, const unsigned char *data, size_t len)
{
	const struct model_range *r = &c->spec->faults.twice;
	size_t block = (size_t)c->spec->device.block_bytes;
	int rc = 0;

	for (size_t i = 0; !rc && i < len; i += block)
		if (at + i - r->start < r->bytes)
			rc = put_once(c, at + i - r->bytes, data + i, block);
	return rc;
}

static int put(struct model_memory *c, uint64_t at, const void *data, size_t len)
{
	int rc = put_once(c, at, data, len);

	return rc < 0 ? rc : put_copies(c, at, data, len);
}

int model_memory_put(struct model_memory *c, uint64_t at, const void *data, size_t len)
{
	settle(c, at, len);
	return put(c, at, data, len);
}

int model_memory_get(const struct model_memory *c, uint64_t at, void *data, size_t len)
{
	unsigned char *bytes = data;

	while (len) {
		uint64_t real;
		size_t n;
		int rc = 0;

		if (real_place(c->spec, at, len, &real, &n))
			rc = model_store_read(&c->store, real, bytes, n);
		else
			memset(bytes, (int)c->spec->device.fill, n);
		if (rc < 0)
			return rc;
		bytes += n;
		at += n;
		len -= n;
	}
	return 0;
}

int model_memory_put_volatile(struct model_memory *c, uint64_t at, const void *data)
{
	size_t block = (size_t)c->spec->device.block_bytes;
	unsigned char *before = malloc(block);
	int rc;

	if (!c->undo)
		c->undo = calloc(MODEL_UNDO_MAX, sizeof *c->undo);
	if (!before || !c->undo) {
		free(before);
		return -ENOMEM;
	}
	rc = model_memory_get(c, at, before, block);
	if (!rc)
		rc = put(c, at, data, block);
	if (rc < 0) {
		free(before);
		return rc;
	}
	if (c->undo_count == MODEL_UNDO_MAX)
		forget_undo(c, 0);
	c->undo[c->undo_count++] = (struct model_undo){ at, before };
	return 0;
}

int model_memory_cut_power(struct model_memory *c)
{
	size_t block = (size_t)c->spec->device.block_bytes;
	int rc = 0;

	while (c->undo_count) {
		struct model_undo *last = &c->undo[c->undo_count - 1];
		int one = put(c, last->at, last->before, block);

		rc = rc < 0 ? rc : one;
		forget_undo(c, c->undo_count - 1);
	}
	return rc;
}

int model_memory_swap(struct model_memory *c)
{
	while (c->undo_count)
		forget_undo(c, c->undo_count - 1);
	c->swapped = true;
	return model_store_clear(&c->store);
}
