/* analysis/growth, least_squares, frames, stall: what is told from times before anything is made of it. Times are
 * computed from gadgets whose stages are known. */
#include <check.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/frames.h"
#include "analysis/growth.h"
#include "analysis/least_squares.h"
#include "analysis/stall.h"
#include "analysis/usb.h"
#include "base/random.h"
#include "support/chance.h"

enum { SIZES = 8 };

static void same(double got, double wanted, double relative)
{
	ck_assert_double_eq_tol(got, wanted, relative * fabs(wanted));
}

/* ---- least squares ---- */

/* NIST StRD, Norris (lower difficulty): certified B0, B1. https://www.itl.nist.gov/div898/strd/ */
START_TEST(norris)
{
	static const double y[] = { 0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1,
		778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0,
		888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9,
		668.4, 449.2, 0.2 };
	static const double x[] = { 0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6,
		777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8,
		887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2,
		669.1, 448.9, 0.5 };
	double one[36], w[36], found[2];
	const double *columns[] = { one, x };

	for (int i = 0; i < 36; i++)
		one[i] = w[i] = 1;
	ck_assert(least_squares(found, columns, 2, y, w, 36));
	same(found[0], -0.262323073774029, 1e-9);
	same(found[1], 1.00211681802045, 1e-10);
}
END_TEST

START_TEST(several_columns)
{
	static const double a[] = { 1, 1, 1, 1, 1, 1 }, b[] = { 1, 2, 3, 4, 5, 6 },
			    c[] = { 0, 0, 1, 0, 4, 1 }, d[] = { 2, 4, 6, 8, 10, 12 };
	static const double w[] = { 1, 2, 1, 3, 1, 1 };
	const double *columns[] = { a, b, c }, *twice[] = { b, d };
	double y[6], found[LEAST_SQUARES_MAX];

	for (int i = 0; i < 6; i++)
		y[i] = 3 * a[i] - 0.5 * b[i] + 7 * c[i];
	ck_assert(least_squares(found, columns, 3, y, w, 6));
	same(found[0], 3, 1e-12);
	same(found[1], -0.5, 1e-12);
	same(found[2], 7, 1e-12);
	ck_assert(!least_squares(found, twice, 2, y, w, 6)); /* they say the same */
	ck_assert(!least_squares(found, columns, 3, y, w, 2));
}
END_TEST

/* ---- shapes ---- */

/* What a unit adds, by hand. */
START_TEST(excess_of_a_unit)
{
	ck_assert_double_eq(growth_unit_excess(4096, 0, 16384), 12288);
	ck_assert_double_eq(growth_unit_excess(16384, 0, 16384), 0);
	ck_assert_double_eq(growth_unit_excess(65536, 0, 16384), 0);
	/* 24 KiB at 0, 24, 48, ... KiB: always two units of 16. */
	ck_assert_double_eq(growth_unit_excess(24576, 0, 16384), 8192);
	/* 3 sectors in units of 8: at 0 and 3 one unit, at 6 two, ...: (8 + 8 + 16 + 8 + 8 + 16 + 8 + 8) / 8 - 3. */
	ck_assert_double_eq(growth_unit_excess(1536, 0, 4096), 512 * 7);
	/* 128 KiB in pieces of 120: 7.5 units of 16 and half a one more on either side. */
	ck_assert_double_eq(growth_unit_excess(131072, 122880, 16384), 16384);
}
END_TEST

static const struct growth_options reading = { .wanted_bytes = 4096 },
				   writing = { .wanted_bytes = 4096, .units = true };

/* Units of 5 blocks: of five requests of 2 one lies across an edge, of 4 three do, of one none. */
START_TEST(requests_across_edges)
{
	ck_assert_uint_eq(growth_unit_spread(1024, 1, 2560), 1);
	ck_assert_uint_eq(growth_unit_spread(2048, 1, 2560), 0);
	ck_assert_uint_eq(growth_unit_spread(512, 1, 2560), 0);
	/* Four in flight touch 4, or 5 where an edge lies within one of them: that is most often. */
	ck_assert_uint_eq(growth_unit_spread(1024, 4, 2560), 0);
	ck_assert_uint_eq(growth_unit_spread(1024, 1, 1024), 0);
	/* No time is spent on what no sweep does. */
	ck_assert_uint_eq(growth_unit_spread(1024, UINT32_MAX, 2560), 0);
}
END_TEST

