/* analysis/twin: gadgets whose times are computed here come out as they went in, and what the times can't tell is named.
 * tests/truth/twin.py has hundreds more, and edits them. */
#include <check.h>
#include <math.h>

#include "analysis/twin.h"

enum { SIZES = 8 };

/* us a byte; ms. */
struct gadget {
	double link, card[2], sector[2], fixed_ms[2];
	bool overlapped; /* in blocks of 512 */
};

static double seconds_of(const struct gadget *g, int d, double n)
{
	double store = g->card[d] + g->sector[d];
	double us = g->overlapped ? 512 * fmin(g->link, store) + n * fmax(g->link, store)
				  : n * (g->link + store);

	return g->fixed_ms[d] * 1e-3 + us * 1e-6;
}

/* What was measured of it; given: with the rates of link and card. */
struct seen {
	struct growth_set growths[2];
	struct culprits culprits[2];
	struct twin_input in;
};

static void look(struct seen *s, const struct gadget *g, bool given)
{
	s->in = (struct twin_input){ .block_bytes = 512, .link = given ? 1e6 / g->link : 0 };
	for (int d = 0; d < 2; d++) {
		struct growth_point p[SIZES];
		struct culprit_input in = { .growths = &s->growths[d],
			.bytes = 4096,
			.pieces = 1,
			.block_bytes = 512,
			.in_flight = 1,
			.write = d,
			.link = { .rate = s->in.link },
			.card = { .rate = given ? 1e6 / g->card[d] : 0 } };

		for (int i = 0; i < SIZES; i++)
			p[i] = (struct growth_point){ .bytes = UINT64_C(512) << i,
				.seconds = seconds_of(g, d, 512 << i),
				.pieces = 1 };
		growth_find(
			&s->growths[d], p, SIZES, &(struct growth_options){ .wanted_bytes = 4096 });
		culprits_find(&s->culprits[d], &in);
		s->in.side[d] = (struct twin_side){ .growth = &s->growths[d].list[0],
			.culprits = &s->culprits[d],
			.card = in.card.rate,
			.smallest_bytes = 512,
			.smallest_s = p[0].seconds };
	}
}

/* As fast as what was measured at every size. */
static void alike(const struct twin *t, const struct seen *s, const struct gadget *g)
{
	for (int d = 0; d < 2; d++)
		for (int i = 0; i < SIZES; i++)
			ck_assert_double_eq_tol(
				twin_seconds(t, &s->in, d, 512 << i) / seconds_of(g, d, 512 << i),
				1, 1e-3);
}

static void doubts_are(const struct twin *t, unsigned wanted)
{
	for (int i = 0; i < TWIN_DOUBTS; i++)
		ck_assert_msg(t->doubts[i] == (wanted >> i & 1), "doubt %d is %d", i, t->doubts[i]);
}

START_TEST(in_turn)
{
	struct gadget g = { 1, { 0.5, 0.8 }, { 0, 0 }, { 1, 3 }, false };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	twin_make(&t, &s.in);
	alike(&t, &s, &g);
	ck_assert(!t.overlapped && !t.sectors);
	ck_assert_double_eq_tol(t.card[0].rate, 2e6, 1e3);
	ck_assert_double_eq_tol(t.card[1].rate, 1.25e6, 1e3);
	/* 1 ms of every request, 2 more of a write. */
	ck_assert_double_eq_tol(t.request_s, 1e-3, 1e-6);
	ck_assert_double_eq_tol(t.card[1].command_s, 2e-3, 1e-6);
	doubts_are(&t, 1u << TWIN_REQUEST);
}
END_TEST

START_TEST(overlapped)
{
	struct gadget g = { 1, { 0.5, 2.5 }, { 0, 0 }, { 0, 0 }, true };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	twin_make(&t, &s.in);
	alike(&t, &s, &g);
	ck_assert(t.overlapped && !t.sectors);
	ck_assert_double_eq_tol(t.link, 1e6, 1e3);
	ck_assert_double_eq_tol(t.card[1].rate, 0.4e6, 1e3);
	doubts_are(&t, 0);
}
END_TEST

