/* What a gadget model does wrong with the data of a write. */
#include "medium/model_fault.h"

#include <string.h>

#include "base/random.h"

static bool is_nth(uint64_t count, uint64_t n)
{
	return n && count % n == 0;
}

static void slip(const struct model_faults *f, unsigned char *data, size_t len)
{
	size_t n = f->slip_bytes;

	if (f->slip_direction == MODEL_SLIP_LATE)
		memmove(data + n, data, len - n);
	else
		memmove(data, data + n, len - n);
}

/* One bit in the last byte of every full stretch of written data. */
static void flip(uint64_t every, uint64_t seed, uint64_t before, unsigned char *data, size_t len)
{
	for (uint64_t k = before / every + 1; k * every <= before + len; k++)
		data[k * every - before - 1] ^= (unsigned char)(1U << random_at(seed, k) % 8);
}

static void stick(const struct model_faults *f, unsigned char *data, size_t len)
{
	unsigned char bit = (unsigned char)(1U << (f->stuck_bit - 1));

	for (size_t i = 0; i < len; i++)
		data[i] = f->stuck_level == MODEL_LEVEL_HIGH ? (unsigned char)(data[i] | bit)
							     : (unsigned char)(data[i] & ~bit);
}

struct model_harm model_fault_apply(struct model_fault_counts *n, const struct model_spec *s,
	const struct model_command *c, unsigned char *data)
{
	const struct model_faults *f = &s->faults;
	struct model_harm h = { 0 };
	bool is_long = c->len > s->device.block_bytes;

	n->writes++;
	n->long_writes += is_long;
	if (is_nth(n->writes, f->slip_write))
		slip(f, data, c->len);
	if (f->flip_every_bytes)
		flip(f->flip_every_bytes, s->device.seed, n->bytes, data, c->len);
	if (f->stuck_bit)
		stick(f, data, c->len);
	n->bytes += c->len;
	h.lost = is_nth(n->writes, f->lose_write);
	h.fleeting = is_nth(n->writes, f->lose_flushed);
	h.drops_last = is_long && is_nth(n->long_writes, f->drop_last_sector);
	if (is_nth(n->writes, f->off_by_one) &&
		c->at + c->len + s->device.block_bytes <= s->device.capacity_bytes)
		h.shift_bytes = s->device.block_bytes;
	return h;
}

bool model_fault_is_bad(const struct model_spec *s, uint64_t at)
{
	return at - s->faults.bad_range.start < s->faults.bad_range.bytes;
}