/* 512 B.. by powers of two; t is filled in by who asks. */
static void sizes(struct growth_point *p, size_t n)
{
	for (size_t i = 0; i < n; i++)
		p[i] = (struct growth_point){ .bytes = UINT64_C(512) << i, .pieces = 1 };
}

START_TEST(straight)
{
	struct growth_point p[SIZES];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds = 2e-3 + (double)p[i].bytes * 1.6e-6;
	growth_find(&set, p, SIZES, &writing);
	ck_assert(set.fits && set.count == 1);
	ck_assert_int_eq(set.list[0].kind, GROWTH_STRAIGHT);
	same(set.list[0].fixed_s, 2e-3, 1e-9);
	same(set.list[0].slope, 1.6e-6, 1e-9);
	/* Two sizes make a line, that nothing could have contradicted. */
	growth_find(&set, p + 2, 2, &reading);
	ck_assert(set.fits && !set.list[0].checked);
	growth_find(&set, p, 1, &reading);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNKNOWN);
	growth_find(&set, p, 0, &reading);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNKNOWN);
}
END_TEST

/* A split request pays the fixed cost for each piece. */
START_TEST(straight_though_split)
{
	struct growth_options options = { .piece_limit = 122880, .wanted_bytes = 4096 };
	struct growth_point p[12];
	struct growth_set set;

	sizes(p, 12);
	for (int i = 0; i < 12; i++) {
		p[i].pieces = ceil((double)p[i].bytes / 122880);
		p[i].seconds = p[i].pieces * 1e-3 + (double)p[i].bytes * 1e-6;
	}
	growth_find(&set, p, 12, &options);
	ck_assert_int_eq(set.list[0].kind, GROWTH_STRAIGHT);
	same(set.list[0].fixed_s, 1e-3, 1e-9);
	same(set.list[0].slope, 1e-6, 1e-9);
}
END_TEST

/* Units of 16 KiB at 1 MB/s, a link of 1 MB/s before them. */
START_TEST(unit)
{
	struct growth_point p[SIZES];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds =
			(double)p[i].bytes * 1e-6 + ceil((double)p[i].bytes / 16384) * 16384e-6;
	growth_find(&set, p, SIZES, &writing);
	ck_assert(set.fits);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNIT);
	ck_assert_double_eq(set.list[0].at_bytes, 16384);
	same(set.list[0].unit_slope, 1e-6, 1e-6);
	same(set.list[0].slope, 2e-6, 1e-6);
	same(growth_seconds(&set.list[0], 4096), 4096e-6 + 16384e-6, 1e-6);
	/* No unit in reads: there it is two lines. */
	growth_find(&set, p, SIZES, &reading);
	ck_assert_int_eq(set.list[0].kind, GROWTH_TURNED);
}
END_TEST

/* Overlapped in pieces of 4 KiB: in turn up to there, beyond the slower stage alone. */
START_TEST(coarse)
{
	struct growth_point p[SIZES];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++) {
		double n = (double)p[i].bytes;

		p[i].seconds = 1e-3 + fmin(n, 4096) * 1.6e-6 + fmax(0, n - 4096) * 1e-6;
	}
	growth_find(&set, p, SIZES, &writing);
	ck_assert(set.fits);
	ck_assert_int_eq(set.list[0].kind, GROWTH_COARSE);
	same(set.list[0].at_bytes, 4096, 1e-6);
	same(set.list[0].slope_below, 1.6e-6, 1e-6);
	same(set.list[0].slope, 1e-6, 1e-6);
}
END_TEST

