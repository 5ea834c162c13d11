/* analysis/wrap against brute force: places in a small target, every capacity tried by writing and reading block by
 * block; and the places of `verify --spot` on media whose addresses repeat. */
#include "analysis/wrap.h"

#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "cli/verify_places.h"
#include "findings/verify_pattern.h"
#include "integrity/verify.h"
#include "support/ram_medium.h"

enum { BLOCKS_MAX = 4096 };

static int by_value(const void *a, const void *b)
{
	const uint64_t *x = a, *y = b;

	return (*x > *y) - (*x < *y);
}

/* Writes all places of a target of `capacity` blocks, reads them, returns how many blocks are not their own; *gcd: of
 * the distances found. All in blocks. */
static uint64_t look(const struct wrap_places *p, uint64_t capacity, uint64_t *gcd)
{
	static uint64_t store[BLOCKS_MAX];
	uint64_t lost = 0;

	*gcd = 0;
	for (int reading = 0; reading < 2; reading++)
		for (size_t i = 0; i < p->count; i++)
			for (uint64_t b = 0; b < p->length / p->unit; b++) {
				uint64_t own = p->offsets[i] / p->unit + b;
				uint64_t a, *found = &store[own % capacity];

				if (!reading) {
					*found = own;
					continue;
				}
				lost += *found != own;
				for (a = *found > own ? *found - own : own - *found; a;) {
					uint64_t rest = *gcd % a;

					*gcd = a;
					a = rest;
				}
			}
	return lost;
}

static void compare_with_looking(const struct wrap_places *p)
{
	uint64_t total = p->region_bytes / p->unit, seen = 0, seen_half = 0, named = 0;
	struct wrap_sight s;

	ck_assert_int_eq(wrap_sight(&s, p), 0);
	for (uint64_t c = 1; c < total; c++) {
		uint64_t gcd, lost = look(p, c, &gcd);

		ck_assert_uint_eq(wrap_blocks_lost(p, c * p->unit), lost);
		seen += lost != 0;
		seen_half += lost != 0 && 2 * c >= total;
		named += gcd == c;
	}
	/* What is promised holds. */
	if (s.all_seen)
		ck_assert_uint_eq(seen, total - 1);
	if (s.all_named)
		ck_assert_uint_eq(named, total - 1);
	/* Each capacity from half on is its own only multiple, so here the share is exact, both ways. */
	ck_assert_double_eq_tol(
		s.share, (double)seen_half / (double)(total - (total + 1) / 2), 1e-12);
	ck_assert_int_eq(s.all_seen, seen_half == total - (total + 1) / 2);
}

START_TEST(comb_sees_and_names_every_capacity)
{
	static const uint64_t lengths[] = { 1, 2, 3, 8, 16 };
	struct random r = { 5 };

	for (int round = 0; round < 60; round++) {
		uint64_t length = lengths[round % 5], total = length * 4 + random_below(&r, 1200);
		uint64_t offsets[BLOCKS_MAX], n;
		struct wrap_comb c;
		struct wrap_sight s;

		wrap_comb(&c, total * 512, length * 512, 512, 512);
		n = c.low + c.high;
		/* 2 * sqrt(2/3 * total / step), step at least the length, and rounding */
		ck_assert_uint_le((n - 2) * (n - 2) * length, total * 8 / 3);
		for (uint64_t i = 0; i < n; i++)
			offsets[i] = wrap_comb_at(&c, i, total * 512, length * 512);
		qsort(offsets, (size_t)n, sizeof *offsets, by_value);
		for (uint64_t i = 1; i < n; i++)
			if (offsets[i] < offsets[i - 1] + length * 512)
				goto too_small; /* hardly more than the places themselves */
		struct wrap_places p = { offsets, (uint32_t)n, length * 512, 512, total * 512 };

		ck_assert_int_eq(wrap_sight(&s, &p), 0);
		ck_assert_msg(s.all_seen && s.all_named, "%llu blocks, places of %llu",
			(unsigned long long)total, (unsigned long long)length);
		compare_with_looking(&p);
		continue;
	too_small:
		ck_assert_uint_lt(total, 16 * length);
	}
}
END_TEST

START_TEST(places_at_random)
{
	struct random r = { 6 };

	for (int round = 0; round < 60; round++) {
		uint64_t length = 1 + random_below(&r, 9), total = 300 + random_below(&r, 500);
		uint64_t offsets[64], at = random_below(&r, 20), n = 0;

		while (n < 64 && at + length <= total) {
			offsets[n++] = at * 4096;
			at += length + random_below(&r, round < 30 ? 4 : 60);
		}
		compare_with_looking(&(struct wrap_places){
			offsets, (uint32_t)n, length * 4096, 4096, total * 4096 });
	}
}
END_TEST

START_TEST(hardly_any_places)
{
	static const uint64_t two[] = { 0, 65536 };
	struct wrap_places p = { two, 0, 4096, 512, 69632 };
	struct wrap_sight s;

	ck_assert_int_eq(wrap_sight(&s, &p), 0);
	ck_assert(!s.all_seen && !s.all_named && s.share == 0);
	p.count = 1;
	ck_assert_int_eq(wrap_sight(&s, &p), 0);
	ck_assert(!s.all_seen && s.share == 0);
	/* 128 +- 7 blocks of 136: the 15 capacities from 121 on, of 68 from half on */
	p.count = 2;
	ck_assert_int_eq(wrap_sight(&s, &p), 0);
	ck_assert_double_eq_tol(s.share, 15.0 / 68, 1e-12);
	compare_with_looking(&p);
	/* The two overlap by half; each by itself where the capacity is smaller than one. */
	ck_assert_uint_eq(wrap_blocks_lost(&p, 65536 - 2048), 4);
	ck_assert_uint_eq(wrap_blocks_lost(&p, 512), 15);
}
END_TEST

