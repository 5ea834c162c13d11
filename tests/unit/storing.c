/* storing: what shows that writes were stored, on bursts worked out by hand: a buffer of B bytes filled at h and stored at
 * C, whose flush or whose reads wait for all, for some or for none of what is left. */
#include "analysis/storing.h"

#include <check.h>
#include <math.h>
#include <string.h>

#include "base/random.h"

#define MB 1e6

/* What a gadget does with a burst of n bytes. */
struct gadget {
	double buffer, head, card; /* bytes, B/s */
	bool at_once; /* stores while it is written, else only when it must */
	double flush_leaves,
		read_leaves; /* share of what waits that a flush, a read does not wait for; 1: all of it */
	double flush_s; /* of a flush with nothing to do */
};

static const struct gadget honest = { 1 << 20, 20 * MB, 2 * MB, true, 0, 1, 0.001 };

/* Time until the last answer; what waits then. */
static double acknowledged(const struct gadget *g, double n, double *left)
{
	/* Full when the head start over the card is used up; then each byte waits for one to go. */
	double rate = g->at_once ? g->head - g->card : g->head;
	double full = g->buffer * g->head / rate,
	       slow = g->at_once ? 1 / g->card : 1 / g->card + 1 / g->head;

	*left = n < full ? n * rate / g->head : g->buffer;
	return n < full ? n / g->head : full / g->head + (n - full) * slow;
}

static struct storing_burst burst(const struct gadget *g, double n, double pause_s)
{
	struct storing_burst b = { .bytes = n };
	double left;

	b.ack_s = acknowledged(g, n, &left);
	if (g->at_once)
		left = fmax(0, left - pause_s * g->card);
	b.flush_s = g->flush_s + left * (1 - g->flush_leaves) / g->card;
	left *= g->flush_leaves;
	b.wait_s = left * (1 - g->read_leaves) / g->card;
	return b;
}

static struct storing_bursts bursts(const struct gadget *g, double n)
{
	struct storing_bursts b = { .request_bytes = 65536,
		.flushes = true,
		.idle_flush_s = g->flush_s,
		.flush_resolution_s = 0.0005,
		.read_resolution_s = 0.0005 };
	static struct curve c;
	struct storing_times even = { 1, 1, 1e9, 0, 1e9 };
	double left, one, two;

	for (c.count = 0; c.count < CURVE_MAX; c.count++) {
		c.bytes[c.count] = n * (double)(c.count + 1) / CURVE_MAX;
		c.seconds[c.count] = acknowledged(g, c.bytes[c.count], &left);
	}
	storing_shape_of(&b.shape, &c, &even);
	b.full = burst(g, n, 0);
	one = b.shape.knee ? b.shape.buffer_bytes / 8 : n / 32;
	two = 4 * one;
	for (int i = 0; i < STORING_REPEATS; i++) {
		b.one[i] = burst(g, one, 0);
		b.two[i] = burst(g, two, 0);
	}
	return b;
}

static enum storing_by judged(const struct gadget *g, double n)
{
	struct storing_bursts b = bursts(g, n);

	return storing_judge(&b);
}

START_TEST(the_shape_gives_the_buffer_back)
{
	struct storing_bursts b = bursts(&honest, 8 << 20);

	ck_assert(b.shape.known && b.shape.knee && !b.shape.in_starts);
	ck_assert_double_eq_tol(b.shape.buffer_bytes, 1 << 20, 1 << 14);
	ck_assert_double_eq_tol(b.shape.drain_rate, 2 * MB, 0.01 * MB);
	ck_assert_double_eq_tol(b.shape.head_rate, 20 * MB, 0.3 * MB);
}
END_TEST

START_TEST(a_flush_that_waits_shows)
{
	struct gadget g = honest;

	ck_assert_int_eq(judged(&g, 8 << 20), STORING_FLUSH);
	/* Never full: it grows with the burst all the same. */
	g.buffer = 64 << 20;
	ck_assert_int_eq(judged(&g, 8 << 20), STORING_FLUSH);
	/* Reads that wait as well change nothing. */
	g.read_leaves = 0;
	ck_assert_int_eq(judged(&g, 8 << 20), STORING_FLUSH);
}
END_TEST

