/* Whole runs: the fault matrix, wrapped addresses, passes, resuming, failing calls. */
#include "integrity/verify.h"

#include <check.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/checksum.h"
#include "base/error.h"
#include "base/random.h"
#include "base/watch.h"
#include "integrity/stamp.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"

static const uint64_t seed = 77;
static const struct verify_hooks no_hooks;

static struct verify_plan plan_for(const struct ram_medium *r, uint32_t request_bytes)
{
	return (struct verify_plan){
		.region_bytes = r->medium.traits.size_bytes,
		.block_bytes = r->medium.traits.logical_block_bytes,
		.seed = seed,
		.sizes = { request_bytes },
		.size_count = 1,
		.order_count = 1,
		.rewrites = 1,
		.write = true,
		.read = true,
		.ranges = 1000,
	};
}

/* Runs, demands success, hands the result over (release its damage). */
static struct verify_result ran(struct ram_medium *r, const struct verify_plan *p)
{
	struct verify_result result;
	struct error err = { 0 };
	struct medium *m = &r->medium;

	ck_assert_int_eq(verify_result_init(&result, p, &err), 0);
	ck_assert_msg(verify_run(&m, p, &no_hooks, &result, &err) == 0, "%s", err.text);
	ck_assert_int_eq(result.outcome, VERIFY_COMPLETE);
	return result;
}

static uint64_t damaged(const struct verify_result *r)
{
	return damage_totals_damaged(&r->damage.totals);
}

/* ---- the fault matrix ---- */

/* What is on the medium: the second generation; the first; another run's. */
struct store {
	uint32_t block;
	size_t bytes;
	uint8_t *now, *before, *other;
};

static void store_make(struct store *s, uint32_t block_bytes, size_t bytes)
{
	struct stamp stamp;

	*s = (struct store){ block_bytes, bytes, malloc(bytes), malloc(bytes), malloc(bytes) };
	stamp_init(&stamp, seed, block_bytes);
	stamp_fill_range(&stamp, s->now, bytes, 0, 2);
	stamp_fill_range(&stamp, s->before, bytes, 0, 1);
	stamp_init(&stamp, seed + 1, block_bytes);
	stamp_fill_range(&stamp, s->other, bytes, 0, 1);
}

static void store_free(struct store *s)
{
	free(s->now);
	free(s->before);
	free(s->other);
}

static void mend_crc(uint8_t *block, uint32_t n)
{
	uint32_t crc = checksum_crc32(0, block, n - 4);

	memcpy(block + n - 4, &crc, 4);
}

/* Each damages the block at `at` in `out`, which holds the right data, from the outside. */
static void hurt_zeros(const struct store *s, uint8_t *out, size_t at)
{
	memset(out + at, 0, s->block);
}

static void hurt_ones(const struct store *s, uint8_t *out, size_t at)
{
	memset(out + at, 0xff, s->block);
}

static void hurt_keep_before(const struct store *s, uint8_t *out, size_t at)
{
	memcpy(out + at, s->before + at, s->block);
}

static void hurt_keep_other(const struct store *s, uint8_t *out, size_t at)
{
	memcpy(out + at, s->other + at, s->block);
}

static void hurt_swap_in(const struct store *s, uint8_t *out, size_t at)
{
	memcpy(out + at, s->now + (at + s->bytes / 2) % s->bytes, s->block);
}

static void hurt_tear(const struct store *s, uint8_t *out, size_t at)
{
	memcpy(out + at + s->block / 2, s->before + at + s->block / 2, s->block / 2);
}

static void hurt_slip(const struct store *s, uint8_t *out, size_t at)
{
	memmove(out + at + 1, s->now + at, s->block - 1);
}

static void hurt_slip_back(const struct store *s, uint8_t *out, size_t at)
{
	memmove(out + at, s->now + at + 300, s->block - 300);
}

static void hurt_bit(const struct store *s, uint8_t *out, size_t at)
{
	out[at + (at / s->block * 37) % s->block] ^= 0x08;
}

static void hurt_line(const struct store *s, uint8_t *out, size_t at)
{
	for (uint32_t i = 0; i < s->block; i++)
		out[at + i] |= 0x22;
}

static void hurt_noise(const struct store *s, uint8_t *out, size_t at)
{
	for (uint32_t i = 0; i < s->block; i++)
		out[at + i] = (uint8_t)random_at(at, i + 1);
}

