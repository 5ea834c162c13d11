/* Totals and ranges of damage. */
#include "integrity/damage_list.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/number.h"

int damage_init(struct damage *d, uint64_t region_start, uint64_t region_bytes,
	uint32_t block_bytes, size_t range_room)
{
	uint64_t blocks = region_bytes / block_bytes;
	uint64_t per_cell = (blocks + DAMAGE_MAP_CELLS - 1) / DAMAGE_MAP_CELLS;

	*d = (struct damage){
		.totals = { .block_bytes = block_bytes,
			.region_start = region_start,
			.region_bytes = region_bytes,
			.cell_bytes = (per_cell ? per_cell : 1) * block_bytes },
		.range_room = range_room,
		.last_end = UINT64_MAX,
	};
	d->ranges = calloc(range_room ? range_room : 1, sizeof *d->ranges);
	return d->ranges ? 0 : -ENOMEM;
}

void damage_release(struct damage *d)
{
	free(d->ranges);
	d->ranges = NULL;
	d->range_count = 0;
}

void damage_close_range(struct damage *d)
{
	d->last_end = UINT64_MAX;
}

static size_t cell_of(const struct damage_totals *t, uint64_t offset)
{
	uint64_t cell = (offset - t->region_start) / t->cell_bytes;

	return cell < DAMAGE_MAP_CELLS ? (size_t)cell : DAMAGE_MAP_CELLS - 1;
}

/* Counts a request's blocks as judged, cell by cell. */
static void count_judged(struct damage_totals *t, uint64_t offset, uint32_t count)
{
	t->judged += count;
	while (count) {
		size_t cell = cell_of(t, offset);
		uint64_t end = t->region_start + (cell + 1) * t->cell_bytes;
		uint64_t here = (end - offset) / t->block_bytes;

		if (here > count || cell == DAMAGE_MAP_CELLS - 1)
			here = count;
		t->cell_judged[cell] += here;
		count -= (uint32_t)here;
		offset += here * t->block_bytes;
	}
}

void damage_add_right(struct damage *d, uint64_t offset, uint32_t count)
{
	count_judged(&d->totals, offset, count);
	d->totals.by_class[DAMAGE_NONE] += count;
}

static void note_bits(struct damage_totals *t, const struct verdict *v)
{
	bool first = t->by_class[DAMAGE_BIT_ERROR] == 1;

	for (int i = 0; i < 8; i++) {
		t->set_at[i] += v->set_at[i];
		t->cleared_at[i] += v->cleared_at[i];
	}
	if (first || v->first_bit < t->bit_lowest)
		t->bit_lowest = v->first_bit;
	if (first || v->last_bit > t->bit_highest)
		t->bit_highest = v->last_bit;
	t->stuck_low = first ? v->stuck_low : t->stuck_low & v->stuck_low;
	t->stuck_high = first ? v->stuck_high : t->stuck_high & v->stuck_high;
}

static void note_distance(struct damage_totals *t, const struct verdict *v, uint64_t offset)
{
	bool first = t->by_class[DAMAGE_MISPLACED] == 1;
	bool ahead = v->found_offset > offset;
	uint64_t distance = ahead ? v->found_offset - offset : offset - v->found_offset;

	t->distance_gcd = number_gcd(distance, t->distance_gcd);
	t->found_ahead += ahead;
	if (first || v->found_offset < t->source_first)
		t->source_first = v->found_offset;
	if (first || v->found_offset > t->source_last)
		t->source_last = v->found_offset;
	if (first || distance < t->distance_min)
		t->distance_min = distance;
	if (first || distance > t->distance_max)
		t->distance_max = distance;
}

static void note_slip(struct damage_totals *t, int32_t slip)
{
	bool first = t->by_class[DAMAGE_SHIFTED] == 1;

	if (first || slip < t->slip_min)
		t->slip_min = slip;
	if (first || slip > t->slip_max)
		t->slip_max = slip;
}

static void note_evidence(struct damage_totals *t, const struct verdict *v, uint64_t offset)
{
	if (v->class == DAMAGE_BIT_ERROR)
		note_bits(t, v);
	else if (v->class == DAMAGE_MISPLACED)
		note_distance(t, v, offset);
	else if (v->class == DAMAGE_SHIFTED)
		note_slip(t, v->slip_bytes);
	if (v->other_run && !t->other_run++)
		t->other_seed = v->found_seed;
}

static void add_to_ranges(
	struct damage *d, uint64_t offset, uint32_t generation, const struct verdict *v)
{
	uint32_t n = d->totals.block_bytes;
	struct damage_range *r;

	if (d->last_end == offset && verdict_continues(&d->last, v, n) &&
		d->ranges[d->range_count - 1].generation == generation) {
		r = &d->ranges[d->range_count - 1];
		r->bytes += n;
	} else if (d->range_count < d->range_room) {
		r = &d->ranges[d->range_count++];
		*r = (struct damage_range){
			.class = v->class, .offset = offset, .bytes = n, .generation = generation
		};
		verdict_detail(r->detail, sizeof r->detail, v, offset);
	} else {
		d->totals.unlisted++;
		d->last_end = UINT64_MAX;
		return;
	}
	d->last = *v;
	d->last_end = offset + n;
}

static void add_damaged(
	struct damage *d, uint64_t offset, uint32_t generation, const struct verdict *v)
{
	struct damage_totals *t = &d->totals;
	size_t cell = cell_of(t, offset);

	t->cell_damaged[cell]++;
	t->cell_classes[cell] |= 1U << v->class;
	note_evidence(t, v, offset);
	add_to_ranges(d, offset, generation, v);
}

static void note_extent(struct damage_totals *t, uint64_t at, bool first)
{
	if (first || at < t->first_offset)
		t->first_offset = at;
	if (first || at > t->last_offset)
		t->last_offset = at;
}

static void note_place(struct damage_totals *t, uint32_t index, uint32_t count)
{
	if (count < 2)
		return;
	if (index == 0)
		t->request_first++;
	else if (index == count - 1)
		t->request_last++;
	else
		t->request_middle++;
}

void damage_add(struct damage *d, uint64_t offset, uint32_t generation,
	const struct verdict *verdicts, uint32_t count)
{
	struct damage_totals *t = &d->totals;
	uint32_t damaged = 0;

	count_judged(t, offset, count);
	for (uint32_t i = 0; i < count; i++) {
		uint64_t at = offset + (uint64_t)i * t->block_bytes;

		t->by_class[verdicts[i].class]++;
		if (verdicts[i].class == DAMAGE_NONE)
			continue;
		note_extent(t, at, !t->requests_damaged && !damaged);
		damaged++;
		note_place(t, i, count);
		add_damaged(d, at, generation, &verdicts[i]);
	}
	t->requests_damaged += damaged != 0;
	t->requests_whole += damaged == count && count > 1;
}
