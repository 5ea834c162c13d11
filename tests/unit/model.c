/* Gadget model: parameters that go in come out as time; closed forms of stages, link and buffer. */
#include "medium/model.h"

#include <check.h>
#include <errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "medium/model_spec.h"

/* What every text below begins with. */
#define HEAD "gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\n"

static struct medium *opened(const char *text)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;
	char whole[4096];

	snprintf(whole, sizeof whole, HEAD "%s", text);
	ck_assert_msg(
		model_spec_parse(&spec, whole, strlen(whole), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err) == 0, "%s",
		err.text);
	return m;
}

static unsigned char buf[1 << 20];

/* Seconds that one request takes. */
static double timed(struct medium *m, bool write, uint64_t at, size_t n)
{
	uint64_t before = medium_now_ns(m);
	size_t got = 0;
	int rc = write ? medium_write(m, at, buf, n, &got) : medium_read(m, at, buf, n, &got);

	ck_assert_int_eq(rc, 0);
	ck_assert_uint_eq(got, n);
	return (double)(medium_now_ns(m) - before) / 1e9;
}

static double rate(struct medium *m, bool write, size_t n, int count)
{
	double seconds = 0;

	for (int i = 0; i < count; i++)
		seconds += timed(m, write, (uint64_t)i * n, n);
	return (double)n * count / seconds;
}

/* t(n) = t0 + n/r with r = 1/(1/L + 1/C): the "common practice, no source" cases of a 1.0 MB/s link. */
START_TEST(store_and_forward_rates)
{
	static const struct {
		const char *card;
		double store_and_forward;
	} cases[] = { { "1 MB/s", 500000 }, { "1.7 MB/s", 17e6 / 27 }, { "2.34 MB/s", 117e6 / 167 },
		{ "8.39 MB/s", 839e6 / 939 } };

	for (size_t i = 0; i < 4; i++) {
		char text[512];
		struct medium *m;

		snprintf(text, sizeof text,
			"link:\nrate = 1 MB/s\ncard:\nread rate = %s\nwrite rate = %s\n"
			"firmware:\nunit = request\n",
			cases[i].card, cases[i].card);
		m = opened(text);
		for (int write = 0; write < 2; write++)
			ck_assert_double_eq_tol(
				rate(m, write, 65536, 8) / cases[i].store_and_forward, 1, 1e-6);
		medium_close(m);
	}
}
END_TEST

/* k equal chunks, L = C = 1 MB/s: (k+1)/k of 4.096 ms for 4096 B, as two-stage pipelining has it. */
START_TEST(overlap_in_chunks)
{
	static const struct {
		const char *chunk;
		double k;
	} cases[] = { { "4Ki", 1 }, { "2Ki", 2 }, { "512", 8 } };

	for (size_t i = 0; i < 3; i++) {
		char text[512];
		struct medium *m;

		snprintf(text, sizeof text,
			"link:\nrate = 1 MB/s\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
			"firmware:\nunit = request\ntransfer = overlapped\nchunk = %s\n",
			cases[i].chunk);
		m = opened(text);
		for (int write = 0; write < 2; write++)
			ck_assert_double_eq_tol(timed(m, write, 0, 4096),
				4.096e-3 * (cases[i].k + 1) / cases[i].k, 2e-9);
		medium_close(m);
	}
}
END_TEST

START_TEST(overlap_approaches_the_slower_stage)
{
	struct medium *m = opened(
		"link:\nrate = 1 MB/s\ncard:\nread rate = 2.34 MB/s\nwrite rate = 2.34 MB/s\n"
		"firmware:\nunit = request\ntransfer = overlapped\n");

	/* The fill of the pipe: one 512 B chunk through the faster stage. */
	ck_assert_double_eq_tol(timed(m, true, 0, 65536), 65536e-6 + 512 / 2.34e6, 2e-9);
	ck_assert_double_eq_tol(timed(m, false, 0, 65536), 65536e-6 + 512 / 2.34e6, 2e-9);
	medium_close(m);
}
END_TEST