static void hurt_and_mend(const struct store *s, uint8_t *out, size_t at)
{
	out[at + s->block / 3] ^= 0x81;
	mend_crc(out + at, s->block);
}

static void hurt_all_and_mend(const struct store *s, uint8_t *out, size_t at)
{
	for (uint32_t i = STAMP_HEADER_BYTES; i < s->block; i++)
		out[at + i] = (uint8_t)random_at(at, i + 1);
	mend_crc(out + at, s->block);
}

static const struct fault {
	const char *name;
	void (*hurt)(const struct store *s, uint8_t *out, size_t at);
	enum damage_class class;
} faults[] = {
	{ "zeros", hurt_zeros, DAMAGE_BLANK },
	{ "ones", hurt_ones, DAMAGE_BLANK },
	{ "older generation", hurt_keep_before, DAMAGE_STALE },
	{ "older run", hurt_keep_other, DAMAGE_STALE },
	{ "another offset's block", hurt_swap_in, DAMAGE_MISPLACED },
	{ "half old", hurt_tear, DAMAGE_TORN },
	{ "a byte late", hurt_slip, DAMAGE_SHIFTED },
	{ "300 bytes early", hurt_slip_back, DAMAGE_SHIFTED },
	{ "one bit", hurt_bit, DAMAGE_BIT_ERROR },
	{ "a line stuck", hurt_line, DAMAGE_BIT_ERROR },
	{ "noise", hurt_noise, DAMAGE_FOREIGN },
	{ "a byte, CRC mended", hurt_and_mend, DAMAGE_BIT_ERROR },
	{ "all of it, CRC mended", hurt_all_and_mend, DAMAGE_FOREIGN },
	{ "unreadable", NULL, DAMAGE_UNREADABLE },
};

enum { FAULTS = sizeof faults / sizeof *faults };

/* Which blocks are hit. */
enum place { FIRST, LAST, MIDDLE, REQUEST_EDGE, EVERY_SEVENTH, WHOLE_REQUEST, ALL, PLACES };

static bool is_hit(enum place place, size_t block, size_t blocks, size_t per_request)
{
	switch (place) {
	case FIRST:
		return block == 0;
	case LAST:
		return block == blocks - 1;
	case MIDDLE:
		return block == blocks / 2 + 1;
	case REQUEST_EDGE:
		return block == per_request - 1 || block == per_request;
	case EVERY_SEVENTH:
		return block % 7 == 3;
	case WHOLE_REQUEST:
		return block / per_request == 1;
	default:
		return true;
	}
}

/* Stale blocks beside right ones of the same request were torn. */
static enum damage_class expected_class(
	const struct fault *f, enum place place, size_t block, size_t blocks, size_t per_request)
{
	size_t start = block / per_request * per_request;

	if (f->class != DAMAGE_STALE)
		return f->class;
	for (size_t b = start; b < start + per_request && b < blocks; b++)
		if (!is_hit(place, b, blocks, per_request))
			return DAMAGE_TORN;
	return DAMAGE_STALE;
}

static void check_ranges(const struct verify_result *r, const struct fault *f, enum place place,
	size_t blocks, size_t per_request)
{
	uint8_t *seen = calloc(blocks, 1);
	uint32_t n = r->damage.totals.block_bytes;

	for (size_t i = 0; i < r->damage.range_count; i++) {
		const struct damage_range *range = &r->damage.ranges[i];

		for (uint64_t at = range->offset; at < range->offset + range->bytes; at += n)
			seen[at / n] = (uint8_t)range->class;
	}
	for (size_t b = 0; b < blocks; b++) {
		enum damage_class wanted =
			is_hit(place, b, blocks, per_request)
				? expected_class(f, place, b, blocks, per_request)
				: DAMAGE_NONE;

		ck_assert_msg(seen[b] == wanted,
			"%s, place %d, %zu blocks a request, block %zu: %s, not %s", f->name, place,
			per_request, b, damage_class_name(seen[b]), damage_class_name(wanted));
	}
	free(seen);
}

static void check_fault(const struct store *s, struct ram_medium *ram, const struct fault *f,
	enum place place, size_t per_request)
{
	size_t blocks = s->bytes / s->block, hit = 0, counted = 0;
	struct verify_plan p = plan_for(ram, (uint32_t)per_request * s->block);
	struct verify_result r;