/* Link and card overlapped in blocks with two buffers, the card programming whole units: seconds of n bytes. The recurrence of
 * a pipeline of two stages, written down from what blkassay-model(5) says of it. */
static double overlapped_seconds(double n, double link, double card, double whole)
{
	double in[2] = { 0, 0 },
	       out[2] = { 0, 0 }; /* when a block left a stage: the last one, the one before */

	for (double at = 0; at < n; at += 512) {
		double extra = at > 0 ? 0 : ceil(n / whole) * whole - n;

		in[1] = in[0];
		in[0] = fmax(in[0], out[1]) + 512 * link;
		out[1] = out[0];
		out[0] = fmax(in[0], out[0]) + (512 + extra) * card;
	}
	return out[0];
}

/* A unit of 32 KiB behind a link of 24 MB/s, the card at 133: 512 B take what 1 KiB take, and the last two sizes show the unit.
 * Neither is a smaller unit, nor a fixed cost with one size left out. */
START_TEST(unit_overlapped)
{
	struct growth_point p[SIZES];
	struct growth_set set;
	struct growth_options options = writing;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds =
			overlapped_seconds((double)p[i].bytes, 1 / 24.33e6, 1 / 132.8e6, 32768);
	same(p[0].seconds, p[1].seconds, 1e-9);
	options.block_bytes = 512;
	growth_find(&set, p, SIZES, &options);
	ck_assert(set.fits && !set.partial);
	for (size_t i = 0; i < set.count; i++) {
		ck_assert_int_eq(set.list[i].kind, GROWTH_UNIT);
		ck_assert_double_eq(set.list[i].at_bytes, 32768);
	}
	same(growth_seconds(&set.list[0], 512), p[0].seconds, 0.01);
	same(growth_seconds(&set.list[0], 4096), p[3].seconds, 0.01);
}
END_TEST

/* Large requests alone, split at 120 KiB: each piece of 16 KiB units pays for whole ones, and nothing is below a unit. */
START_TEST(unit_in_split_requests)
{
	struct growth_options options = {
		.units = true, .piece_limit = 122880, .block_bytes = 512, .wanted_bytes = 16384
	};
	struct growth_point p[7];
	struct growth_set set;

	for (int i = 0; i < 7; i++) {
		double n = 16384 << i;

		/* 120 KiB begin amid a unit every other time, and 16 KiB are written beyond each request of 128 KiB. */
		p[i] = (struct growth_point){ .bytes = (uint64_t)n, .pieces = ceil(n / 122880) };
		p[i].seconds = p[i].pieces * 2.4e-3 + n / 4.8e6 +
			       growth_unit_excess(p[i].bytes, 122880, 16384) / 8.9e6;
	}
	ck_assert_double_eq(growth_unit_excess(131072, 122880, 16384), 16384);
	growth_find(&set, p, 7, &options);
	ck_assert(set.fits);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNIT);
	ck_assert_double_eq(set.list[0].at_bytes, 16384);
	same(set.list[0].fixed_s, 2.4e-3, 0.02);
}
END_TEST

static const struct growth *unit_of(const struct growth_set *set, double bytes)
{
	for (size_t i = 0; i < set->count; i++)
		if (set->list[i].kind == GROWTH_UNIT && set->list[i].at_bytes == bytes)
			return &set->list[i];
	return NULL;
}

/* Cells of three bits: 24 KiB. In doubling sizes requests from 8 KiB on cover 16 KiB more than they have, wherever they begin
 * (the mean is n + U less the greatest common divisor), so it could be units of 8 KiB and a fixed cost: both are told. */
