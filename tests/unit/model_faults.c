/* Gadget model: what the honest one keeps, and what each fault alone breaks. */
#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"

enum { BLOCK = 512, BLOCKS = 1024, PIECE = 8 };

static const char head[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 512Ki\nfill = FFh\n"
			   "link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
			   "firmware:\nunit = request\n";
static const char behind[] = "write behind = 32Ki\nclaims:\nwrite cache = yes\nfua = yes\n";

static struct medium *opened(const char *a, const char *b)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;
	char whole[2048];

	snprintf(whole, sizeof whole, "%s%s%s", head, a, b);
	ck_assert_msg(
		model_spec_parse(&spec, whole, strlen(whole), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err) == 0, "%s",
		err.text);
	return m;
}

/* Blocks that differ by place and generation. */
static void pattern(unsigned char *to, uint64_t at, size_t len, unsigned generation)
{
	for (size_t i = 0; i < len; i += 8) {
		uint64_t v = random_at(generation, at + i);

		memcpy(to + i, &v, 8);
	}
}

static void put(struct medium *m, uint64_t at, size_t len, unsigned generation)
{
	static unsigned char data[PIECE * BLOCK];
	size_t got;

	pattern(data, at, len, generation);
	ck_assert_int_eq(medium_write(m, at, data, len, &got), 0);
	ck_assert_uint_eq(got, len);
}

static void put_all(struct medium *m, unsigned generation)
{
	for (uint64_t at = 0; at < BLOCKS * BLOCK; at += PIECE * BLOCK)
		put(m, at, PIECE * BLOCK, generation);
}

/* Which generation a block holds: 0 blank, -1 neither. */
static int held(struct medium *m, uint64_t at, unsigned newest)
{
	unsigned char is[BLOCK], want[BLOCK];
	size_t got;

	ck_assert_int_eq(medium_read(m, at, is, BLOCK, &got), 0);
	for (unsigned g = newest; g > 0; g--) {
		pattern(want, at, BLOCK, g);
		if (!memcmp(is, want, BLOCK))
			return (int)g;
	}
	memset(want, 0xFF, BLOCK);
	return memcmp(is, want, BLOCK) ? -1 : 0;
}

static int count_held(struct medium *m, int generation, unsigned newest)
{
	int n = 0;

	for (uint64_t at = 0; at < BLOCKS * BLOCK; at += BLOCK)
		n += held(m, at, newest) == generation;
	return n;
}

START_TEST(the_honest_ones_keep_everything)
{
	static const char *const kinds[] = { "", "write behind = 4Ki\n", "write behind = 32Ki\n",
		"write behind = 32Ki\nreads = from-buffer\n",
		"transfer = overlapped\nwrite behind = 256Ki\n" };

	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
		struct medium *m = opened(kinds[i], "");

		ck_assert_int_eq(count_held(m, 0, 1), BLOCKS);
		put_all(m, 1);
		put(m, 8192, BLOCK, 2);
		ck_assert_int_eq(held(m, 8192, 2), 2);
		put(m, 8192, PIECE * BLOCK, 3);
		put(m, 8192 + BLOCK, BLOCK, 4);
		ck_assert_int_eq(held(m, 8192, 4), 3);
		ck_assert_int_eq(held(m, 8192 + BLOCK, 4), 4);
		ck_assert_int_eq(count_held(m, 1, 4), BLOCKS - PIECE);
		medium_close(m);
	}
}
END_TEST

START_TEST(power_cut_loses_only_what_was_not_flushed)
{
	struct medium *m = opened(behind, "");
	int kept, second;

	put_all(m, 1);
	medium_flush(m);
	for (uint64_t at = 0; at < 64 * BLOCK; at += PIECE * BLOCK)
		put(m, at, PIECE * BLOCK, 2);
	ck_assert_int_eq(medium_replug(m, true), 0);
	kept = count_held(m, 1, 2);
	second = count_held(m, 2, 2);
	ck_assert_int_eq(kept + second, BLOCKS); /* old or new, nothing else */
	ck_assert_int_gt(second, 0);
	ck_assert_int_lt(second, 64);
	medium_close(m);

	/* FUA: on the card when it returns. */
	m = opened(behind, "");
	for (uint64_t at = 0; at < 8 * BLOCK; at += BLOCK) {
		unsigned char data[BLOCK];
		size_t got;

		pattern(data, at, BLOCK, 1);
		ck_assert_int_eq(medium_write_through(m, at, data, BLOCK, &got), 0);
	}
	medium_replug(m, true);
	ck_assert_int_eq(count_held(m, 1, 1), 8);
	medium_close(m);

	/* Unplugged with its own power: the buffer drains. */
	m = opened(behind, "");
	put(m, 0, PIECE * BLOCK, 1);
	medium_replug(m, false);
	ck_assert_int_eq(count_held(m, 1, 1), PIECE);
	medium_close(m);
}
END_TEST