	memcpy(ram->bytes, s->now, s->bytes);
	ram->bad_from = ram->bad_to = 0;
	for (size_t b = 0; b < blocks; b++) {
		if (!is_hit(place, b, blocks, per_request))
			continue;
		hit++;
		if (f->hurt)
			f->hurt(s, ram->bytes, b * s->block);
		else if (!ram->bad_to)
			ram->bad_from = b * s->block;
		ram->bad_to = f->hurt ? 0 : (b + 1) * s->block;
	}
	p.write = false;
	p.rewrites = 2;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.judged, blocks);
	ck_assert_msg(damaged(&r) == hit, "%s, place %d, %zu blocks a request: %llu of %zu",
		f->name, place, per_request, (unsigned long long)damaged(&r), hit);
	check_ranges(&r, f, place, blocks, per_request);
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		counted += (size_t)r.damage.totals.by_class[c];
	ck_assert_uint_eq(counted, hit);
	damage_release(&r.damage);
}

/* Every fault at every place for every request size, both block sizes. The last request is a short one. */
START_TEST(fault_matrix)
{
	static const size_t per_request[] = { 1, 2, 3, 8, 32, 128 };
	uint32_t block = _i ? 4096 : 512;
	size_t bytes = 260 * (size_t)block;
	struct ram_medium *ram = ram_medium_new(bytes, block, true);
	struct store s;

	store_make(&s, block, bytes);
	for (size_t i = 0; i < sizeof per_request / sizeof *per_request; i++)
		for (size_t f = 0; f < FAULTS; f++)
			for (enum place place = FIRST; place < PLACES; place++) {
				/* One stretch of bad blocks is all the medium in memory has. */
				if (!faults[f].hurt && place == EVERY_SEVENTH)
					continue;
				check_fault(&s, ram, &faults[f], place, per_request[i]);
			}
	store_free(&s);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(clean_runs_are_clean)
{
	static const uint32_t blocks[] = { 512, 1024, 2048, 4096 };
	uint32_t block = blocks[_i % 4];
	bool one_thread = _i >= 4;
	struct ram_medium *ram = ram_medium_new(67 * 65536, block, one_thread);
	struct verify_plan p = plan_for(ram, block);
	struct verify_result r;

	p.size_count = 4;
	p.sizes[1] = 12288;
	p.sizes[2] = 65536;
	p.sizes[3] = 1024 * 1024;
	p.order_count = 2;
	p.random[1] = true;
	p.rewrites = 2;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.judged, 16 * 67 * 65536 / block);
	ck_assert_uint_eq(damaged(&r), 0);
	ck_assert_uint_eq(r.written_bytes, 16 * 67 * 65536);
	ck_assert_uint_eq(r.read_bytes, 16 * 67 * 65536);
	ck_assert_uint_eq(verify_bytes_to_write(&p), 16 * 67 * 65536);
	ck_assert_uint_ge(ram->flushes, 16);
	ck_assert_uint_eq(ram->drops, 16); /* before each reading */
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

/* The whole stream slips by 1..511 bytes from some block on. */
START_TEST(stream_slips)
{
	struct ram_medium *ram = ram_medium_new(64 * 1024, 512, true);
	struct verify_plan p = plan_for(ram, 4096);
	struct store s;

	store_make(&s, 512, 64 * 1024);
	p.write = false;
	p.rewrites = 2;
	for (size_t slip = 1; slip < 512; slip++) {
		struct verify_result r;

		memcpy(ram->bytes, s.now, s.bytes);
		memmove(ram->bytes + 16384 + slip, s.now + 16384, s.bytes - 16384 - slip);
		memmove(ram->bytes + 16384, s.now + 16384 - slip, slip);
		r = ran(ram, &p);
		ck_assert_uint_eq(damaged(&r), 96);
		ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_SHIFTED], 96);
		ck_assert_int_eq(r.damage.totals.slip_min, (int64_t)slip);
		ck_assert_int_eq(r.damage.totals.slip_max, (int64_t)slip);
		ck_assert_uint_eq(r.damage.range_count, 1);
		damage_release(&r.damage);
	}
	store_free(&s);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(swapped_blocks_and_repeated_request)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, true);
	struct verify_plan p = plan_for(ram, 4096);
	struct verify_result r = ran(ram, &p);
	uint8_t block[512];

	damage_release(&r.damage);
	memcpy(block, ram->bytes + 5120, 512);
	memcpy(ram->bytes + 5120, ram->bytes + 90112, 512);
	memcpy(ram->bytes + 90112, block, 512);
	p.write = false;
	r = ran(ram, &p);
	ck_assert_uint_eq(damaged(&r), 2);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_MISPLACED], 2);
	ck_assert_uint_eq(r.damage.totals.distance_min, 90112 - 5120);
	ck_assert_uint_eq(r.damage.totals.first_offset, 5120);
	ck_assert_uint_eq(r.damage.totals.last_offset, 90112);
	damage_release(&r.damage);

	p.write = true;
	r = ran(ram, &p);
	damage_release(&r.damage);
	memcpy(ram->bytes + 8192, ram->bytes + 4096, 4096); /* the request before, written twice */
	p.write = false;
	r = ran(ram, &p);
	ck_assert_uint_eq(damaged(&r), 8);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_MISPLACED], 8);
	ck_assert_uint_eq(r.damage.range_count, 1);
	ck_assert_uint_eq(r.damage.totals.requests_whole, 1);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

