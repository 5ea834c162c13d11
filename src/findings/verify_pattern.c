/* Patterns in damage. */
#include "findings/verify_pattern.h"

#include <stdlib.h>

/* So many flips on one line of four by chance: once in 64. */
enum { LINE_FLIPS = 4 };

/* So many even chances do not all fall alike: once in 65536. */
enum { NO_CHANCE = 16 };

static int by_offset(const void *a, const void *b)
{
	const struct damage_range *x = a, *y = b;

	if (x->offset != y->offset)
		return x->offset < y->offset ? -1 : 1;
	return (x->generation > y->generation) - (x->generation < y->generation);
}

/* The places of a quick look, when they are sound; a record may say anything. */
static bool places_of(struct wrap_places *out, const struct verify_record *v)
{
	const struct verify_record_plan *p = &v->plan;
	const struct damage_totals *t = &v->state.totals;
	uint64_t unit = t->block_bytes, length = p->sizes[0], end = 0;

	if (!p->spot_count || !unit || !length || length % unit || p->region_bytes % unit ||
		length > p->region_bytes || p->region_bytes > INT64_MAX)
		return false;
	for (uint64_t i = 0; i < p->spot_count; i++) {
		if (p->spots[i] < end || p->spots[i] < p->region_start ||
			p->spots[i] - p->region_start > p->region_bytes - length)
			return false;
		end = p->spots[i] + length;
	}
	*out = (struct wrap_places){ p->spots, (size_t)p->spot_count, length, unit,
		p->region_bytes };
	return true;
}

/* Misplaced blocks, written anew, changed the places that they seemed to be read from: all of them that were tried. */
static bool is_same_storage(const struct verify_record *v)
{
	return v->state.places_tried && v->state.places_same == v->state.places_tried;
}

/* Where storage is what repeats, later writes overwrite earlier ones: written in ascending order, all that is found belongs
 * further on; at random, each request by an even chance. Where only reads go astray, what was written first is found, all
 * of it. */
static void note_repeat(struct verify_pattern *p, const struct verify_record *v, bool certain)
{
	const struct damage_totals *t = &v->state.totals;
	bool ascending = v->plan.write && v->plan.sequential && !v->plan.random;
	uint64_t least = ascending ? t->by_class[DAMAGE_MISPLACED] / 2 : 1;

	if (t->found_ahead >= least || is_same_storage(v)) {
		p->repeat_bytes = t->distance_gcd;
		p->repeat_is_capacity = certain;
	} else if (!t->found_ahead && (ascending || t->requests_damaged >= NO_CHANCE)) {
		p->read_repeat_bytes = t->distance_gcd;
	} else if (!t->found_ahead) {
		p->some_repeat_bytes = t->distance_gcd;
	}
}

/* Addresses that repeat after C bytes damage a certain number of the places' blocks, each time they are read. */
static void find_repeat_of_places(struct verify_pattern *p, const struct verify_record *v)
{
	const struct damage_totals *t = &v->state.totals;
	double misplaced = (double)t->by_class[DAMAGE_MISPLACED], expected;
	struct wrap_places places;
	uint64_t lost, blocks;

	if (!places_of(&places, v) || wrap_sight(&p->sight, &places) < 0)
		return;
	p->sight_known = true;
	if (!t->distance_gcd)
		return;
	lost = wrap_blocks_lost(&places, t->distance_gcd);
	blocks = places.count * (places.length / places.unit);
	expected = (double)lost * (double)t->judged / (double)blocks;
	if (lost == UINT64_MAX || misplaced < expected * 0.95 || misplaced > expected * 1.05)
		return;
	note_repeat(p, v, p->sight.all_named);
}

/* With addresses that repeat after C bytes, all blocks but C bytes of a region of R are found misplaced, and every
 * distance is a multiple of C. Two swapped blocks share the second property, not the first. */
