/* One storage or two? */
#include "integrity/same_place.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "integrity/damage_list.h"
#include "medium/medium.h"

enum { LOOKS = 3 }; /* the first, the middle and the last of the ranges */

/* A buffer that reads are answered from, until it is stored. */
static const uint64_t patience_ns = 1000000000;

struct pair {
	struct medium *m;
	struct judge *judge;
	uint32_t generation;
	size_t unit;
	uint64_t here, there; /* where the block was found, and where it belongs */
	uint8_t *before, *own, *seen; /* a unit each */
};

static bool transfer(struct pair *p, bool write, uint64_t at, void *bytes)
{
	size_t got = 0;
	int rc;

	do
		rc = write ? medium_write(p->m, at, bytes, p->unit, &got)
			   : medium_read(p->m, at, bytes, p->unit, &got);
	while (rc == -EINTR);
	return rc == 0 && got == p->unit;
}

static bool write_here(struct pair *p, void *bytes)
{
	return transfer(p, true, p->here, bytes) && medium_flush(p->m) == 0 &&
	       medium_drop_cache(p->m) == 0;
}

/* Does this block still read as another's, of the same run and within the region? */
static bool find_there(struct pair *p, const struct damage_totals *t, uint64_t block)
{
	struct verdict v;
	uint64_t end = t->region_start + t->region_bytes, from;

	p->here = block / p->unit * p->unit;
	if (p->here < t->region_start || p->here + p->unit > end ||
		!transfer(p, false, p->here, p->before) ||
		judge_block(p->judge, p->before + (block - p->here), block, p->generation, &v) !=
			DAMAGE_MISPLACED ||
		v.other_run)
		return false;
	from = v.found_offset - (block - p->here);
	p->there = from;
	return from % p->unit == 0 && from >= t->region_start && from < end &&
	       end - from >= p->unit && from != p->here;
}

/* Is the place what must be there? */
static bool is_right(struct pair *p, uint64_t at)
{
	stamp_fill_range(&p->judge->stamp, p->own, p->unit, at, p->generation);
	return transfer(p, false, at, p->seen) && !memcmp(p->seen, p->own, p->unit);
}

static bool shows_there(struct pair *p)
{
	stamp_fill_range(&p->judge->stamp, p->own, p->unit, p->here, p->generation);
	return transfer(p, false, p->there, p->seen) && !memcmp(p->seen, p->own, p->unit);
}

static bool look_at(struct pair *p, struct same_place *out)
{
	bool same;

	stamp_fill_range(&p->judge->stamp, p->own, p->unit, p->here, p->generation);
	if (!write_here(p, p->own))
		return false;
	out->tried++;
	same = shows_there(p);
	if (!same) {
		medium_idle_ns(p->m, patience_ns);
		same = shows_there(p);
	}
	if (same)
		out->same++;
	else if (is_right(p, p->there) && is_right(p, p->here))
		out->apart++;
	return write_here(p, p->before);
}

static const struct damage_range *nth_misplaced(const struct damage *d, size_t n)
{
	for (size_t i = 0; i < d->range_count; i++)
		if (d->ranges[i].class == DAMAGE_MISPLACED && n-- == 0)
			return &d->ranges[i];
	return NULL;
}

static size_t count_misplaced(const struct damage *d)
{
	size_t n = 0;

	while (nth_misplaced(d, n))
		n++;
	return n;
}

void same_place_look(struct same_place *out, struct medium *m, struct judge *j,
	const struct damage *d, uint32_t generation)
{
	size_t unit = medium_traits(m)->offset_align_bytes, n = count_misplaced(d);
	size_t align = medium_traits(m)->memory_align_bytes, room = unit > align ? unit : align;
	struct pair p = { .m = m, .judge = j, .generation = generation, .unit = unit };
	uint8_t *memory = n ? buffer_new(3 * room, align) : NULL;
	bool go_on = true;

	*out = (struct same_place){ 0 };
	if (!memory) /* nothing to look at, or no memory to do it with */
		return;
	p.before = memory;
	p.own = memory + room;
	p.seen = memory + 2 * room;
	for (size_t i = 0; go_on && i < LOOKS; i++) {
		const struct damage_range *r = nth_misplaced(d, i * (n - 1) / (LOOKS - 1));

		if (find_there(&p, &d->totals, r->offset))
			go_on = look_at(&p, out);
	}
	free(memory);
}