/* Every request loses its last block: the classic off-by-one of a multi-block write. */
START_TEST(tail_of_each_request_missing)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, true);
	struct verify_plan p = plan_for(ram, 4096);
	struct verify_result r = ran(ram, &p);

	damage_release(&r.damage);
	for (size_t at = 4096 - 512; at < 1024 * 1024; at += 4096)
		memset(ram->bytes + at, 0, 512);
	p.write = false;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_BLANK], 256);
	ck_assert_uint_eq(r.damage.totals.request_last, 256);
	ck_assert_uint_eq(r.damage.totals.request_first, 0);
	ck_assert_uint_eq(r.damage.totals.request_middle, 0);
	ck_assert_uint_eq(r.damage.totals.requests_damaged, 256);
	ck_assert_uint_eq(r.damage.totals.requests_whole, 0);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(addresses_wrap)
{
	static const uint64_t real[] = { 262144, 1048576, 519 * 512, 700 * 512, 1999 * 512 };
	static const bool orders[] = { false, true };
	uint64_t size = 2 * 1024 * 1024, capacity = real[_i % 5];
	struct ram_medium *ram = ram_medium_new(size, 512, true);
	struct verify_plan p = plan_for(ram, 8192);
	struct verify_result r;

	ram->wrap_bytes = capacity;
	p.random[0] = orders[_i / 5];
	r = ran(ram, &p);
	/* Of all blocks that share a place only the one written last is right. */
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_NONE], capacity / 512);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_MISPLACED], (size - capacity) / 512);
	ck_assert_uint_eq(r.damage.totals.distance_gcd, capacity);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

/* A lost overwrite shows only when there is something to overwrite. */
START_TEST(lost_writes_show)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, false);
	struct verify_plan p = plan_for(ram, 16384);
	struct verify_result r;
	struct medium *m = &ram->medium;
	struct error err = { 0 };

	p.rewrites = 2;
	p.write = true;
	ck_assert_int_eq(verify_result_init(&r, &p, &err), 0);
	/* The first generation as it should be, then the medium forgets. */
	p.rewrites = 1;
	ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &r, &err), 0);
	ck_assert_uint_eq(damaged(&r), 0);
	ram->lost_from = 16384;
	ram->lost_to = 32768 + 512;
	p.rewrites = 2;
	ck_assert_uint_eq(r.position.pass, 1);
	ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &r, &err), 0);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_STALE], 32);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_TORN], 1);
	ck_assert_uint_eq(r.damage.range_count, 2);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(ranges_are_bounded_counts_are_not)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, true);
	struct verify_plan p = plan_for(ram, 8192);
	struct verify_result r = ran(ram, &p);

	damage_release(&r.damage);
	for (size_t at = 0; at < 1024 * 1024; at += 1024)
		ram->bytes[at + 100] ^= 1;
	p.write = false;
	p.ranges = 10;
	r = ran(ram, &p);
	ck_assert_uint_eq(damaged(&r), 1024);
	ck_assert_uint_eq(r.damage.range_count, 10);
	ck_assert_uint_eq(r.damage.totals.unlisted, 1014);
	ck_assert_uint_eq(r.damage.totals.last_offset, 1024 * 1024 - 1024);
	ck_assert_uint_eq(r.damage.totals.bit_lowest, 800);
	ck_assert_uint_eq(r.damage.totals.bit_highest, 800);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(spots_only_touch_spots)
{
	static const uint64_t spots[] = { 0, 65536, 262144, 1024 * 1024 - 4096 };
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, false);
	struct verify_plan p = plan_for(ram, 4096);
	struct verify_result r;
	uint8_t *expected = calloc(1, 1024 * 1024);
	struct stamp stamp;

	p.spots = spots;
	p.spot_count = 4;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.judged, 32);
	ck_assert_uint_eq(damaged(&r), 0);
	ck_assert_uint_eq(verify_bytes_to_write(&p), 4 * 4096);
	stamp_init(&stamp, seed, 512);
	for (int i = 0; i < 4; i++)
		stamp_fill_range(&stamp, expected + spots[i], 4096, spots[i], 1);
	ck_assert_mem_eq(expected, ram->bytes, 1024 * 1024);
	damage_release(&r.damage);
	ram->wrap_bytes = 262144;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_MISPLACED], 8); /* place 0 */
	ck_assert_uint_eq(r.damage.totals.distance_gcd, 262144);
	damage_release(&r.damage);
	free(expected);
	medium_close(&ram->medium);
}
END_TEST