/* 1.2 us a byte more than link and card in turn: 0.614 ms for each sector. */
START_TEST(single_sectors)
{
	struct gadget g = { 1, { 0.5, 0.8 }, { 1.2, 1.2 }, { 0, 0 }, false };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	twin_make(&t, &s.in);
	alike(&t, &s, &g);
	ck_assert(t.sectors);
	ck_assert(t.doubts[TWIN_SECTOR]);
	/* Overlapped or not they take the same, to a block. */
	ck_assert(t.doubts[TWIN_TRANSFER]);
	ck_assert_double_eq_tol(t.card[1].command_s, 512 * 1.2e-6, 1e-6);
	/* With a fixed cost of writes alone there is no place for it but beside sector costs. */
	g.fixed_ms[1] = 4;
	look(&s, &g, true);
	twin_make(&t, &s.in);
	alike(&t, &s, &g);
	ck_assert(!t.sectors);
	ck_assert_double_eq_tol(t.card[1].sector_s, 512 * 1.2e-6, 1e-6);
}
END_TEST

/* Nothing given: something with these times, and all that was made up for it is named. */
START_TEST(no_rates)
{
	struct gadget g = { 1, { 0.5, 0.8 }, { 0, 0 }, { 0, 0 }, false };
	struct seen s;
	struct twin t;

	look(&s, &g, false);
	s.in.link_ceiling = 1.2e6;
	twin_make(&t, &s.in);
	alike(&t, &s, &g);
	ck_assert(t.doubts[TWIN_LINK] && t.doubts[TWIN_READ_CARD] && t.doubts[TWIN_WRITE_CARD]);
	ck_assert(t.doubts[TWIN_TRANSFER]);
}
END_TEST

START_TEST(one_direction)
{
	struct gadget g = { 1, { 0.5, 0.8 }, { 0, 0 }, { 0, 0 }, false };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	s.in.side[1] = (struct twin_side){ 0 };
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_WRITES] && !t.doubts[TWIN_READS]);
	s.growths[0].list[0] = (struct growth){ .kind = GROWTH_UNKNOWN };
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_READ_SHAPE]);
}
END_TEST

/* ---- with phases ---- */

/* In turn, link 1 us a byte, with a pause of 2 ms, 0.2 ms until a command is taken, 0.5 ms before data, and 0.7 ms of the
 * card's own in writes, 0.3 in reads. */
static const struct gadget paused = { 1, { 0.5, 0.8 }, { 0, 0 }, { 3.0, 3.4 }, false };

static void show_phases(struct seen *s, double link_us)
{
	for (int d = 0; d < 2; d++) {
		s->in.side[d].phases_seen = true;
		s->in.side[d].phases = (struct twin_phases){ .host_s = 2e-3,
			.command_s = 0.2e-3,
			.data_s = d ? 0.5e-3 : 0.8e-3,
			.data_slope = (d ? link_us : link_us + 0.5) * 1e-6,
			.status_s = d ? 0.7e-3 : 0,
			.status_slope = d ? 0.8e-6 : 0,
			.status_last_slope = d ? 0.8e-6 : 0 };
	}
}

/* Link and whose the fixed costs are follow from the phases alone; the card's rate may be work per sector as well, and what
 * comes after the data the end of work that began before, unless it is as long as the card's. */
START_TEST(phases_tell_whose_time_it_is)
{
	struct seen s;
	struct twin t;

	look(&s, &paused, false);
	show_phases(&s, 1);
	twin_make(&t, &s.in);
	alike(&t, &s, &paused);
	ck_assert_double_eq_tol(t.link, 1e6, 1e3);
	ck_assert(!t.overlapped && t.link_seen && t.phased);
	ck_assert_double_eq_tol(t.host_s, 2e-3, 1e-6);
	ck_assert_double_eq_tol(t.command_s, 0.2e-3, 1e-6);
	ck_assert_double_eq_tol(t.request_s, 0.5e-3, 1e-5);
	ck_assert_double_eq_tol(t.card[0].command_s, 0.3e-3, 1e-5);
	ck_assert_double_eq_tol(t.card[1].command_s, 0.7e-3, 1e-5);
	ck_assert_double_eq_tol(t.card[1].rate, 1e6 / 0.8, 1e4);
	doubts_are(&t, 1u << TWIN_READ_CARD | 1u << TWIN_WRITE_CARD | 1u << TWIN_SECTOR |
			       1u << TWIN_TRANSFER);
	look(&s, &paused, true);
	show_phases(&s, 1);
	twin_make(&t, &s.in);
	alike(&t, &s, &paused);
	doubts_are(&t, 0);
}
END_TEST