/* Hockney and Jesshope: r = 1.216 MB/s, t0 = 2 ms give 762980.3922 B/s at 4096 B and 1172489.6422 at 64 KiB. */
START_TEST(fixed_cost_and_rate)
{
	struct medium *m = opened(
		"link:\nrate = 1.216 MB/s\nrequest cost = 1.5 ms\ncard:\nread rate = unlimited\n"
		"write rate = unlimited\nread command cost = 0.3 ms\n"
		"write command cost = 0.3 ms\n"
		"firmware:\nunit = request\nrequest cost = 200 us\n");

	ck_assert_double_eq_tol(rate(m, false, 4096, 4), 762980.3922, 1);
	ck_assert_double_eq_tol(rate(m, true, 65536, 4), 1172489.6422, 2);
	ck_assert_double_eq_tol(rate(m, false, 512, 4), 211478.2609, 1);
	medium_close(m);
}
END_TEST

/* Three phases, each from the start of a frame, and an instant card (a null-medium build). Payloads a frame: USB 2.0
 * tables 5-9 and 5-10. */
START_TEST(frames_of_bulk_only_transport)
{
	static const struct {
		const char *speed;
		size_t n;
		double rate; /* n over 3, 6, 56, 104 frames of 1 ms; 3, 3, 12, 21 of 125 us */
	} cases[] = { { "full", 512, 170667 }, { "full", 4096, 682667 }, { "full", 65536, 1170286 },
		{ "full", 122880, 1181538 }, { "high", 512, 1365333 }, { "high", 4096, 10922667 },
		{ "high", 65536, 43690667 }, { "high", 122880, 46811429 } };

	for (size_t i = 0; i < 8; i++) {
		char text[512];
		struct medium *m;

		snprintf(text, sizeof text,
			"link:\nspeed = %s\nframes = yes\ncard:\nread rate = unlimited\n"
			"write rate = unlimited\nfirmware:\nunit = request\n",
			cases[i].speed);
		m = opened(text);
		for (int write = 0; write < 2; write++)
			ck_assert_double_eq_tol(rate(m, write, cases[i].n, 3), cases[i].rate, 0.5);
		medium_close(m);
	}
}
END_TEST

/* The card's half millisecond ends inside a frame; the data waits for the next one: command, card, data, status. */
START_TEST(frames_wait_for_the_card)
{
	struct medium *m = opened("link:\nspeed = full\nframes = yes\ncard:\nread rate = 1 MB/s\n"
				  "write rate = 1 MB/s\nfirmware:\nunit = request\n");

	ck_assert_double_eq_tol(timed(m, false, 0, 512), 4e-3, 1e-9);
	ck_assert_double_eq_tol(timed(m, true, 0, 512), 4e-3, 1e-9);
	medium_close(m);
}
END_TEST

/* Two buffers of 512 B: while the card stalls 10 ms on the first chunk only one more comes in, then 6 follow. */
START_TEST(two_buffers_hold_the_link_back)
{
	struct medium *m = opened("link:\nrate = 1 MB/s\ncard:\nread rate = unlimited\n"
				  "write rate = unlimited\nstall every = 4Ki\nstall time = 10 ms\n"
				  "firmware:\nunit = request\ntransfer = overlapped\n");

	timed(m, true, 0, 3584);
	ck_assert_double_eq_tol(timed(m, true, 0, 4096), 512e-6 + 10e-3 + 6 * 512e-6, 2e-9);
	medium_close(m);
}
END_TEST

START_TEST(one_sector_at_a_time_is_flat)
{
	struct medium *m = opened("link:\nrate = 1 MB/s\ncard:\nread rate = 2.5 MB/s\n"
				  "write rate = 2.5 MB/s\nread command cost = 0.3 ms\n"
				  "write command cost = 1.2 ms\nfirmware:\nunit = sector\n");
	double sector = 512e-6 + 512 / 2.5e6;

	for (size_t n = 512; n <= 65536; n *= 4) {
		ck_assert_double_eq_tol(rate(m, false, n, 2), 512 / (sector + 0.3e-3), 0.1);
		ck_assert_double_eq_tol(rate(m, true, n, 2), 512 / (sector + 1.2e-3), 0.1);
	}
	medium_close(m);
}
END_TEST