/* Retried block by block: only what cannot be read is blamed. */
START_TEST(only_unreadable_blocks_are_blamed)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, false);
	struct verify_plan p = plan_for(ram, 65536);
	struct verify_result r;

	ram->bad_from = 65536 + 1024;
	ram->bad_to = 65536 + 2048;
	r = ran(ram, &p);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_UNREADABLE], 2);
	ck_assert_uint_eq(damaged(&r), 2);
	ck_assert_uint_eq(r.reads.requests, 1);
	ck_assert_uint_eq(r.reads.retries, 128);
	ck_assert_uint_eq(r.reads.blocks, 2);
	ck_assert_uint_eq(r.reads.first_offset, 65536);
	ck_assert_int_eq(r.reads.first_errno, EIO);
	ck_assert_uint_eq(r.damage.range_count, 1);
	ck_assert_uint_eq(r.damage.ranges[0].offset, 65536 + 1024);
	ck_assert_uint_eq(r.damage.ranges[0].bytes, 1024);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

START_TEST(gives_up_when_asked)
{
	struct ram_medium *ram = ram_medium_new(1024 * 1024, 512, false);
	struct verify_plan p = plan_for(ram, 4096);
	struct verify_result r;
	struct medium *m = &ram->medium;
	struct error err = { 0 };

	ram->bad_to = 1024 * 1024;
	p.give_up_after = 5;
	ck_assert_int_eq(verify_result_init(&r, &p, &err), 0);
	ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &r, &err), 0);
	ck_assert_int_eq(r.outcome, VERIFY_GAVE_UP);
	ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_UNREADABLE], 40);
	ck_assert_uint_eq(r.damage.totals.judged, 40);
	damage_release(&r.damage);
	medium_close(&ram->medium);
}
END_TEST

/* ---- stopping and going on ---- */

struct stopper {
	uint64_t left;
};

static bool stop_after(void *context)
{
	struct stopper *s = context;

	return s->left-- == 0;
}

/* A target that went away, whatever the kernel makes of it, did no damage: not a block of the request in hand, and once it
 * is there again the run goes on as if nothing had been. */
START_TEST(gone_is_not_damaged)
{
	static const int codes[] = { EIO, 0, ENOSPC, ENODEV };
	enum { BLOCKS = 64, REQUEST = 4 * 512 };

	for (size_t c = 0; c < sizeof codes / sizeof *codes; c++)
		for (uint64_t at = 1; at < 40; at++) {
			struct ram_medium *r = ram_medium_new(BLOCKS * 512, 512, true), *back;
			struct verify_plan p = plan_for(r, REQUEST);
			struct medium *m = &r->medium;
			struct verify_result result;
			struct error err = { 0 };

			r->gone_after = at;
			r->gone_errno = codes[c];
			ck_assert_int_eq(verify_result_init(&result, &p, &err), 0);
			/* 16 writes, a flush, 16 reads. */
			ck_assert_int_eq(
				verify_run(&m, &p, &no_hooks, &result, &err), at <= 33 ? -1 : 0);
			if (at <= 33) {
				ck_assert_int_eq(result.outcome, VERIFY_FAILED);
				ck_assert_int_eq(err.kind, ERROR_IO);
				ck_assert_msg(strstr(err.text, "is gone") != NULL, "%s", err.text);
			}
			ck_assert_uint_eq(result.reads.requests + result.writes.requests, 0);
			ck_assert_int_eq(result.flush_errno, 0);
			ck_assert_uint_eq(damaged(&result), 0);
			ck_assert_uint_eq(result.damage.totals.judged, at <= 17   ? 0
								       : at <= 33 ? (at - 18) * 4
										  : BLOCKS);
			back = ram_medium_new(BLOCKS * 512, 512, true);
			memcpy(back->bytes, r->bytes, BLOCKS * 512);
			medium_close(m);
			m = &back->medium;
			ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &result, &err), 0);
			ck_assert_int_eq(result.outcome, VERIFY_COMPLETE);
			ck_assert_uint_eq(result.damage.totals.judged, BLOCKS);
			ck_assert_uint_eq(damaged(&result) + result.reads.requests, 0);
			damage_release(&result.damage);
			medium_close(m);
		}
}
END_TEST