START_TEST(reads_that_wait_show_where_the_flush_lies)
{
	struct gadget g = honest;

	g.flush_leaves = 1;
	g.read_leaves = 0;
	ck_assert_int_eq(judged(&g, 8 << 20), STORING_SETTLED);
	g.buffer = 64 << 20;
	ck_assert_int_eq(judged(&g, 8 << 20), STORING_SETTLED);
}
END_TEST

START_TEST(what_waits_for_some_of_it_does_not_show)
{
	for (double leaves = 0.2; leaves <= 1; leaves += 0.1) {
		struct gadget g = honest;

		g.flush_leaves = leaves;
		ck_assert_int_eq(judged(&g, 8 << 20), STORING_NOT_SHOWN);
		g.flush_leaves = 1;
		g.read_leaves = leaves;
		ck_assert_int_eq(judged(&g, 8 << 20), STORING_NOT_SHOWN);
	}
}
END_TEST

/* A flush that takes its time whatever there is to store. */
START_TEST(what_does_not_grow_does_not_show)
{
	struct storing_bursts b = bursts(&honest, 8 << 20);

	for (int i = 0; i < STORING_REPEATS; i++)
		b.one[i].flush_s = b.two[i].flush_s = 0.05;
	b.full.flush_s = 0.05;
	ck_assert_int_eq(storing_judge(&b), STORING_NOT_SHOWN);
}
END_TEST

/* Nothing waits, nothing is ever held up: no buffer, or one that hides behind a link as slow as the card. */
START_TEST(no_backlog_at_all_is_level)
{
	ck_assert_int_eq(
		judged(&(struct gadget){ 0, 0.5 * MB, 50 * MB, true, 1, 1, 0.001 }, 8 << 20),
		STORING_LEVEL);
	ck_assert_int_eq(
		judged(&(struct gadget){ 64 << 20, 2 * MB, 1 * MB, true, 1, 1, 0.001 }, 8 << 20),
		STORING_LEVEL);
}
END_TEST

/* 4.5 % slower once the buffer is full: held up. 3 % is no knee. */
START_TEST(a_small_knee_is_seen)
{
	struct gadget g = { 128 << 10, 2 * MB, 2 * MB / 1.05, true, 1, 1, 0.001 };
	struct storing_bursts b = bursts(&g, 32 << 20);

	ck_assert(b.shape.knee);
	g.card = 2 * MB / 1.03;
	b = bursts(&g, 32 << 20);
	ck_assert(!b.shape.knee);
}
END_TEST

/* Requests that take about as long as each other, by a share of `jitter`; each like the last one by `lag1`; `buffer` of them
 * go into a buffer that the link fills 4 times as fast. Looked at as often as a burst is: seen twice running, or at the end. */
static bool knee_ever(uint64_t seed, double jitter, double lag1, double buffer)
{
	static struct curve c;
	struct storing_times even = { 1, 1, 1e9, 0, 1e9 };
	struct random r = { seed };
	struct storing_shape s = { 0 };
	double now = 0, off = 0, waiting = 0;
	size_t check = 32;
	bool before;

	c.count = 0;
	for (size_t n = 1; n <= 256; n++) {
		double each, noise = -6;

		for (int i = 0; i < 12; i++)
			noise += random_unit(&r); /* twelve of them: variance 1 */
		off = lag1 * off + (n > 1 ? sqrt(1 - lag1 * lag1) : 1) * noise;
		each = 0.01 * fmax(1 + jitter * off, 0.1);
		waiting = fmax(waiting - each / 4, 0) + each;
		now += buffer > 0 ? each / 4 + fmax(waiting - 0.01 * buffer, 0) : each;
		waiting = fmin(waiting, 0.01 * buffer);
		c.seconds[c.count] = now;
		c.bytes[c.count++] = 65536.0 * (double)n;
		if (n < check)
			continue;
		before = s.knee;
		storing_shape_of(&s, &c, &even);
		if (before && s.knee)
			return true;
		check = n + n / 4;
	}
	return s.knee;
}

/* The first requests are a little quicker than the rest by chance in every other burst: that is no buffer. */
START_TEST(noise_is_no_buffer)
{
	static const double jitters[] = { 0.02, 0.05, 0.1, 0.2 }, lags[] = { 0, 0.6 };

	for (size_t i = 0; i < sizeof jitters / sizeof *jitters; i++)
		for (size_t k = 0; k < 2; k++) {
			int seen = 0;

			for (uint64_t seed = 1; seed <= 300; seed++)
				seen += knee_ever(seed << 20, jitters[i], lags[k], 0);
			ck_assert_msg(seen <= (k ? 3 : 0), "jitter %g, lag %g: %d of 300",
				jitters[i], lags[k], seen);
		}
}
END_TEST