START_TEST(write_unit_rounds_up)
{
	struct medium *m =
		opened("link:\nrate = unlimited\ncard:\nread rate = 1 MB/s\n"
		       "write rate = 1 MB/s\nwrite unit = 16Ki\nfirmware:\nunit = request\n");

	ck_assert_double_eq_tol(timed(m, true, 0, 512), 16384e-6, 1e-8);
	ck_assert_double_eq_tol(timed(m, true, 16384, 16384), 16384e-6, 1e-6);
	ck_assert_double_eq_tol(timed(m, true, 8192, 16384), 32768e-6, 1e-6);
	ck_assert_double_eq_tol(timed(m, false, 0, 512), 512e-6, 1e-8);
	medium_close(m);
}
END_TEST

START_TEST(stalls_come_by_bytes)
{
	struct medium *m = opened("link:\nrate = unlimited\ncard:\nread rate = 1 MB/s\n"
				  "write rate = 1 MB/s\nstall every = 64Ki\nstall time = 250 ms\n"
				  "firmware:\nunit = request\n");
	int stalled = 0;

	for (int i = 0; i < 64; i++) {
		double s = timed(m, true, (uint64_t)i * 4096, 4096);

		stalled += s > 0.2;
		ck_assert_double_eq_tol(s, 4096e-6 + (i % 16 == 15 ? 0.25 : 0), 1e-7);
	}
	ck_assert_int_eq(stalled, 4);
	medium_close(m);
}
END_TEST

#define BEHIND                                                                   \
	"link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n" \
	"firmware:\nunit = request\nwrite behind = 32Ki\n"                       \
	"claims:\nwrite cache = yes\nfua = yes\n"

/* Into the buffer at link rate, then as the card makes room; the flush takes what is left to drain. */
START_TEST(write_behind_fills_then_waits)
{
	struct medium *m = opened(BEHIND);
	double sum = timed(m, true, 0, 32768);
	uint64_t before;

	ck_assert_double_eq_tol(sum, 32768 / 4e6, 1e-6); /* all of it fits */
	for (int i = 1; i < 40; i++)
		sum += timed(m, true, (uint64_t)i * 32768, 32768);
	/* In the long run at the card's rate, a buffer ahead of it. */
	ck_assert_double_eq_tol(sum, 39 * 32768e-6 + 512 / 4e6, 0.3e-3);
	before = medium_now_ns(m);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_double_eq_tol((double)(medium_now_ns(m) - before) / 1e9, 32768e-6, 0.6e-3);
	before = medium_now_ns(m);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_uint_eq(medium_now_ns(m), before);
	medium_close(m);
}
END_TEST

/* Facts of the trade: at 1.0 MB/s a 32 KiB buffer drains in 32.768 ms (common practice, no source). */
START_TEST(first_read_waits_for_the_drain)
{
	struct medium *m = opened(BEHIND);
	double written = timed(m, true, 0, 32768);

	/* The card began with the first block in and worked beside the link. */
	ck_assert_double_eq_tol(timed(m, false, 1 << 20, 512),
		512 / 4e6 + 32768e-6 - written + 512e-6 + 512 / 4e6, 1e-8);
	ck_assert_double_eq_tol(timed(m, false, 1 << 20, 512), 512e-6 + 512 / 4e6, 1e-8);
	timed(m, true, 0, 32768);
	medium_idle_ns(m, 40000000);
	ck_assert_double_eq_tol(timed(m, false, 1 << 20, 512), 512e-6 + 512 / 4e6, 1e-8);
	medium_close(m);
}
END_TEST