/* Nor when the kernel learns only later that it is gone, and says until then that all is well: for longer when it refuses what
 * it served before. */
START_TEST(gone_before_the_kernel_knows)
{
	for (uint64_t at = 1; at <= 16; at += 5) {
		struct ram_medium *written = ram_medium_new(64 * 512, 512, true);
		struct ram_medium *r = ram_medium_new(64 * 512, 512, true);
		struct verify_plan p = plan_for(r, 4 * 512);
		struct verify_result result = ran(written, &p);
		struct medium *m = &r->medium;
		struct error err = { 0 };

		damage_release(&result.damage);
		memcpy(r->bytes, written->bytes, 64 * 512);
		medium_close(&written->medium);
		p.write = false;
		m->traits.kind = MEDIUM_BLOCK_DEVICE;
		r->gone_after = at;
		r->gone_errno = EIO;
		r->gone_checks = at > 1 ? 180 : 6;
		ck_assert_int_eq(verify_result_init(&result, &p, &err), 0);
		ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &result, &err), -1);
		ck_assert_msg(strstr(err.text, "is gone") != NULL, "%s", err.text);
		ck_assert_uint_eq(damaged(&result) + result.reads.requests, 0);
		ck_assert_uint_eq(result.position.next, at - 1);
		damage_release(&result.damage);
		medium_close(m);
	}
}
END_TEST

/* 16 writes, a flush, 16 reads, of a device. It refuses everything from call `gone_after` on. */
static struct ram_medium *refusing(uint64_t gone_after, uint64_t checks)
{
	struct ram_medium *r = ram_medium_new(64 * 512, 512, true);

	r->medium.traits.kind = MEDIUM_BLOCK_DEVICE;
	r->gone_after = gone_after;
	r->gone_errno = EIO;
	r->gone_checks = checks;
	return r;
}

/* Writes that it refuses on its way out are no failed writes, and one that serves nobody any more is not blamed either: it is
 * told as what it is. */
START_TEST(refused_by_a_target_that_serves_nobody)
{
	static const struct {
		uint64_t at, checks;
		const char *words;
	} cases[] = { { 2, 100, "is gone" }, { 9, 180, "is gone" }, { 16, 180, "is gone" },
		{ 2, UINT64_MAX, "refused even what it served before" },
		{ 9, UINT64_MAX, "refused even what it served before" },
		{ 25, UINT64_MAX, "refused even what it served before" } };

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct ram_medium *r = refusing(cases[i].at, cases[i].checks);
		struct verify_plan p = plan_for(r, 4 * 512);
		struct medium *m = &r->medium;
		struct verify_result result;
		struct error err = { 0 };

		ck_assert_int_eq(verify_result_init(&result, &p, &err), 0);
		ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &result, &err), -1);
		ck_assert_msg(strstr(err.text, cases[i].words) != NULL, "%s", err.text);
		ck_assert_int_eq(result.outcome, VERIFY_FAILED);
		ck_assert_uint_eq(
			damaged(&result) + result.writes.requests + result.reads.requests, 0);
		ck_assert_uint_le(r->idled_ns, UINT64_C(11000000000));
		damage_release(&result.damage);
		medium_close(m);
	}
}
END_TEST

