/* What a gadget model does wrong with the data of a write. */
#include "medium/model_fault.h"

#include <string.h>

#include "base/random.h"

static bool is_nth(uint64_t count, uint64_t n)
{
	return n && count % n == 0;
}

/* The first bytes come twice, or the last. */
static void slip(const struct model_faults *f, const unsigned char *data, size_t len, size_t offset,
	unsigned char *out, size_t n)
{
	size_t by = (size_t)f->slip_bytes;

	for (size_t i = 0, from = offset; i < n; i++, from++)
		if (f->slip_direction == MODEL_SLIP_LATE)
			out[i] = data[from < by ? from : from - by];
		else
			out[i] = data[from + by < len ? from + by : from];
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

struct model_harm model_fault_count(
	struct model_fault_counts *n, const struct model_spec *s, const struct model_command *c)
{
	const struct model_faults *f = &s->faults;
	struct model_harm h = { .bytes_before = n->bytes };
	bool is_long = c->len > s->device.block_bytes;

	n->writes++;
	n->long_writes += is_long;
	n->bytes += c->len;
	h.slips = is_nth(n->writes, f->slip_write);
	h.lost = is_nth(n->writes, f->lose_write);
	h.lost_at_cut = is_nth(n->writes, f->lose_flushed);
	h.drops_last = is_long && is_nth(n->long_writes, f->drop_last_sector);
	if (is_nth(n->writes, f->off_by_one) &&
		c->at + c->len + s->device.block_bytes <= s->device.capacity_bytes)
		h.shift_bytes = s->device.block_bytes;
	return h;
}

size_t model_fault_ahead(const struct model_spec *s, const struct model_harm *h)
{
	return h->slips && s->faults.slip_direction == MODEL_SLIP_EARLY
		       ? (size_t)s->faults.slip_bytes
		       : 0;
}

void model_fault_spoil(const struct model_spec *s, const struct model_harm *h,
	const unsigned char *data, size_t len, size_t offset, unsigned char *out, size_t n)
{
	const struct model_faults *f = &s->faults;

	if (h->slips)
		slip(f, data, len, offset, out, n);
	else
		memcpy(out, data + offset, n);
	if (f->flip_every_bytes)
		flip(f->flip_every_bytes, s->device.seed, h->bytes_before + offset, out, n);
	if (f->stuck_bit)
		stick(f, out, n);
}

bool model_fault_is_bad(const struct model_spec *s, uint64_t at)
{
	return at - s->faults.bad_range.start < s->faults.bad_range.bytes;
}

size_t model_fault_readable(const struct model_spec *s, uint64_t at, size_t len)
{
	const struct model_range *r = &s->faults.unreadable;

	if (at - r->start < r->bytes)
		return 0;
	return at < r->start && r->bytes && r->start - at < len ? (size_t)(r->start - at) : len;
}