/* 8 blocks come in within 1.024 ms, the card is done with the first at 0.64 ms and would be with two more at 1.664 ms,
 * when a read of another place ends that keeps it busy. */
START_TEST(a_read_keeps_pending_writes_waiting)
{
	struct medium *m = opened("reads = from-buffer\n", behind);

	put(m, 0, PIECE * BLOCK, 1);
	held(m, 100 * BLOCK, 1);
	ck_assert_uint_eq(medium_now_ns(m), 1664000);
	medium_replug(m, true);
	ck_assert_int_eq(count_held(m, 1, 1), 1);
	medium_close(m);
}
END_TEST

START_TEST(lost_writes)
{
	static const char *const kinds[] = { "", "write behind = 32Ki\n" };

	for (size_t i = 0; i < 2; i++) {
		struct medium *m = opened(kinds[i], "faults:\nlose write = 1 in 16\n");

		put_all(m, 1);
		ck_assert_int_eq(count_held(m, 1, 1), BLOCKS - BLOCKS / 16);
		ck_assert_int_eq(count_held(m, 0, 1), BLOCKS / 16);
		ck_assert_int_eq(held(m, 15 * PIECE * BLOCK, 1), 0); /* the 16th request */
		medium_close(m);
	}
}
END_TEST

START_TEST(ignored_flush)
{
	struct medium *m = opened(behind, "faults:\nignore flush = yes\n");
	uint64_t before;

	put_all(m, 1);
	before = medium_now_ns(m);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_uint_eq(medium_now_ns(m), before);
	medium_replug(m, true);
	ck_assert_int_lt(count_held(m, 1, 1), BLOCKS);
	medium_close(m);
}
END_TEST

/* 32 KiB wait; the flush comes back when 8 KiB still do, and those are lost with the power. */
START_TEST(a_flush_that_leaves_some)
{
	struct medium *m = opened(behind, "faults:\nflush leaves = 8Ki\n");
	uint64_t before;

	for (int i = 0; i < 8; i++)
		put(m, (uint64_t)i * PIECE * BLOCK, PIECE * BLOCK, 1);
	before = medium_now_ns(m);
	ck_assert_int_eq(medium_flush(m), 0);
	/* The first block came in after 0.128 ms, the last after 8.192 ms; 48 blocks take the card 24.576 ms. */
	ck_assert_uint_eq(medium_now_ns(m) - before, 128000 + 24576000 - 8192000);
	medium_replug(m, true);
	ck_assert_int_eq(count_held(m, 1, 1), 48);
	medium_close(m);
}
END_TEST

START_TEST(ignored_fua)
{
	struct medium *m = opened(behind, "faults:\nignore fua = yes\n");
	unsigned char data[PIECE * BLOCK];
	size_t got;

	pattern(data, 0, sizeof data, 1);
	ck_assert_int_eq(medium_write_through(m, 0, data, sizeof data, &got), 0);
	medium_replug(m, true);
	ck_assert_int_lt(count_held(m, 1, 1), PIECE);
	medium_close(m);
}
END_TEST

START_TEST(stale_reads)
{
	struct medium *m = opened(behind, "faults:\nstale reads = yes\n");

	put(m, 0, PIECE * BLOCK, 1);
	medium_flush(m);
	put(m, 0, PIECE * BLOCK, 2);
	ck_assert_int_eq(held(m, (PIECE - 1) * BLOCK, 2), 1);
	medium_idle_ns(m, 100000000);
	ck_assert_int_eq(held(m, (PIECE - 1) * BLOCK, 2), 2);
	medium_close(m);
}
END_TEST

