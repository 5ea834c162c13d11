/* Places against false capacities. */
#include "analysis/wrap.h"

#include <errno.h>
#include <math.h>
#include <stdlib.h>

#include "base/number.h"

/* ---- which capacities are seen ---- */

/* The places above place `low`, in turn; all of these merged give every distance in ascending order. */
struct row {
	uint64_t distance; /* from low to high */
	size_t low, high;
};

static void sift_down(struct row *heap, size_t count, size_t i)
{
	for (;;) {
		size_t least = i;

		for (size_t child = 2 * i + 1; child <= 2 * i + 2 && child < count; child++)
			if (heap[child].distance < heap[least].distance)
				least = child;
		if (least == i)
			return;
		struct row kept = heap[i];

		heap[i] = heap[least];
		heap[least] = kept;
		i = least;
	}
}

/* The first row's next place; false when no row has any left. */
static bool advance(struct row *heap, size_t *count, const struct wrap_places *p)
{
	struct row *first = &heap[0];

	if (first->high + 1 < p->count) {
		first->high++;
		first->distance = p->offsets[first->high] - p->offsets[first->low];
	} else {
		heap[0] = heap[--*count];
	}
	sift_down(heap, *count, 0);
	return *count > 0;
}

/* Counts what intervals, in ascending order of their ends, cover of [from, end), in units. */
struct tally {
	uint64_t from, end, unit;
	uint64_t next; /* everything before it is settled */
	uint64_t covered;
};

static void tally_add(struct tally *t, uint64_t first, uint64_t last)
{
	if (first < t->next)
		first = t->next;
	if (last >= t->end)
		last = t->end - t->unit;
	if (first > last)
		return;
	t->covered += (last - first) / t->unit + 1;
	t->next = last + t->unit;
}

static struct tally tally_from(const struct wrap_places *p, uint64_t parts)
{
	uint64_t least = p->region_bytes / parts + (p->region_bytes % parts != 0);
	uint64_t from = number_round_up(least ? least : 1, p->unit);

	return (struct tally){ from, p->region_bytes, p->unit, from, 0 };
}

static bool tally_is_full(const struct tally *t)
{
	return t->from >= t->end || t->covered == (t->end - t->from) / t->unit;
}

static void count_distances(struct row *heap, size_t count, const struct wrap_places *p,
	struct tally *half, struct tally *third)
{
	uint64_t reach = p->length - p->unit;

	for (size_t i = count; i-- > 0;)
		sift_down(heap, count, i);
	do {
		uint64_t d = heap[0].distance;

		tally_add(half, d - reach, d + reach); /* places do not touch: d >= length */
		tally_add(third, d - reach, d + reach);
	} while (advance(heap, &count, p));
}

/* One row for each place, from the first distance that can matter. Returns how many there are. */
static size_t make_rows(struct row *heap, const struct wrap_places *p, uint64_t least)
{
	size_t rows = 0, high = 1;

	for (size_t low = 0; low + 1 < p->count; low++) {
		high = high > low ? high : low + 1;
		while (high < p->count && p->offsets[high] - p->offsets[low] + p->length < least)
			high++;
		if (high == p->count)
			break; /* and for all further up */
		heap[rows++] = (struct row){ p->offsets[high] - p->offsets[low], low, high };
	}
	return rows;
}

int wrap_sight(struct wrap_sight *out, const struct wrap_places *p)
{
	struct tally half = tally_from(p, 2), third = tally_from(p, 3);
	struct row *heap = calloc(p->count + 1, sizeof *heap);
	size_t rows;

	*out = (struct wrap_sight){ 0 };
	if (!heap)
		return -ENOMEM;
	rows = make_rows(heap, p, third.from);
	if (rows)
		count_distances(heap, rows, p, &half, &third);
	free(heap);
	out->all_seen = tally_is_full(&half);
	out->all_named = out->all_seen && tally_is_full(&third);
	out->share = half.from < half.end ? (double)half.covered * (double)p->unit /
						    (double)(half.end - half.from)
					  : 1;
	return 0;
}

/* ---- what a capacity does to the places ---- */

struct stretch {
	uint64_t from, end;
};

static int by_from(const void *a, const void *b)
{
	const struct stretch *x = a, *y = b;

	return (x->from > y->from) - (x->from < y->from);
}

/* Bytes in at least one of the stretches. */
static uint64_t united(struct stretch *s, size_t count)
{
	uint64_t bytes = 0, end = 0;

	qsort(s, count, sizeof *s, by_from);
	for (size_t i = 0; i < count; i++) {
		uint64_t from = s[i].from > end ? s[i].from : end;

		if (s[i].end > from) {
			bytes += s[i].end - from;
			end = s[i].end;
		}
	}
	return bytes;
}

uint64_t wrap_blocks_lost(const struct wrap_places *p, uint64_t capacity)
{
	struct stretch *s = calloc(2 * p->count + 1, sizeof *s);
	uint64_t stored;
	size_t n = 0;

	if (!s)
		return UINT64_MAX;
	for (size_t i = 0; i < p->count; i++) {
		uint64_t from = p->offsets[i] % capacity;
		uint64_t length = p->length < capacity ? p->length : capacity;
		uint64_t before_end = capacity - from;

		s[n++] = (struct stretch){ from,
			from + (length < before_end ? length : before_end) };
		if (length > before_end)
			s[n++] = (struct stretch){ 0, length - before_end };
	}
	stored = united(s, n);
	free(s);
	return (p->count * p->length - stored) / p->unit;
}

/* ---- places that see every capacity ---- */

/* A power of two that aligned places keep to, 4 KiB where that fits: a card writes nothing smaller well. */
static uint64_t grain_of(uint64_t length, uint64_t align)
{
	uint64_t grain = length & (~length + 1);

	if (grain > 4096)
		grain = 4096;
	return grain > align ? grain : align;
}

/* With one low place a high one sees distances within length - unit of its own offset; each further low place widens
 * that by low_step. Neighbouring high places must leave no distance between them out. */
void wrap_comb(struct wrap_comb *out, uint64_t region_bytes, uint64_t length, uint64_t unit,
	uint64_t align)
{
	uint64_t grain = grain_of(length, align), reach = length - unit;
	uint64_t low_step = number_round_down(2 * reach + unit, grain);
	double wanted = (double)region_bytes * 2 / 3;
	uint64_t low = (uint64_t)ceil(sqrt(wanted / (double)low_step));
	uint64_t high_step = number_round_down((low - 1) * low_step + 2 * reach + unit, grain);

	*out = (struct wrap_comb){ low, low_step, 0, high_step };
	/* The last high place sees down to its offset - (low - 1) * low_step - reach: a third must be reached. */
	out->high = (uint64_t)ceil(wanted / (double)high_step);
	if (out->high == 0)
		out->high = 1;
}

uint64_t wrap_comb_at(const struct wrap_comb *c, uint64_t i, uint64_t region_bytes, uint64_t length)
{
	if (i < c->low)
		return i * c->low_step;
	/* One that would begin below the region is no place: the caller has to look. */
	uint64_t down = length + (i - c->low) * c->high_step;

	return down <= region_bytes ? region_bytes - down : 0;
}
