/* A few blocks looked at, to tell what a target holds before anything is done with it. */
#include <errno.h>
#include <stdlib.h>

#include "base/buffer.h"
#include "integrity/kept_look.h"
#include "medium/medium.h"

enum { SAMPLES = 64 };

static uint64_t byte_of(const struct kept_layout *l, int sample)
{
	return l->bytes / SAMPLES * (uint64_t)sample;
}

/* The unit that holds the byte `into` of a chunk. */
static struct kept_chunk unit_at(struct kept_chunk c, uint64_t into, size_t unit)
{
	into -= into % unit;
	c.at += into;
	c.place += into;
	c.bytes = c.bytes - into < unit ? (size_t)(c.bytes - into) : unit;
	return c;
}

static int look_at(struct kept_looking *l, uint64_t byte, struct kept_look *out)
{
	uint64_t into, changed;
	uint64_t index = kept_layout_place(&l->k->layout, byte, &into);
	struct kept_chunk c = unit_at(kept_layout_chunk(&l->k->layout, index), into, l->unit);
	int rc = kept_read_all(l->k->fd, l->saved, c.bytes, c.place + KEPT_HEAD_BYTES);

	if (!rc)
		rc = kept_looking_at(l, &c, &changed);
	if (!rc)
		kept_look_add(out, l, &c);
	return rc;
}

int kept_sample(const struct kept *k, struct medium *m, struct kept_look *out)
{
	struct kept_looking *l = calloc(1, sizeof *l);
	int rc = l && kept_looking_init(l, k, m, KEPT_OVER_DAMAGED) ? 0 : -ENOMEM;

	*out = (struct kept_look){ 0 };
	for (int i = 0; !rc && i < SAMPLES; i++)
		rc = look_at(l, byte_of(&k->layout, i), out);
	if (l)
		kept_looking_release(l);
	free(l);
	return rc;
}

int kept_sample_own(const struct kept_identity *id, struct medium *m, struct kept_own *out)
{
	uint32_t align = m->traits.offset_align_bytes;
	size_t unit = align > id->logical_block_bytes ? align : id->logical_block_bytes;
	unsigned char *buf = buffer_new(unit, m->traits.memory_align_bytes);
	struct kept_layout layout = { 0 };
	int rc = buf && kept_layout_init(&layout, id) == 0 ? 0 : -ENOMEM;

	*out = (struct kept_own){ 0 };
	for (int i = 0; !rc && i < SAMPLES; i++) {
		uint64_t into, index = kept_layout_place(&layout, byte_of(&layout, i), &into);
		struct kept_chunk c = unit_at(kept_layout_chunk(&layout, index), into, unit);
		struct own_trace trace;

		rc = kept_transfer(m, false, c.at, buf, c.bytes);
		out->looked++;
		if (rc || !own_find(&trace, buf, c.bytes))
			continue;
		out->own++;
		if (trace.stamped)
			out->trace = trace;
	}
	kept_layout_release(&layout);
	free(buf);
	return rc;
}