/* Statuses that grow with nothing show no turns; data faster than the link can be are no link; what writes show that are only
 * acknowledged shows nothing of storing. */
START_TEST(phases_that_tell_less)
{
	struct seen s;
	struct twin t;

	look(&s, &paused, false);
	show_phases(&s, 1);
	s.in.side[1].phases.status_slope = 0;
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_TRANSFER] && t.doubts[TWIN_LINK] && t.doubts[TWIN_REQUEST]);
	ck_assert_double_eq_tol(t.host_s, 2e-3, 1e-6);
	look(&s, &paused, false);
	show_phases(&s, 1);
	s.in.link_ceiling = 0.8e6;
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_LINK] && !t.link_seen);
	look(&s, &paused, false);
	show_phases(&s, 1);
	s.in.side[1].buffered = true;
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_LINK] && t.doubts[TWIN_REQUEST] && !t.stores_after);
	ck_assert_double_eq_tol(t.host_s, 2e-3, 1e-6); /* of the reads */
}
END_TEST

/* A status that a line has growing, while it stays the same from half the largest size on, is no work on all of the data; data that
 * are taken more slowly than the link brings them, with nothing left afterwards, are worked on as they come. */
START_TEST(phases_that_show_overlap)
{
	struct gadget g = { 1, { 0.5, 2.5 }, { 0, 0 }, { 0, 0 }, true };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	show_phases(&s, 1);
	s.in.side[1].phases.data_slope = 2.5e-6;
	s.in.side[1].phases.status_last_slope = 0;
	twin_make(&t, &s.in);
	ck_assert(t.overlapped && t.stores_meanwhile && !t.stores_after);
	ck_assert(!t.doubts[TWIN_TRANSFER]);
	/* Here link and card in turn would take as long: a gadget that stores piece by piece looks the same. */
	g.sector[1] = 1;
	look(&s, &g, true);
	show_phases(&s, 1);
	s.in.side[1].phases.data_slope = 3.5e-6;
	s.in.side[1].phases.status_last_slope = 0;
	twin_make(&t, &s.in);
	ck_assert(t.overlapped && t.stores_meanwhile && t.doubts[TWIN_TRANSFER]);
}
END_TEST

/* ---- the timing of a model ---- */

static void takes_ms(
	const struct twin *t, const struct twin_input *in, bool write, double bytes, double ms)
{
	ck_assert_double_eq_tol(twin_seconds(t, in, write, bytes) * 1e3, ms, 1e-6);
}

/* Chunks of 512 B at 1 us a byte. The card takes 17 ms before the first and no more, and there are two buffers: all chunks from
 * the third on wait for it. 128 of them: 0.512 + 17 + 126 * 0.512 ms. */
START_TEST(two_buffers)
{
	struct twin t = { .link = 1e6,
		.overlapped = true,
		.card = { { .rate = INFINITY }, { .rate = INFINITY, .command_s = 17e-3 } } };
	const struct twin_input in = { .block_bytes = 512 };

	takes_ms(&t, &in, true, 65536, 0.512 + 17 + 126 * 0.512);
	takes_ms(&t, &in, true, 1024, 0.512 + 17);
	/* In turn all of it comes first. */
	t.overlapped = false;
	takes_ms(&t, &in, true, 65536, 65.536 + 17);
	/* A read of two chunks: each is fetched in 1 ms, the second while the first is sent. */
	t.overlapped = true;
	t.card[0].rate = 512e3;
	takes_ms(&t, &in, false, 1024, 1 + 1 + 0.512);
}
END_TEST

/* Full speed, 19 packets of 64 bytes a frame of 1 ms (USB 2.0, table 5-9): 4 KiB are four frames; a frame each before and after;
 * 0.5 ms of work in front takes another. */
START_TEST(whole_frames)
{
	struct twin t = { .link = 1216e3,
		.frames = true,
		.card = { { .rate = INFINITY }, { .rate = INFINITY } } };
	const struct twin_input in = {
		.block_bytes = 512, .frame_s = 1e-3, .link_ceiling = 1216e3
	};

	takes_ms(&t, &in, true, 4096, 6);
	takes_ms(&t, &in, false, 4096, 6);
	t.request_s = 0.5e-3;
	takes_ms(&t, &in, true, 4096, 7);
}
END_TEST