/* One that serves again after a while: the requests have failed, and no block has. */
START_TEST(refused_for_a_while)
{
	for (uint64_t at = 2; at <= 32; at += at == 16 ? 3 : 1) {
		struct ram_medium *r = refusing(at, UINT64_MAX);
		struct verify_plan p = plan_for(r, 4 * 512);
		struct verify_result result;

		r->back_after = at + 40;
		result = ran(r, &p);
		ck_assert_uint_eq(damaged(&result) + result.writes.blocks + result.reads.blocks, 0);
		ck_assert_uint_eq(result.writes.requests, at <= 16);
		ck_assert_uint_eq(result.reads.requests, at > 16);
		ck_assert_uint_eq(result.damage.totals.judged, 64);
		damage_release(&result.damage);
		medium_close(&r->medium);
	}
}
END_TEST

/* While a target that is there and cannot read a block is blamed for it; it is asked each time. */
START_TEST(there_and_unreadable_is_damaged)
{
	struct ram_medium *r = ram_medium_new(64 * 512, 512, true);
	struct verify_plan p = plan_for(r, 2048);
	struct verify_result result;

	r->medium.traits.kind = MEDIUM_BLOCK_DEVICE;
	r->bad_from = 20 * 512;
	r->bad_to = 21 * 512;
	result = ran(r, &p);
	ck_assert_uint_eq(damaged(&result), 1);
	ck_assert_uint_eq(result.reads.requests, 1);
	ck_assert_uint_gt(r->checks[MEDIUM_CHECK_FAILED], 0);
	ck_assert_uint_eq(r->idled_ns, 0);
	damage_release(&result.damage);
	medium_close(&r->medium);
}
END_TEST

/* Another medium's blocks are not judged. */
START_TEST(another_medium_is_not_judged)
{
	struct ram_medium *r = ram_medium_new(64 * 512, 512, true);
	struct verify_plan p = plan_for(r, 2048);
	struct medium *m = &r->medium;
	struct verify_result result;
	struct error err = { 0 };

	r->swap_after = 25;
	ck_assert_int_eq(verify_result_init(&result, &p, &err), 0);
	ck_assert_int_eq(verify_run(&m, &p, &no_hooks, &result, &err), -1);
	ck_assert_int_eq(result.outcome, VERIFY_FAILED);
	ck_assert_ptr_nonnull(strstr(err.text, "another medium now"));
	ck_assert_uint_eq(
		result.damage.totals.judged, 7 * 4); /* reads 18 to 24; that of 25 is thrown away */
	ck_assert_uint_eq(damaged(&result), 0);
	damage_release(&result.damage);
	medium_close(m);
}
END_TEST

START_TEST(stopped_runs_go_on)
{
	for (uint64_t after = 0; after < 66; after++) {
		struct ram_medium *ram = ram_medium_new(64 * 1024, 512, after % 2);
		struct stopper stopper = { after };
		struct watch watch = { &stopper, stop_after, NULL };
		struct verify_hooks hooks = { .watch = &watch };
		struct verify_plan p = plan_for(ram, 2048);
		struct medium *m = &ram->medium;
		struct error err = { 0 };
		struct verify_result r;

		p.random[0] = true;
		ck_assert_int_eq(verify_result_init(&r, &p, &err), 0);
		ck_assert_int_eq(verify_run(&m, &p, &hooks, &r, &err), 0);
		/* 32 requests to write, 32 to read. */
		ck_assert_int_eq(r.outcome, after < 64 ? VERIFY_INTERRUPTED : VERIFY_COMPLETE);
		ck_assert_uint_eq(r.damage.totals.judged, after < 32   ? 0
							  : after < 64 ? (after - 32) * 4
								       : 128);
		hooks.watch = NULL;
		ck_assert_int_eq(verify_run(&m, &p, &hooks, &r, &err), 0);
		ck_assert_int_eq(r.outcome, VERIFY_COMPLETE);
		ck_assert_uint_eq(r.damage.totals.judged, 128);
		ck_assert_uint_eq(damaged(&r), 0);
		damage_release(&r.damage);
		medium_close(m);
	}
}
END_TEST

/* ---- every call failing in turn ---- */

static const struct {
	int sys_errno;
	size_t short_bytes;
} failures[] = { { EIO, 0 }, { ENOSPC, 0 }, { ENODEV, 0 }, { EINTR, 0 }, { ETIMEDOUT, 0 }, { 0, 0 },
	{ 0, 512 }, { 0, 1024 } };

static bool is_final(int sys_errno)
{
	return sys_errno == ENODEV || sys_errno == ENOSPC;
}