START_TEST(reordered_overlaps)
{
	struct medium *m = opened(behind, "faults:\nreorder overlaps = yes\n");

	put(m, 0, PIECE * BLOCK, 1);
	put(m, 7 * BLOCK, BLOCK, 2);
	put(m, 16 * BLOCK, PIECE * BLOCK, 2);
	medium_flush(m);
	ck_assert_int_eq(held(m, 7 * BLOCK, 2), 1); /* the older data came last */
	ck_assert_int_eq(held(m, 6 * BLOCK, 2), 1);
	ck_assert_int_eq(held(m, 16 * BLOCK, 2), 2);
	medium_close(m);
}
END_TEST

START_TEST(torn_sectors)
{
	struct medium *m = opened(behind, "faults:\ntorn sectors = yes\n");
	int torn = 0;

	put_all(m, 1);
	medium_flush(m);
	put(m, 0, PIECE * BLOCK, 2);
	medium_replug(m, true);
	for (uint64_t at = 0; at < PIECE * BLOCK; at += BLOCK) {
		unsigned char is[BLOCK], older[BLOCK], newer[BLOCK];
		size_t got, n = 0;

		if (held(m, at, 2) >= 0)
			continue;
		torn++;
		medium_read(m, at, is, BLOCK, &got);
		pattern(older, at, BLOCK, 1);
		pattern(newer, at, BLOCK, 2);
		while (is[n] == newer[n])
			n++;
		ck_assert_uint_gt(n, 0);
		ck_assert_mem_eq(is + n, older + n, BLOCK - n);
	}
	ck_assert_int_eq(torn, 1);
	medium_close(m);
}
END_TEST

START_TEST(flushed_but_forgotten)
{
	struct medium *m = opened(behind, "faults:\nlose flushed write = 1 in 16\n");

	put_all(m, 1);
	medium_flush(m);
	put(m, 0, PIECE * BLOCK, 2);
	put(m, 15 * PIECE * BLOCK, BLOCK, 2); /* stored properly over a forgetful one */
	medium_flush(m);
	ck_assert_int_eq(count_held(m, 1, 2), BLOCKS - PIECE - 1);
	medium_replug(m, true);
	ck_assert_int_eq(count_held(m, 0, 2), BLOCKS / 16 - 1);
	ck_assert_int_eq(held(m, 15 * PIECE * BLOCK, 2), 2);
	medium_close(m);
}
END_TEST

/* More forgetful blocks than are remembered: the oldest count as stored, the newest go back. */
START_TEST(forgetting_is_bounded)
{
	struct medium *m = opened(behind, "faults:\nlose flushed write = 1 in 1\n");

	put_all(m, 1);
	put_all(m, 2);
	put(m, 0, PIECE * BLOCK, 3);
	medium_flush(m);
	medium_replug(m, true);
	ck_assert_int_eq(count_held(m, 2, 3), PIECE);
	ck_assert_int_eq(count_held(m, 1, 3), BLOCKS - PIECE);
	medium_close(m);
}
END_TEST

START_TEST(bad_place)
{
	struct medium *m = opened("", "faults:\nbad range = 4096+512\n");
	unsigned char data[PIECE * BLOCK];
	size_t got;

	/* Without write-behind the writer is told at once. */
	pattern(data, 4096 - BLOCK, sizeof data, 1);
	ck_assert_int_eq(medium_write(m, 4096 - BLOCK, data, sizeof data, &got), -EIO);
	ck_assert_int_eq(held(m, 4096 - BLOCK, 1), 1);
	ck_assert_int_eq(held(m, 4096, 1), 0);
	medium_close(m);

	/* Deferred: block I/O never sees it. */
	m = opened(behind, "faults:\nbad range = 4096+512\nbad range report = deferred\n");
	put(m, 4096, PIECE * BLOCK, 1);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_int_eq(held(m, 4096, 1), 0);
	ck_assert_int_eq(held(m, 4096 + BLOCK, 1), 1);
	medium_close(m);

	/* Told by the flush, once. */
	m = opened(behind, "faults:\nbad range = 4096+512\nbad range report = flush\n");
	put(m, 4096, PIECE * BLOCK, 1);
	ck_assert_int_eq(medium_flush(m), -EIO);
	ck_assert_int_eq(medium_flush(m), 0);
	medium_close(m);

	m = opened(behind, "faults:\nbad range = 4096+512\nbad range report = never\n");
	put(m, 4096, PIECE * BLOCK, 1);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_int_eq(held(m, 4096, 1), 0);
	medium_close(m);
}
END_TEST