START_TEST(unit_of_three)
{
	struct growth_point p[SIZES + 2];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES + 2; i++) {
		if (i >= SIZES)
			p[i] = (struct growth_point){ .bytes = UINT64_C(98304) << (i - SIZES),
				.pieces = 1 };
		p[i].seconds = 1e-4 + (double)p[i].bytes * 2e-6 +
			       (24576 - fmin((double)(p[i].bytes & -p[i].bytes), 8192) *
						(p[i].bytes % 24576 ? 1 : 3)) *
				       1e-6;
	}
	growth_find(&set, p, SIZES, &writing);
	ck_assert(set.fits);
	ck_assert(unit_of(&set, 8192) && unit_of(&set, 24576));
	ck_assert(unit_of(&set, 8192)->multiple_alike);
	growth_find(&set, p, SIZES + 2, &writing);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNIT);
	ck_assert_double_eq(set.list[0].at_bytes, 24576);
	same(set.list[0].unit_slope, 1e-6, 1e-3);
	ck_assert(!unit_of(&set, 8192));
}
END_TEST

/* One point beyond a bend shows no bend: the rest is a line, and that one was left out. */
START_TEST(one_point_is_no_shape)
{
	struct growth_point p[SIZES];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds = 1e-3 + (double)p[i].bytes * 1e-6;
	p[SIZES - 1].seconds *= 1.5;
	growth_find(&set, p, SIZES, &writing);
	ck_assert(set.fits && set.partial);
	ck_assert_int_eq(set.list[0].kind, GROWTH_STRAIGHT);
	/* It is said how far off that one is: a third of its own time. */
	same(set.list[0].worst, 1.0 / 3, 1e-6);
	/* But not the size that matters. */
	growth_find(&set, p, SIZES,
		&(struct growth_options){ .units = true, .wanted_bytes = p[SIZES - 1].bytes });
	ck_assert(!set.partial);
}
END_TEST

/* Through four points two lines always go: that is no finding. */
START_TEST(two_lines_take_five_points)
{
	struct growth_point p[4] = { { .bytes = 512, .seconds = 1e-3 },
		{ .bytes = 4096, .seconds = 4.6e-3 }, { .bytes = 32768, .seconds = 16e-3 },
		{ .bytes = 122880, .seconds = 52e-3 } };
	struct growth_set set;

	for (int i = 0; i < 4; i++)
		p[i].pieces = 1;
	growth_find(&set, p, 4, &reading);
	ck_assert(!set.fits);
	for (size_t i = 0; i < set.count; i++)
		ck_assert_int_ne(set.list[i].kind, GROWTH_COARSE);
}
END_TEST

START_TEST(noise_makes_no_shape)
{
	enum { TRIALS = 2000 };
	struct random r = { 11 };
	unsigned bent = 0;

	for (int k = 0; k < TRIALS; k++) {
		struct growth_point p[SIZES];
		struct growth_set set;

		sizes(p, SIZES);
		for (int i = 0; i < SIZES; i++) {
			p[i].noise = 0.02;
			p[i].seconds =
				(1e-3 + (double)p[i].bytes * 1e-6) * exp(0.02 * chance_normal(&r));
		}
		growth_find(&set, p, SIZES, &writing);
		bent += set.list[0].kind != GROWTH_STRAIGHT;
	}
	/* The best of some twenty shapes is better by 9 by chance in a few of a hundred. */
	ck_assert_double_le((double)bent / TRIALS, 0.05);
}
END_TEST

START_TEST(no_shape_at_all)
{
	static const double odd[SIZES] = { 1, 9, 2, 30, 3, 40, 11, 70 };
	struct growth_point p[SIZES];
	struct growth_set set;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds = odd[i] * 1e-3;
	growth_find(&set, p, SIZES, &writing);
	ck_assert(!set.fits);
	ck_assert_int_eq(set.list[0].kind, GROWTH_UNKNOWN);
}
END_TEST