START_TEST(write_through_takes_the_time_storing_takes)
{
	struct medium *m = opened(BEHIND);
	uint64_t before = medium_now_ns(m);
	size_t got;

	ck_assert_int_eq(medium_write_through(m, 0, buf, 8192, &got), 0);
	ck_assert_double_eq_tol(
		(double)(medium_now_ns(m) - before) / 1e9, 8192e-6 + 512 / 4e6, 1e-8);
	medium_close(m);
}
END_TEST

/* Claims a cache but no FUA: the kernel writes, then flushes. */
START_TEST(write_through_without_fua_flushes)
{
	struct medium *m = opened("link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\n"
				  "write rate = 1 MB/s\nfirmware:\nunit = request\n"
				  "write behind = 32Ki\nclaims:\nwrite cache = yes\n");
	struct medium_counts n;
	uint64_t before = medium_now_ns(m);
	size_t got;

	ck_assert_int_eq(medium_write_through(m, 0, buf, 8192, &got), 0);
	ck_assert_double_eq_tol(
		(double)(medium_now_ns(m) - before) / 1e9, 8192e-6 + 512 / 4e6, 1e-8);
	medium_counts(m, &n);
	ck_assert_uint_eq(n.flushes, 1);
	medium_close(m);
}
END_TEST

/* 4 MB/s in, 1 MB/s out, a buffer of 8 KiB: 2.048 ms to fill, 8.192 ms to store. */
static struct medium *draining(const char *how)
{
	char text[400];

	snprintf(text, sizeof text,
		"link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
		"firmware:\nunit = request\nwrite behind = 8Ki\n%s\nclaims:\nwrite cache = yes\n",
		how);
	return opened(text);
}

static double flush_time(struct medium *m)
{
	uint64_t before = medium_now_ns(m);

	ck_assert_int_eq(medium_flush(m), 0);
	return (double)(medium_now_ns(m) - before) / 1e9;
}

START_TEST(a_buffer_that_drains_on_flush_only_waits_for_one)
{
	struct medium *m = draining("drain = on-flush");

	ck_assert_double_eq_tol(timed(m, true, 0, 8192), 2048e-6, 2e-9);
	medium_idle_ns(m, 5000000000);
	ck_assert_double_eq_tol(flush_time(m), 8192e-6, 2e-9);
	ck_assert_double_eq_tol(flush_time(m), 0, 2e-9);
	/* Full: a block goes out for each that comes in. */
	timed(m, true, 0, 8192);
	ck_assert_double_eq_tol(timed(m, true, 8192, 4096), 4096e-6 + 8 * 512 / 4e6, 2e-9);
	/* A read that drains first drains. */
	ck_assert_double_eq_tol(timed(m, false, 65536, 512), 8192e-6 + 512e-6 + 512 / 4e6, 2e-9);
	ck_assert_double_eq_tol(flush_time(m), 0, 2e-9);
	medium_close(m);
}
END_TEST

START_TEST(a_full_buffer_may_store_all_before_it_takes_more)
{
	struct medium *m = draining("drain = on-flush\nwhen full = all");

	timed(m, true, 0, 8192);
	ck_assert_double_eq_tol(timed(m, true, 8192, 4096), 8192e-6 + 4096 / 4e6, 2e-9);
	ck_assert_double_eq_tol(flush_time(m), 4096e-6, 2e-9);
	medium_close(m);
	m = draining("when full = all");
	/* The card began with the first block in, at 0.128 ms: of 21 it has 4 when the last comes in, and 17 waited for
	 * room. It is done with 20 after 10.24 ms more. */
	timed(m, true, 0, 10240);
	ck_assert_double_eq_tol(
		timed(m, true, 10240, 512), 128e-6 + 10240e-6 - 2560e-6 + 128e-6, 2e-9);
	medium_close(m);
}
END_TEST