START_TEST(false_capacity)
{
	struct medium *m = opened("", "faults:\nreal capacity = 200Ki\nbeyond = wraps\n");
	unsigned char is[BLOCK], want[BLOCK];
	size_t got;

	put_all(m, 1);
	/* 512 KiB on 200 KiB: the last 200 KiB written are what is left. */
	ck_assert_int_eq(count_held(m, 1, 1), 400);
	medium_read(m, 0, is, BLOCK, &got);
	pattern(want, UINT64_C(400) * 1024, BLOCK, 1);
	ck_assert_mem_eq(is, want, BLOCK);
	medium_close(m);

	/* The last block, 64 KiB and upper half hold the last ones written; the rest is as it was. */
	static const char *const folds[] = { "block", "slot", "half" };
	static const size_t bytes[] = { BLOCK, 65536, 100 * 1024 };

	for (int i = 0; i < 3; i++) {
		char faults[80];

		snprintf(faults, sizeof faults, "faults:\nreal capacity = 200Ki\nbeyond = %s\n",
			folds[i]);
		m = opened("", faults);
		put_all(m, 1);
		ck_assert_int_eq(held(m, 200 * 1024 - bytes[i] - BLOCK, 1), 1);
		for (size_t at = 0; at < bytes[i]; at += BLOCK) {
			/* The last one of its kind before the end of 512 KiB, counted from 200 KiB on. */
			uint64_t last = 200 * 1024 + at;

			while (last + bytes[i] < UINT64_C(512) * 1024)
				last += bytes[i];
			medium_read(m, 200 * 1024 - bytes[i] + at, is, BLOCK, &got);
			pattern(want, last, BLOCK, 1);
			ck_assert_mem_eq(is, want, BLOCK);
		}
		medium_close(m);
	}
	m = opened("", "faults:\nreal capacity = 200Ki\nbeyond = drops\n");
	put_all(m, 1);
	ck_assert_int_eq(count_held(m, 1, 1), 400);
	ck_assert_int_eq(count_held(m, 0, 1), BLOCKS - 400);
	ck_assert_int_eq(held(m, UINT64_C(199) * 1024 + BLOCK, 1), 1);
	ck_assert_int_eq(held(m, UINT64_C(200) * 1024, 1), 0);
	medium_close(m);
}
END_TEST

static void check_slip(const char *direction, size_t from, size_t to)
{
	char faults[128];
	unsigned char is[PIECE * BLOCK], want[PIECE * BLOCK];
	struct medium *m;
	size_t got;

	snprintf(faults, sizeof faults,
		"faults:\nslip bytes = 3\nslip write = 1 in 4\nslip direction = %s\n", direction);
	m = opened("", faults);
	put_all(m, 1);
	ck_assert_int_eq(count_held(m, 1, 1), BLOCKS * 3 / 4);
	medium_read(m, 3 * sizeof is, is, sizeof is, &got);
	pattern(want, 3 * sizeof is, sizeof is, 1);
	ck_assert_mem_eq(is + to, want + from, sizeof is - 3);
	medium_close(m);
}

START_TEST(slipped_bytes)
{
	check_slip("late", 0, 3);
	check_slip("early", 3, 0);
}
END_TEST

START_TEST(flipped_bits)
{
	struct medium *m = opened("", "faults:\nflip bit every = 16Ki\n");
	int bits = 0;

	put_all(m, 1);
	for (uint64_t at = 0; at < BLOCKS * BLOCK; at += BLOCK) {
		unsigned char is[BLOCK], want[BLOCK];
		size_t got;

		medium_read(m, at, is, BLOCK, &got);
		pattern(want, at, BLOCK, 1);
		for (size_t i = 0; i < BLOCK; i++)
			bits += __builtin_popcount(is[i] ^ want[i]);
	}
	ck_assert_int_eq(bits, 512 / 16);
	medium_close(m);
}
END_TEST

START_TEST(stuck_line)
{
	struct medium *m = opened("", "faults:\nstuck line = 3\nstuck level = high\n");
	unsigned char is[BLOCK], want[BLOCK];
	size_t got;

	put(m, 0, BLOCK, 1);
	medium_read(m, 0, is, BLOCK, &got);
	pattern(want, 0, BLOCK, 1);
	for (size_t i = 0; i < BLOCK; i++)
		ck_assert_uint_eq(is[i], want[i] | 8U);
	medium_close(m);
	m = opened("", "faults:\nstuck line = 0\nstuck level = low\n");
	put(m, 0, BLOCK, 1);
	medium_read(m, 0, is, BLOCK, &got);
	for (size_t i = 0; i < BLOCK; i++)
		ck_assert_uint_eq(is[i], want[i] & 0xFEU);
	medium_close(m);
}
END_TEST