/* A unit larger than every request makes a straight line; how much of it the line can't tell. */
START_TEST(hidden_unit)
{
	struct growth_point p[SIZES];
	struct growth_set set;
	const struct growth *g = &set.list[0];
	bool found = false;

	sizes(p, SIZES);
	for (int i = 0; i < SIZES; i++)
		p[i].seconds = 3e-3 + (double)p[i].bytes * 1e-6;
	growth_find(&set, p, SIZES, &writing);
	for (size_t i = 0; i < g->hidden_count; i++) {
		if (g->hidden[i].unit_bytes < 131072)
			continue;
		found = true;
		ck_assert_double_lt(g->hidden[i].told, 1e-6);
		same(g->hidden[i].fixed_bytes, g->hidden[i].unit_bytes, 1e-6);
		same(g->hidden[i].slope, -1, 1e-6);
	}
	ck_assert(found);
	growth_find(&set, p, SIZES, &reading);
	ck_assert_uint_eq(g->hidden_count, 0);
}
END_TEST

/* ---- frames ---- */

/* Full speed, one phase a frame, `more` frames besides; off: of a frame, for all. */
static void in_frames(struct frames_point *p, size_t n, double more, double off)
{
	const struct usb_link *full = usb_link_at(12000000);

	for (size_t i = 0; i < n; i++) {
		uint64_t bytes = UINT64_C(512) << i;
		double t = usb_command_phased_s(full, bytes) + (more + off) * 1e-3;

		p[i] = (struct frames_point){
			.bytes = (double)bytes, .pieces = 1, .seconds = t, .median_s = t, .p90_s = t
		};
	}
}

START_TEST(frames)
{
	const struct usb_link *full = usb_link_at(12000000), *super = usb_link_at(5000000000);
	struct frames_point p[SIZES];

	in_frames(p, SIZES, 1, 0);
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_SEEN);
	/* No frames there, or no such link. */
	ck_assert_int_eq(frames_look(super, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
	ck_assert_int_eq(frames_look(NULL, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
	/* Four tenths of a frame off the whole ones. */
	in_frames(p, SIZES, 1, 0.4);
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
	/* Faster than one phase a frame allows. */
	in_frames(p, SIZES, -1, 0);
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
	/* Times of single requests are not known: may be. */
	in_frames(p, SIZES, 1, 0.1);
	for (int i = 0; i < SIZES; i++)
		p[i].median_s = 0;
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_OPEN);
	/* Round figures: a line of 3 ms and 1 ms a KiB takes whole frames as well, where a line is all there is. */
	for (int i = 1; i < SIZES; i++)
		p[i].seconds = p[i].median_s = p[i].p90_s = 3e-3 + p[i].bytes / 1024 * 1e-3;
	ck_assert_int_ne(frames_look(full, p + 1, 3, true, 0), FRAMES_SEEN);
}
END_TEST

/* A host that is busy now and then: nothing is a whole frame, but all follow one phase a frame. By an emulated stick. */
START_TEST(blurred_frames)
{
	static const double ms[][3] = { /* mean, median, 90 % */
		{ 3.24, 3.13, 3.21 }, { 3.33, 3.13, 5.27 }, { 4.36, 4.18, 5.83 },
		{ 6.25, 6.27, 6.54 }, { 9.36, 9.40, 10.85 }, { 16.2, 16.3, 16.9 },
		{ 29.2, 29.1, 29.6 }, { 57.2, 57.4, 57.9 }
	};
	const struct usb_link *full = usb_link_at(12000000);
	struct frames_point p[SIZES];

	in_frames(p, SIZES, 0, 0);
	for (int i = 0; i < SIZES; i++) {
		p[i].seconds = ms[i][0] * 1e-3;
		p[i].median_s = ms[i][1] * 1e-3;
		p[i].p90_s = ms[i][2] * 1e-3;
		p[i].noise = 0.03;
	}
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_OPEN);
	/* Sharp, and all a twentieth longer: the frames of an emulated bus may be. */
	for (int i = 0; i < SIZES; i++) {
		p[i].seconds = 1.05 * usb_command_phased_s(full, (uint64_t)p[i].bytes);
		p[i].p90_s = p[i].median_s = p[i].seconds;
	}
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_OPEN);
	/* Farther off, and sharp: no frames. */
	for (int i = 0; i < SIZES; i++)
		p[i].p90_s = p[i].median_s = p[i].seconds *= 1.08;
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
	/* Blurred, and longer by more than frames make them. */
	for (int i = 0; i < SIZES; i++) {
		p[i].seconds *= 1.4;
		p[i].median_s *= 1.4;
		p[i].p90_s = p[i].median_s + 1e-3;
	}
	ck_assert_int_eq(frames_look(full, p, SIZES, false, INFINITY), FRAMES_EXCLUDED);
}
END_TEST