/* After 3 ms without a command the card takes blocks, until the next command comes: what it began it ends. */
START_TEST(a_buffer_that_drains_after_idling_stops_for_a_command)
{
	struct medium *m = draining("drain = after-idle\nidle time = 3 ms\nreads = from-buffer");

	timed(m, true, 0, 8192);
	medium_idle_ns(m, 2900000);
	ck_assert_double_eq_tol(flush_time(m), 8192e-6, 2e-9);
	timed(m, true, 0, 8192);
	/* 1.1 ms of draining: two blocks stored, the third begun; the read from the buffer stops the rest. */
	medium_idle_ns(m, 4100000);
	ck_assert_double_eq_tol(timed(m, false, 8192 - 512, 512), 512 / 4e6, 2e-9);
	medium_idle_ns(m, 2900000);
	ck_assert_double_eq_tol(flush_time(m), 13 * 512e-6, 2e-9);
	timed(m, true, 0, 8192);
	medium_idle_ns(m, 3000000 + 8192000);
	ck_assert_double_eq_tol(flush_time(m), 0, 2e-9);
	medium_close(m);
}
END_TEST

/* A read that goes to the card between pending writes holds them up for as long as it takes. */
START_TEST(reads_from_the_card_delay_the_drain)
{
	struct medium *m = opened("link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\n"
				  "write rate = 1 MB/s\nfirmware:\nunit = request\n"
				  "write behind = 32Ki\nreads = from-buffer\n"
				  "claims:\nwrite cache = yes\n");
	double card = 512e-6, link = 512 / 4e6;
	uint64_t start = medium_now_ns(m);

	timed(m, true, 0, 32768);
	ck_assert_double_eq_tol(timed(m, false, 32256, 512), link, 2e-9); /* still in the buffer */
	ck_assert_double_eq_tol(timed(m, false, 1 << 20, 512), card + link, 2e-9);
	medium_flush(m);
	ck_assert_double_eq_tol(
		(double)(medium_now_ns(m) - start) / 1e9, link + 32768e-6 + card + link, 2e-9);
	medium_close(m);
}
END_TEST

/* Requests in flight are served one after the other; only the host's gap hides. */
START_TEST(requests_queue_for_one_server)
{
	struct medium *m =
		opened("link:\nrate = 1 MB/s\nhost gap = 1 ms\ncard:\nread rate = unlimited\n"
		       "write rate = unlimited\nfirmware:\nunit = request\n");
	uint64_t start = medium_now_ns(m), end;
	size_t got;

	medium_read(m, 0, buf, 4096, &got);
	ck_assert_double_eq_tol((double)(medium_now_ns(m) - start), 5096000, 10);
	ck_assert_int_eq(medium_move_clock_ns(m, start), 0); /* both arrive at the start */
	medium_read(m, 0, buf, 4096, &got);
	end = medium_now_ns(m);
	ck_assert_double_eq_tol((double)(end - start), 5096000 + 4096000, 20);
	medium_close(m);
}
END_TEST

/* usb-storage's limit of 240 sectors: 256 KiB become 120 + 120 + 16 KiB. */
START_TEST(long_requests_are_split_and_counted)
{
	struct medium *m = opened("link:\nspeed = full\nrate = 1 MB/s\nrequest cost = 1 ms\ncard:\n"
				  "read rate = unlimited\nwrite rate = unlimited\n"
				  "firmware:\nunit = request\n");
	struct medium_counts n;

	ck_assert_uint_eq(medium_traits(m)->request_limit_bytes, 122880);
	ck_assert_uint_eq(medium_traits(m)->link_bits_per_second, 12000000);
	ck_assert_double_eq_tol(timed(m, false, 0, 262144), 0.262144 + 0.003, 1e-6);
	timed(m, true, 0, 1048576);
	ck_assert_int_eq(medium_counts(m, &n), 0);
	ck_assert_uint_eq(n.reads, 3);
	ck_assert_uint_eq(n.read_bytes, 262144);
	ck_assert_uint_eq(n.writes, 9);
	ck_assert_uint_eq(n.written_bytes, 1048576);
	ck_assert_uint_eq(n.flushes, 0);
	/* No write cache claimed: the kernel sends no flush. */
	ck_assert_int_eq(medium_flush(m), 0);
	medium_counts(m, &n);
	ck_assert_uint_eq(n.flushes, 0);
	medium_close(m);
}
END_TEST