START_TEST(dropped_last_sector)
{
	static const char *const kinds[] = { "", "write behind = 32Ki\n" };

	for (size_t i = 0; i < 2; i++) {
		struct medium *m = opened(kinds[i], "faults:\ndrop last sector = 1 in 2\n");

		put_all(m, 1);
		ck_assert_int_eq(count_held(m, 0, 1), BLOCKS / PIECE / 2);
		ck_assert_int_eq(held(m, (2 * PIECE - 1) * BLOCK, 1), 0);
		put(m, 0, BLOCK, 2); /* single sectors are spared */
		put(m, 0, BLOCK, 3);
		ck_assert_int_eq(held(m, 0, 3), 3);
		medium_close(m);
	}
}
END_TEST

START_TEST(off_by_one_sector)
{
	static const char *const kinds[] = { "", "write behind = 32Ki\n" };

	for (size_t i = 0; i < 2; i++) {
		struct medium *m = opened(kinds[i], "faults:\noff by one sector = 1 in 4\n");
		unsigned char is[BLOCK], want[BLOCK];
		size_t got;

		put(m, 0, BLOCK, 1);
		put(m, 8 * BLOCK, BLOCK, 1);
		put(m, 16 * BLOCK, BLOCK, 1);
		put(m, 24 * BLOCK, PIECE * BLOCK, 1);
		ck_assert_int_eq(held(m, 24 * BLOCK, 1), 0);
		medium_read(m, 25 * BLOCK, is, BLOCK, &got);
		pattern(want, 24 * BLOCK, BLOCK, 1);
		ck_assert_mem_eq(is, want, BLOCK);
		medium_close(m);
	}
}
END_TEST

START_TEST(written_twice)
{
	static const char *const kinds[] = { "", "write behind = 32Ki\n" };

	for (size_t i = 0; i < 2; i++) {
		struct medium *m = opened(kinds[i], "faults:\ntwice range = 16Ki+8Ki\n");
		unsigned char is[BLOCK], want[BLOCK];
		size_t got;

		put(m, 24 * BLOCK, PIECE * BLOCK, 1);
		put(m, 32 * BLOCK, PIECE * BLOCK, 1);
		medium_flush(m);
		ck_assert_int_eq(held(m, 24 * BLOCK, 1), 1);
		ck_assert_int_eq(held(m, 32 * BLOCK, 1), 1);
		medium_read(m, 16 * BLOCK, is, BLOCK, &got);
		pattern(want, 32 * BLOCK, BLOCK, 1);
		ck_assert_mem_eq(is, want, BLOCK);
		medium_read(m, 15 * BLOCK, is, BLOCK, &got);
		ck_assert_mem_ne(is, want, BLOCK);
		medium_close(m);
	}
}
END_TEST

Suite *model_faults_suite(void)
{
	Suite *s = suite_create("model_faults");
	TCase *c = tcase_create("model_faults");

	tcase_add_test(c, the_honest_ones_keep_everything);
	tcase_add_test(c, power_cut_loses_only_what_was_not_flushed);
	tcase_add_test(c, a_read_keeps_pending_writes_waiting);
	tcase_add_test(c, lost_writes);
	tcase_add_test(c, ignored_flush);
	tcase_add_test(c, a_flush_that_leaves_some);
	tcase_add_test(c, ignored_fua);
	tcase_add_test(c, stale_reads);
	tcase_add_test(c, reordered_overlaps);
	tcase_add_test(c, torn_sectors);
	tcase_add_test(c, flushed_but_forgotten);
	tcase_add_test(c, forgetting_is_bounded);
	tcase_add_test(c, bad_place);
	tcase_add_test(c, false_capacity);
	tcase_add_test(c, slipped_bytes);
	tcase_add_test(c, flipped_bits);
	tcase_add_test(c, stuck_line);
	tcase_add_test(c, dropped_last_sector);
	tcase_add_test(c, off_by_one_sector);
	tcase_add_test(c, written_twice);
	suite_add_tcase(s, c);
	return s;
}