static void find_repeat(struct verify_pattern *p, const struct verify_record *v)
{
	const struct damage_totals *t = &v->state.totals;
	double misplaced = (double)t->by_class[DAMAGE_MISPLACED], expected;

	p->same_places = is_same_storage(v) ? v->state.places_same : 0;
	p->apart_places = v->state.places_apart;
	p->one_distance = t->by_class[DAMAGE_MISPLACED] && t->distance_min == t->distance_max;
	if (v->state.places_apart)
		return; /* copies of what lies elsewhere */
	if (v->plan.spot_count) {
		find_repeat_of_places(p, v);
		return;
	}
	if (!t->by_class[DAMAGE_MISPLACED] || !t->distance_gcd ||
		t->distance_gcd >= t->region_bytes)
		return;
	expected = (double)t->judged * (1 - (double)t->distance_gcd / (double)t->region_bytes);
	if (misplaced < expected * 0.95 || misplaced > expected * 1.05)
		return;
	note_repeat(p, v, true);
}

/* Blocks of one reading that lie at `offset` or beyond; *before: where the last one before it ends. */
static uint64_t blocks_from(const struct verify_record *v, uint64_t offset, uint64_t *before)
{
	const struct verify_record_plan *p = &v->plan;
	uint64_t unit = v->state.totals.block_bytes, count = 0;

	*before = offset;
	if (!p->spot_count)
		return (p->region_start + p->region_bytes - offset) / unit;
	*before = p->region_start;
	for (uint64_t i = 0; i < p->spot_count; i++) {
		uint64_t from = p->spots[i], end = from + p->sizes[0];

		if (from < offset)
			*before = end < offset ? end : offset;
		if (end > offset)
			count += (end - (from > offset ? from : offset)) / unit;
	}
	return count;
}

/* Written in ascending order, the last ones that fit into one place are right, and all that they overwrote, or were told of
 * instead of themselves, holds one of them. A single stretch that went astray, or was written twice, is no such thing. */
static bool looks_folded(const struct verify_record *v, uint64_t damaged)
{
	const struct damage_totals *t = &v->state.totals;
	uint64_t end = v->plan.region_start + v->plan.region_bytes;

	return v->plan.sequential && !v->plan.random && t->source_first > t->last_offset &&
	       damaged > (end - t->last_offset) / t->block_bytes - 1;
}

/* Storage that ends, where what lies beyond is folded onto some of what lies before: every block of it holds what was
 * written there last, which is right at one place. */
static void find_fold(struct verify_pattern *p, const struct verify_record *v)
{
	const struct damage_totals *t = &v->state.totals;
	uint64_t end = v->plan.region_start + v->plan.region_bytes, all, damaged;

	if (v->plan.spot_count || !v->plan.write || p->repeat_bytes || v->plan.region_start ||
		!t->block_bytes || !t->by_class[DAMAGE_MISPLACED] || v->state.places_apart ||
		t->by_class[DAMAGE_MISPLACED] != damage_totals_damaged(t) || t->source_last >= end)
		return;
	all = v->plan.region_bytes / t->block_bytes;
	/* In whole readings of everything. */
	if (!all || t->judged % all || damage_totals_damaged(t) % (t->judged / all))
		return;
	damaged = damage_totals_damaged(t) / (t->judged / all);
	if (!is_same_storage(v) && !looks_folded(v, damaged))
		return;
	p->folded_bytes = (all - damaged) * t->block_bytes;
}

/* A target that lets go of what lies beyond its real capacity, or refuses it. */
static void find_end(struct verify_pattern *p, const struct verify_record *v)
{
	const struct damage_totals *t = &v->state.totals;
	uint64_t gone = t->by_class[DAMAGE_UNREADABLE] + t->by_class[DAMAGE_BLANK] +
			t->by_class[DAMAGE_STALE] + t->by_class[DAMAGE_FOREIGN];
	uint64_t end = v->plan.region_start + v->plan.region_bytes, before, once, all;
	struct wrap_places places;

	if (!gone || gone != damage_totals_damaged(t) || !t->block_bytes ||
		t->first_offset <= v->plan.region_start || t->first_offset >= end ||
		end < v->plan.region_start || (v->plan.spot_count && !places_of(&places, v)))
		return;
	once = blocks_from(v, t->first_offset, &before);
	all = blocks_from(v, v->plan.region_start, &(uint64_t){ 0 });
	/* In whole readings of everything, so that nothing lost was read fewer times than it might have been. */
	if (!once || !all || t->judged % all || gone / once != t->judged / all || gone % once)
		return;
	p->ends_after = before;
	p->ends_at = t->first_offset;
}