START_TEST(a_buffer_is_seen_through_noise)
{
	for (double buffer = 1; buffer <= 8; buffer *= 2) {
		int seen = 0;

		for (uint64_t seed = 1; seed <= 100; seed++)
			seen += knee_ever(seed << 20, 0.02, 0, buffer);
		ck_assert_msg(seen >= 98, "a buffer of %g requests: %d of 100", buffer, seen);
	}
}
END_TEST

/* A card that serves reads between blocks: each read waits a little and holds up storing for as long as it takes itself. */
START_TEST(reads_that_take_turns_do_not_show)
{
	for (double share = 0.05; share < 0.3; share *= 4) {
		struct gadget g = honest;
		struct storing_bursts b;

		g.flush_leaves = 1;
		g.read_leaves = 0;
		b = bursts(&g, 8 << 20);
		b.full.reads_s = share * b.full.wait_s;
		ck_assert_int_eq(
			storing_judge(&b), share < 0.1 ? STORING_SETTLED : STORING_NOT_SHOWN);
	}
}
END_TEST

/* The less a burst leaves, the shorter a wait that can be told from noise: the shorter one, where it leaves enough. */
START_TEST(pauses_follow_the_shorter_burst)
{
	struct gadget g = honest;
	struct storing_bursts b;

	g.buffer = 64 << 20;
	b = bursts(&g, 8 << 20);
	ck_assert_double_eq(storing_plain(&b, STORING_FLUSH)->bytes, b.one[0].bytes);
	b.flush_resolution_s = 0.01; /* 0.12 s are left, then 0.47 s */
	ck_assert_double_eq(storing_plain(&b, STORING_FLUSH)->bytes, b.two[0].bytes);
}
END_TEST

/* What stores only when it must is not called stored for what a flush does now and then. */
START_TEST(a_pause_tells_who_stores_by_itself)
{
	struct gadget g = honest;

	for (int at_once = 0; at_once < 2; at_once++) {
		struct storing_bursts b;
		const struct storing_burst *plain;
		struct storing_burst paused[STORING_REPEATS];
		double pause;

		g.at_once = at_once;
		g.buffer = 64 << 20;
		b = bursts(&g, 8 << 20);
		ck_assert_int_eq(storing_judge(&b), STORING_FLUSH);
		plain = storing_plain(&b, STORING_FLUSH);
		pause = storing_long_pause(&b, STORING_FLUSH, plain);
		for (int i = 0; i < STORING_REPEATS; i++)
			paused[i] = burst(&g, plain->bytes, pause);
		ck_assert_int_eq(
			storing_uses_pause(&b, STORING_FLUSH, plain, paused, pause), at_once);
	}
}
END_TEST

/* Gaps between the requests: the same bytes are stored as soon with them as without, be it that less is left at the end or, with
 * a buffer that was full, that the requests wait less. Not by one that begins to store only after more than a gap. */
START_TEST(gaps_tell_who_stores_by_itself)
{
	for (int full = 0; full < 2; full++) {
		struct gadget g = honest;
		struct storing_bursts b;
		const struct storing_burst *plain;
		struct storing_burst used[STORING_REPEATS], idle[STORING_REPEATS];
		double gaps;

		g.buffer = 64 << 20;
		b = bursts(&g, 8 << 20);
		plain = storing_plain(&b, STORING_FLUSH);
		gaps = storing_gaps(&b, STORING_FLUSH, plain);
		ck_assert(gaps < storing_long_pause(&b, STORING_FLUSH, plain));
		for (int i = 0; i < STORING_REPEATS; i++) {
			used[i] = idle[i] = plain[i];
			idle[i].ack_s += gaps;
			used[i].ack_s += full ? 0 : gaps;
			used[i].flush_s -= full ? 0 : gaps;
		}
		ck_assert(storing_uses_gaps(&b, STORING_FLUSH, plain, used, gaps));
		ck_assert(!storing_uses_gaps(&b, STORING_FLUSH, plain, idle, gaps));
	}
}
END_TEST