START_TEST(jitter_is_seeded_and_as_wide_as_asked)
{
	static const char text[] = "jitter = 5 %\nseed = 7\nlink:\nrate = 1 MB/s\n"
				   "card:\nread rate = unlimited\nwrite rate = unlimited\n"
				   "firmware:\nunit = request\n";
	struct medium *a = opened(text), *b = opened(text);
	double sum = 0, squares = 0;
	enum { N = 4000 };

	for (int i = 0; i < N; i++) {
		double s = timed(a, false, 0, 4096);

		ck_assert_double_eq(s, timed(b, false, 0, 4096));
		s /= 4096e-6;
		sum += s;
		squares += s * s;
	}
	ck_assert_double_eq_tol(sum / N, 1, 0.05 / sqrt(N) * 4);
	ck_assert_double_eq_tol(sqrt(squares / N - sum / N * (sum / N)), 0.05, 0.003);
	medium_close(a);
	medium_close(b);
}
END_TEST

START_TEST(the_kernel_refuses_what_it_would)
{
	struct medium *m = opened(BEHIND);
	uint64_t size = medium_traits(m)->size_bytes;
	size_t got;

	ck_assert_int_eq(medium_read(m, size, buf, 512, &got), 0);
	ck_assert_uint_eq(got, 0);
	ck_assert_int_eq(medium_read(m, size - 512, buf, 4096, &got), 0);
	ck_assert_uint_eq(got, 512);
	ck_assert_int_eq(medium_write(m, size, buf, 512, &got), -ENOSPC);
	ck_assert_int_eq(medium_write(m, size - 512, buf, 4096, &got), 0);
	ck_assert_uint_eq(got, 512);
	ck_assert_int_eq(medium_read(m, 100, buf, 512, &got), -EINVAL);
	ck_assert_int_eq(medium_write(m, 0, buf, 100, &got), -EINVAL);
	medium_close(m);
	m = opened(BEHIND "write protected = yes\n");
	ck_assert(medium_traits(m)->read_only);
	ck_assert_int_eq(medium_traits(m)->cache, MEDIUM_CACHE_WRITE_THROUGH);
	ck_assert_int_eq(medium_write(m, 0, buf, 512, &got), -EROFS);
	medium_close(m);
}
END_TEST

Suite *model_suite(void)
{
	Suite *s = suite_create("model");
	TCase *c = tcase_create("model");

	tcase_add_test(c, store_and_forward_rates);
	tcase_add_test(c, overlap_in_chunks);
	tcase_add_test(c, overlap_approaches_the_slower_stage);
	tcase_add_test(c, fixed_cost_and_rate);
	tcase_add_test(c, frames_of_bulk_only_transport);
	tcase_add_test(c, frames_wait_for_the_card);
	tcase_add_test(c, two_buffers_hold_the_link_back);
	tcase_add_test(c, write_through_without_fua_flushes);
	tcase_add_test(c, a_buffer_that_drains_on_flush_only_waits_for_one);
	tcase_add_test(c, a_full_buffer_may_store_all_before_it_takes_more);
	tcase_add_test(c, a_buffer_that_drains_after_idling_stops_for_a_command);
	tcase_add_test(c, reads_from_the_card_delay_the_drain);
	tcase_add_test(c, one_sector_at_a_time_is_flat);
	tcase_add_test(c, write_unit_rounds_up);
	tcase_add_test(c, stalls_come_by_bytes);
	tcase_add_test(c, write_behind_fills_then_waits);
	tcase_add_test(c, first_read_waits_for_the_drain);
	tcase_add_test(c, write_through_takes_the_time_storing_takes);
	tcase_add_test(c, requests_queue_for_one_server);
	tcase_add_test(c, long_requests_are_split_and_counted);
	tcase_add_test(c, jitter_is_seeded_and_as_wide_as_asked);
	tcase_add_test(c, the_kernel_refuses_what_it_would);
	suite_add_tcase(s, c);
	return s;
}