/* ---- stalls ---- */

START_TEST(stalls)
{
	/* 1000 requests of 4 KiB in 4 ms each, and two of 1 s more. */
	struct stall_pass p[] = {
		{ .request_bytes = 4096,
			.bytes = 4096000,
			.requests = 1000,
			.busy_s = 6.0,
			.p50_s = 4e-3,
			.max_s = 1.004,
			.in_flight = 1 },
		/* of 64 KiB, where every third one meets one: not told from itself */
		{ .request_bytes = 1 << 20,
			.bytes = 30 << 20,
			.requests = 30,
			.busy_s = 46.2,
			.p50_s = 1.03,
			.max_s = 2.0,
			.in_flight = 1 },
	};
	struct stalls s;

	ck_assert(stalls_find(&s, p, 2));
	same(s.seconds, 2.0, 1e-9);
	ck_assert_double_eq(s.count, 2);
	same(stalls_per_byte(&s), 2.0 / 4096000, 1e-9);
	same(p[0].stalled_s, 2.0, 1e-9);
	same(p[1].stalled_s, 2.0 / 4096000 * (30 << 20), 1e-9);
	ck_assert_double_gt(p[1].stalled_error_s, 1);
}
END_TEST

/* Once requests take as long as the stalls that shorter ones show, none stands out of them, and they meet as many. */
START_TEST(stalls_of_long_requests)
{
	/* 0.1 s for every 2 MiB: 2000 requests of 4 KiB in 4 ms each, and 60 of 64 KiB in 64 ms. */
	struct stall_pass p[] = {
		{ .request_bytes = 4096,
			.bytes = 2000 * 4096,
			.requests = 2000,
			.busy_s = 8.4,
			.p50_s = 4e-3,
			.max_s = 0.104,
			.in_flight = 1 },
		{ .request_bytes = 65536,
			.bytes = 60 * 65536,
			.requests = 60,
			.busy_s = 60 * 64e-3 + 0.2,
			.p50_s = 64e-3,
			.max_s = 0.164,
			.in_flight = 1 },
	};
	struct stalls s;

	ck_assert(stalls_find(&s, p, 2));
	ck_assert_double_eq(s.count, 4);
	ck_assert(!s.not_by_byte);
	/* 60 x 64 KiB at 0.4 s for 2000 x 4 KiB */
	same(p[1].stalled_s, 0.4 * 60 * 16 / 2000, 1e-9);
	/* Nor are they looked for there. */
	same(stalls_per_byte(&s), 0.4 / (2000 * 4096), 1e-9);
}
END_TEST

/* Stops among small requests that larger ones had none of are the host's: they do not come by the byte. */
START_TEST(stops_of_the_host)
{
	struct stall_pass p[] = {
		{ .request_bytes = 512,
			.bytes = 1500 * 512,
			.requests = 1500,
			.busy_s = 1500 * 3.13e-3 + 0.3,
			.p50_s = 3.13e-3,
			.max_s = 23.1e-3,
			.in_flight = 1 },
		/* by the byte there would be 50 more */
		{ .request_bytes = 8192,
			.bytes = 320 * 8192,
			.requests = 320,
			.busy_s = 320 * 9.4e-3,
			.p50_s = 9.4e-3,
			.max_s = 14e-3,
			.in_flight = 1 },
		{ .request_bytes = 65536,
			.bytes = 27 * 65536,
			.requests = 27,
			.busy_s = 27 * 57.2e-3,
			.p50_s = 57.2e-3,
			.max_s = 59e-3,
			.in_flight = 1 },
	};
	struct stalls s;

	ck_assert(stalls_find(&s, p, 3));
	ck_assert(s.not_by_byte);
	same(p[0].stalled_s, 0.3, 1e-9);
	/* 128 bins to the octave: a median may be 0.8 % too long. */
	ck_assert_double_le(p[1].stalled_s, 0.008 * p[1].busy_s);
	ck_assert_double_le(p[2].stalled_s, 0.008 * p[2].busy_s);
	ck_assert_double_le(stalls_per_byte(&s), 0.2 * 0.3 / (1500 * 512));
}
END_TEST