/* A buffer of one block: every block waits until the one before is stored. One of many: the slower side counts. */
START_TEST(a_buffer_that_fills)
{
	struct twin t = { .link = 1e6,
		.card = { { .rate = INFINITY }, { .rate = 512e3, .command_s = 5e-3 } } };
	struct twin_input in = { .block_bytes = 512,
		.side = { [1] = { .buffered = true, .behind_bytes = 512 } } };
	double one = twin_seconds(&t, &in, true, 1024) * 1e3;

	/* But for the very first block, and the last, which leaves without another after it. */
	ck_assert_double_eq_tol(one, 0.512 + 6 + 0.512 + 1, 0.2);
	in.side[1].behind_bytes = 65536;
	ck_assert_double_eq_tol(twin_seconds(&t, &in, true, 1024) * 1e3, 5 + 1 + 1, 0.1);
}
END_TEST

/* ---- what cannot be known ---- */

/* Every write takes 80 ms more, in which the card could program 128 KiB at the rate that was given: how times grow shows nothing
 * of the card then. */
START_TEST(a_unit_beyond_all_sizes)
{
	struct gadget g = { 1, { 0.5, 0 }, { 0, 0 }, { 0, 80 }, false };
	struct seen s;
	struct twin t;

	look(&s, &g, true);
	s.in.side[1].card = 1.6e6;
	twin_make(&t, &s.in);
	ck_assert(t.doubts[TWIN_UNIT] && t.doubts[TWIN_WRITE_CARD] && t.doubts[TWIN_TRANSFER]);
	g.fixed_ms[1] = 8;
	g.card[1] = 0.625;
	look(&s, &g, true);
	twin_make(&t, &s.in);
	ck_assert(!t.doubts[TWIN_UNIT] && !t.doubts[TWIN_WRITE_CARD]);
}
END_TEST

/* Behind a buffer the slower of two counts: up to 8 KiB the card's 12 ms and 0.5 us a byte, beyond that the link's 2 us. */
START_TEST(behind_a_buffer)
{
	struct growth read = { .kind = GROWTH_STRAIGHT,
		.fixed_s = 1e-3,
		.slope = 2.5e-6,
		.smallest_bytes = 512,
		.largest_bytes = 65536 };
	struct growth write = { .kind = GROWTH_TURNED,
		.fixed_s = 1e-3,
		.slope = 2e-6,
		.fixed_below_s = 12e-3,
		.slope_below = 0.5e-6,
		.at_bytes = 8192,
		.smallest_bytes = 512,
		.largest_bytes = 65536 };
	struct twin_input in = { .block_bytes = 512,
		.link = 0.5e6,
		.side = { { .growth = &read },
			{ .growth = &write, .buffered = true, .behind_bytes = 65536 } } };
	struct twin t;

	twin_make(&t, &in);
	ck_assert_double_eq_tol(t.card[1].command_s, 12e-3, 1e-9);
	ck_assert_double_eq_tol(t.card[1].rate, 2e6, 1);
	ck_assert_double_eq_tol(t.link, 0.5e6, 1);
	ck_assert(t.doubts[TWIN_BUFFER]);
	/* The card alone, at every size: its fixed part is no request's. */
	write = (struct growth){ .kind = GROWTH_STRAIGHT,
		.fixed_s = 12e-3,
		.slope = 4e-6,
		.smallest_bytes = 512,
		.largest_bytes = 65536 };
	twin_make(&t, &in);
	ck_assert_double_eq_tol(t.card[1].command_s, 12e-3, 1e-9);
	ck_assert_double_eq_tol(t.request_s, 1e-3, 1e-9);
}
END_TEST

Suite *twin_suite(void)
{
	Suite *s = suite_create("twin");
	TCase *c = tcase_create("twin");

	tcase_add_test(c, in_turn);
	tcase_add_test(c, phases_tell_whose_time_it_is);
	tcase_add_test(c, phases_that_tell_less);
	tcase_add_test(c, overlapped);
	tcase_add_test(c, single_sectors);
	tcase_add_test(c, no_rates);
	tcase_add_test(c, one_direction);
	tcase_add_test(c, phases_that_show_overlap);
	tcase_add_test(c, two_buffers);
	tcase_add_test(c, whole_frames);
	tcase_add_test(c, a_buffer_that_fills);
	tcase_add_test(c, a_unit_beyond_all_sizes);
	tcase_add_test(c, behind_a_buffer);
	suite_add_tcase(s, c);
	return s;
}