/* ---- the places of verify --spot on media whose addresses repeat ---- */

enum { REGION = 4 << 20, PLACE = 8192 };

/* What verify makes of it: the capacity it is certain of, or 0. *seen: any damage. In random order it may be left open
 * whether only reads go astray, as long as the number is right. */
static uint64_t verify_finds(struct ram_medium *ram, const struct verify_plan *plan, bool *seen)
{
	static struct verify_record v;
	static const struct verify_hooks hooks;
	struct verify_pattern pattern;
	struct verify_result r;
	struct error err = { 0 };
	struct medium *m = &ram->medium;

	ck_assert_int_eq(verify_result_init(&r, plan, &err), 0);
	ck_assert_msg(verify_run(&m, plan, &hooks, &r, &err) == 0, "%s", err.text);
	v = (struct verify_record){ .plan = { .region_start = plan->region_start,
					    .region_bytes = plan->region_bytes,
					    .sizes = { plan->sizes[0] },
					    .size_count = 1,
					    .write = true,
					    .sequential = !plan->random[0],
					    .random = plan->random[0],
					    .spot_count = plan->spot_count },
		.state.totals = r.damage.totals };
	memcpy(v.plan.spots, plan->spots, (size_t)plan->spot_count * sizeof *plan->spots);
	verify_pattern_find(&pattern, &v);
	*seen = damage_totals_damaged(&r.damage.totals) != 0;
	damage_release(&r.damage);
	ck_assert(pattern.sight_known && pattern.sight.all_named);
	if (plan->random[0] && pattern.some_repeat_bytes)
		return pattern.some_repeat_bytes;
	return pattern.repeat_is_capacity ? pattern.repeat_bytes : 0;
}

START_TEST(no_odd_capacity_escapes_a_quick_look)
{
	struct ram_medium *ram = ram_medium_new(REGION, 512, true);
	struct random r = { 7 };
	uint64_t spots[64], capacity;
	struct verify_plan p = { .region_bytes = REGION,
		.block_bytes = 512,
		.seed = 3,
		.sizes = { PLACE },
		.size_count = 1,
		.random = { _i == 1 },
		.order_count = 1,
		.rewrites = _i == 2 ? 2 : 1,
		.write = true,
		.read = true,
		.spots = spots,
		.ranges = 100 };
	bool seen;

	p.spot_count = verify_places_choose(spots, 64, &p, 512);
	ck_assert_uint_eq(p.spot_count, 64);
	ck_assert_uint_eq(verify_finds(ram, &p, &seen), 0);
	ck_assert(!seen);
	/* The largest and the smallest, a third, half and two thirds and their neighbours, then chance. */
	for (int round = 0; round < 250; round++) {
		static const uint64_t parts[] = { 8191, 8190, 1, 16, 17, 2730, 2731, 4095, 4096,
			4097, 5461, 5462, 6143 };
		enum { PARTS = sizeof parts / sizeof *parts };

		capacity = round < PARTS ? parts[round] : 1 + random_below(&r, 8191);
		ram->wrap_bytes = capacity * 512;
		ck_assert_msg(verify_finds(ram, &p, &seen) == capacity * 512 && seen,
			"capacity of %llu blocks", (unsigned long long)capacity);
	}
	medium_close(&ram->medium);
}
END_TEST

/* Two places tell of a collision, not of which whole fraction of their distance the capacity is; and two blocks that
 * changed places are no collision. */
START_TEST(no_more_is_said_than_is_known)
{
	static struct verify_record v;
	struct verify_pattern pattern;
	struct damage_totals *t = &v.state.totals;

	v = (struct verify_record){ .plan = { .region_bytes = REGION,
					    .sizes = { 4096 },
					    .size_count = 1,
					    .spots = { 0, 65536 },
					    .spot_count = 2 },
		.state.totals = { .block_bytes = 512,
			.judged = 16,
			.by_class = { [DAMAGE_NONE] = 8, [DAMAGE_MISPLACED] = 8 },
			.distance_gcd = 65536,
			.distance_min = 65536,
			.distance_max = 65536,
			.found_ahead = 8 } };
	verify_pattern_find(&pattern, &v);
	ck_assert_uint_eq(pattern.repeat_bytes, 65536);
	ck_assert(!pattern.repeat_is_capacity);
	t->by_class[DAMAGE_NONE] = 14;
	t->by_class[DAMAGE_MISPLACED] = 2;
	verify_pattern_find(&pattern, &v);
	ck_assert_uint_eq(pattern.repeat_bytes, 0);
	ck_assert(pattern.one_distance);
	/* A record may say anything. */
	v.plan.spots[0] = 65536 - 512;
	verify_pattern_find(&pattern, &v);
	ck_assert(!pattern.sight_known);
	v.plan.spots[0] = 0;
	v.plan.spots[1] = REGION;
	verify_pattern_find(&pattern, &v);
	ck_assert(!pattern.sight_known);
	t->block_bytes = 0;
	verify_pattern_find(&pattern, &v);
	ck_assert(!pattern.sight_known);
}
END_TEST

Suite *wrap_suite(void)
{
	Suite *s = suite_create("wrap");
	TCase *t = tcase_create("wrap");

	tcase_set_timeout(t, 60);
	tcase_add_test(t, comb_sees_and_names_every_capacity);
	tcase_add_test(t, places_at_random);
	tcase_add_test(t, hardly_any_places);
	tcase_add_test(t, no_more_is_said_than_is_known);
	tcase_add_loop_test(t, no_odd_capacity_escapes_a_quick_look, 0, 3);
	suite_add_tcase(s, t);
	return s;
}