/* Two in flight, a stall for every second of them: the median has one then, and bounds nothing. */
START_TEST(stalls_in_the_median)
{
	struct stall_pass p[] = {
		{ .request_bytes = 4096,
			.bytes = 97 * 4096,
			.requests = 97,
			.busy_s = 0.673,
			.p50_s = 5.47e-3,
			.max_s = 0.1415,
			.in_flight = 2 },
		{ .request_bytes = 32768,
			.bytes = 64 * 32768,
			.requests = 64,
			.busy_s = 3.55,
			.p50_s = 0.1115,
			.max_s = 0.1801,
			.in_flight = 2 },
	};
	struct stalls s;

	ck_assert(stalls_find(&s, p, 2));
	ck_assert_double_eq(s.count, 3);
	ck_assert(!s.not_by_byte);
	same(p[1].stalled_s, p[0].stalled_s / p[0].bytes * p[1].bytes, 1e-9);
}
END_TEST

START_TEST(no_stalls)
{
	struct stall_pass p[] = {
		/* half of them fast, half of them slow: a mixture */
		{ .request_bytes = 4096,
			.bytes = 4096000,
			.requests = 1000,
			.busy_s = 6.0,
			.p50_s = 1e-3,
			.max_s = 11e-3,
			.in_flight = 1 },
		/* four in flight wait for each other */
		{ .request_bytes = 8192,
			.bytes = 8192000,
			.requests = 1000,
			.busy_s = 4.0,
			.p50_s = 16e-3,
			.max_s = 17e-3,
			.in_flight = 4 },
		/* a full buffer: what the flush took as well */
		{ .request_bytes = 16384,
			.bytes = 1638400,
			.requests = 100,
			.busy_s = 1.4,
			.p50_s = 4e-3,
			.max_s = 0.4,
			.flush_s = 2,
			.in_flight = 1 },
	};
	struct stalls s;

	ck_assert(stalls_find(&s, p, 3));
	ck_assert_double_eq(s.seconds, 0);
	ck_assert_double_eq(stalls_per_byte(&s), 0);
	ck_assert(stalls_find(&s, p, 0));
	ck_assert_double_eq(s.count, 0);
}
END_TEST

Suite *growth_suite(void)
{
	Suite *s = suite_create("growth");
	TCase *c = tcase_create("growth");

	tcase_add_test(c, norris);
	tcase_add_test(c, several_columns);
	tcase_add_test(c, excess_of_a_unit);
	tcase_add_test(c, straight);
	tcase_add_test(c, straight_though_split);
	tcase_add_test(c, unit);
	tcase_add_test(c, unit_overlapped);
	tcase_add_test(c, unit_of_three);
	tcase_add_test(c, unit_in_split_requests);
	tcase_add_test(c, coarse);
	tcase_add_test(c, one_point_is_no_shape);
	tcase_add_test(c, noise_makes_no_shape);
	tcase_add_test(c, two_lines_take_five_points);
	tcase_add_test(c, no_shape_at_all);
	tcase_add_test(c, hidden_unit);
	tcase_add_test(c, frames);
	tcase_add_test(c, blurred_frames);
	tcase_add_test(c, stalls);
	tcase_add_test(c, stalls_of_long_requests);
	tcase_add_test(c, stops_of_the_host);
	tcase_add_test(c, requests_across_edges);
	tcase_add_test(c, stalls_in_the_median);
	tcase_add_test(c, no_stalls);
	suite_add_tcase(s, c);
	return s;
}