/* One failure leaves a failure count or an error behind, except an interrupted call, which is simply made again; and
 * it never hides in a clean result. */
static bool check_failing(unsigned calls, uint64_t nth, enum failing_for lasts, size_t which)
{
	struct ram_medium *ram = ram_medium_new(32 * 1024, 512, nth % 2);
	struct failing_plan fail = { calls, nth, lasts, failures[which].sys_errno,
		failures[which].short_bytes };
	struct verify_plan p = plan_for(ram, 4096);
	struct medium *m = medium_failing(&ram->medium, &fail);
	struct error err = { 0 };
	struct verify_result r;
	bool hit;
	int rc;

	ck_assert_int_eq(verify_result_init(&r, &p, &err), 0);
	rc = verify_run(&m, &p, &no_hooks, &r, &err);
	hit = medium_failing_hit(m);
	if (!hit) {
		ck_assert_int_eq(rc, 0);
		ck_assert_uint_eq(damaged(&r), 0);
	} else if (rc < 0) {
		ck_assert_int_eq(r.outcome, VERIFY_FAILED);
		ck_assert(err.kind == ERROR_IO && *err.text);
		ck_assert(is_final(failures[which].sys_errno) || calls == FAILING_DROP_CACHE);
	} else if (failures[which].sys_errno == EINTR && lasts == FAIL_ONCE &&
		   calls != FAILING_FLUSH) {
		ck_assert_uint_eq(damaged(&r), 0);
	} else if (calls == FAILING_FLUSH || calls == FAILING_DROP_CACHE) {
		ck_assert_int_eq(r.flush_errno, failures[which].sys_errno);
	} else {
		ck_assert_uint_ge(r.reads.requests + r.writes.requests, 1);
		if (lasts == FAIL_ONCE) {
			ck_assert_uint_eq(r.reads.requests + r.writes.requests, 1);
			ck_assert_uint_eq(damaged(&r), 0); /* the retry was good */
		}
		ck_assert_uint_eq(r.damage.totals.judged, 64);
		ck_assert_uint_eq(r.damage.totals.by_class[DAMAGE_UNREADABLE], r.reads.blocks);
		ck_assert_uint_ge(damaged(&r), r.writes.blocks);
	}
	damage_release(&r.damage);
	medium_close(m);
	return hit;
}

START_TEST(every_call_fails_in_turn)
{
	static const unsigned calls[] = { FAILING_READ, FAILING_WRITE, FAILING_FLUSH,
		FAILING_DROP_CACHE };

	for (size_t c = 0; c < 4; c++)
		for (size_t which = 0; which < sizeof failures / sizeof *failures; which++)
			for (int lasts = FAIL_ONCE; lasts <= FAIL_LASTING; lasts++)
				for (uint64_t nth = 1; check_failing(
					     calls[c], nth, (enum failing_for)lasts, which);
					nth++)
					ck_assert_uint_lt(nth, 10000);
}
END_TEST

Suite *verify_suite(void)
{
	Suite *suite = suite_create("verify");
	TCase *c = tcase_create("verify");

	tcase_add_loop_test(c, fault_matrix, 0, 2);
	tcase_add_loop_test(c, clean_runs_are_clean, 0, 8);
	tcase_add_test(c, stream_slips);
	tcase_add_test(c, swapped_blocks_and_repeated_request);
	tcase_add_test(c, tail_of_each_request_missing);
	tcase_add_loop_test(c, addresses_wrap, 0, 10);
	tcase_add_test(c, lost_writes_show);
	tcase_add_test(c, ranges_are_bounded_counts_are_not);
	tcase_add_test(c, spots_only_touch_spots);
	tcase_add_test(c, only_unreadable_blocks_are_blamed);
	tcase_add_test(c, gives_up_when_asked);
	tcase_add_test(c, stopped_runs_go_on);
	tcase_add_test(c, gone_is_not_damaged);
	tcase_add_test(c, gone_before_the_kernel_knows);
	tcase_add_test(c, refused_by_a_target_that_serves_nobody);
	tcase_add_test(c, refused_for_a_while);
	tcase_add_test(c, there_and_unreadable_is_damaged);
	tcase_add_test(c, another_medium_is_not_judged);
	tcase_add_test(c, every_call_fails_in_turn);
	suite_add_tcase(suite, c);
	return suite;
}