/* Where bursts differ by more than gaps could save, those tell nothing. */
START_TEST(gaps_lost_in_noise_tell_nothing)
{
	struct gadget g = honest;
	struct storing_bursts b;
	const struct storing_burst *plain;
	struct storing_burst paused[STORING_REPEATS];
	double gaps;

	g.buffer = 64 << 20;
	b = bursts(&g, 8 << 20);
	b.one[0].flush_s *= 0.7;
	b.one[2].flush_s *= 1.3;
	plain = storing_plain(&b, STORING_FLUSH);
	gaps = storing_gaps(&b, STORING_FLUSH, plain);
	for (int i = 0; i < STORING_REPEATS; i++)
		paused[i] = plain[1];
	ck_assert(!storing_uses_gaps(&b, STORING_FLUSH, plain, paused, gaps));
}
END_TEST

/* A buffer that is stored as a whole when it is full: 15 free requests of 1 ms, then one of 100 ms. */
START_TEST(fits_and_starts_are_seen)
{
	static struct curve c;
	struct storing_times t = { 0.001, 0.1, 32, 0, CURVE_MAX };
	struct storing_shape s;
	double now = 0;

	for (c.count = 0; c.count < CURVE_MAX; c.count++) {
		now += c.count % 16 == 15 ? 0.1 : 0.001;
		c.seconds[c.count] = now;
		c.bytes[c.count] = 4096.0 * (double)(c.count + 1);
	}
	storing_shape_of(&s, &c, &t);
	ck_assert(s.knee && s.in_starts);
	ck_assert_double_eq_tol(s.buffer_bytes, 65536, 1);
	ck_assert_double_eq_tol(s.drain_rate, 65536 / 0.115, 1);
	t.longer_ones = 8; /* stalls of all lengths come from elsewhere */
	storing_shape_of(&s, &c, &t);
	ck_assert(!s.in_starts);
}
END_TEST

/* Half of it ahead of a card that is ten times slower, half of it held up: most requests were quick, but none is any more. */
START_TEST(a_knee_is_no_fit_and_start)
{
	static struct curve c;
	struct storing_times t = { 0.001, 0.01, CURVE_MAX / 2 - 10, 0, CURVE_MAX };
	struct storing_shape s;
	double now = 0;

	for (c.count = 0; c.count < CURVE_MAX; c.count++) {
		now += c.count < CURVE_MAX / 2 - 10 ? 0.001 : 0.01;
		c.seconds[c.count] = now;
		c.bytes[c.count] = 4096.0 * (double)(c.count + 1);
	}
	storing_shape_of(&s, &c, &t);
	ck_assert(s.knee && !s.in_starts);
}
END_TEST

START_TEST(too_short_a_burst_tells_nothing)
{
	struct storing_bursts b = bursts(&honest, 8 << 20);

	memset(&b.shape, 0, sizeof b.shape);
	b.full.flush_s = b.idle_flush_s;
	ck_assert_int_eq(storing_judge(&b), STORING_NOT_SHOWN);
}
END_TEST

Suite *storing_suite(void)
{
	Suite *s = suite_create("storing");
	TCase *c = tcase_create("storing");

	tcase_add_test(c, the_shape_gives_the_buffer_back);
	tcase_add_test(c, a_flush_that_waits_shows);
	tcase_add_test(c, reads_that_wait_show_where_the_flush_lies);
	tcase_add_test(c, what_waits_for_some_of_it_does_not_show);
	tcase_add_test(c, what_does_not_grow_does_not_show);
	tcase_add_test(c, no_backlog_at_all_is_level);
	tcase_add_test(c, a_small_knee_is_seen);
	tcase_add_test(c, noise_is_no_buffer);
	tcase_add_test(c, a_buffer_is_seen_through_noise);
	tcase_add_test(c, reads_that_take_turns_do_not_show);
	tcase_add_test(c, a_pause_tells_who_stores_by_itself);
	tcase_add_test(c, gaps_tell_who_stores_by_itself);
	tcase_add_test(c, gaps_lost_in_noise_tell_nothing);
	tcase_add_test(c, pauses_follow_the_shorter_burst);
	tcase_add_test(c, fits_and_starts_are_seen);
	tcase_add_test(c, a_knee_is_no_fit_and_start);
	tcase_add_test(c, too_short_a_burst_tells_nothing);
	suite_add_tcase(s, c);
	return s;
}