static uint64_t lowest_bit(uint64_t n)
{
	return n & (~n + 1);
}

struct stretch_walk {
	uint64_t start, end, previous_start, gap, alignment;
	bool constant;
};

static void close_stretch(struct verify_pattern *p, struct stretch_walk *w)
{
	uint64_t edge = lowest_bit(w->start | w->end);

	if (p->stretches && p->stretches == 1)
		w->gap = w->start - w->previous_start;
	else if (p->stretches && w->start - w->previous_start != w->gap)
		w->constant = false;
	if (edge && (!w->alignment || edge < w->alignment))
		w->alignment = edge;
	w->previous_start = w->start;
	p->stretches++;
}

static void find_stretches(struct verify_pattern *p, struct verify_record *v)
{
	struct stretch_walk w = { .constant = true };

	if (v->range_count) /* a record that lost its ranges has none to sort, not even a pointer */
		qsort(v->ranges, v->range_count, sizeof *v->ranges, by_offset);
	for (size_t i = 0; i < v->range_count; i++) {
		const struct damage_range *r = &v->ranges[i];

		if (i && r->offset <= w.end) {
			if (r->offset + r->bytes > w.end)
				w.end = r->offset + r->bytes;
			continue;
		}
		if (i)
			close_stretch(p, &w);
		w.start = r->offset;
		w.end = r->offset + r->bytes;
	}
	if (v->range_count)
		close_stretch(p, &w);
	p->period_bytes = p->stretches >= 3 && w.constant ? w.gap : 0;
	p->aligned_bytes = w.alignment;
	p->ranges_complete = v->state.totals.unlisted == 0;
}

static void find_request_places(struct verify_pattern *p, const struct verify_record *v)
{
	const struct damage_totals *t = &v->state.totals;
	uint64_t inside = t->request_first + t->request_middle + t->request_last;

	p->request_bytes = v->plan.size_count ? v->plan.sizes[0] : 0;
	p->request_known = v->plan.size_count == 1 && v->plan.sizes[0] > t->block_bytes;
	if (!p->request_known || !inside)
		return;
	p->always_last = t->request_last == inside && inside > 1;
	p->always_first = t->request_first == inside && inside > 1;
	p->whole = t->requests_whole == t->requests_damaged ? t->requests_whole : 0;
}

static void find_bits(struct verify_pattern *p, const struct damage_totals *t)
{
	uint64_t set = 0, cleared = 0;

	p->data_line = -1;
	for (int i = 0; i < 8; i++) {
		set += t->set_at[i];
		cleared += t->cleared_at[i];
		if (t->set_at[i] || t->cleared_at[i])
			p->positions |= (uint8_t)(1U << i);
	}
	p->only_set = set && !cleared;
	p->only_cleared = cleared && !set;
	p->one_byte = p->positions && t->by_class[DAMAGE_BIT_ERROR] > 1 &&
		      t->bit_lowest / 8 == t->bit_highest / 8;
	p->one_bit = p->one_byte && t->bit_lowest == t->bit_highest;
	/* A 4-bit card bus sends bits 7..4, then 3..0, on DAT3..DAT0 (SD Physical Layer Simplified Specification). */
	for (int line = 0; line < 4; line++)
		if (set + cleared >= LINE_FLIPS && !(p->positions & ~(0x11U << line)))
			p->data_line = line;
}

void verify_pattern_find(struct verify_pattern *p, struct verify_record *v)
{
	*p = (struct verify_pattern){ 0 };
	find_repeat(p, v);
	find_fold(p, v);
	find_end(p, v);
	find_stretches(p, v);
	find_request_places(p, v);
	find_bits(p, &v->state.totals);
}
