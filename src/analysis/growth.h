/* How the time of a request grows with its size: the simplest of a few shapes that follows the measured points.
 *
 *   straight  t = F + b n
 *   unit      t = F + b n + u x, x the bytes that a card writes beyond n because it programs whole units
 *   coarse    slope falls beyond a size: link and card overlap in pieces of that size, and below it they cannot
 *   turned    slope rises beyond a size: another stage takes over
 *
 * A request that the host splits pays F for every piece, so all of this is about one piece (a device request). */
#ifndef ANALYSIS_GROWTH_H
#define ANALYSIS_GROWTH_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

enum { GROWTH_POINTS_MAX = 64 };

struct growth_point {
	uint64_t bytes; /* of a host request; ascending in arrays */
	double seconds; /* > 0 */
	double pieces; /* device requests, >= 1 */
	double noise; /* standard error of `seconds`, as a share of it */
	/* From the middle of the requests to the slowest tenth, in s; 0: all alike; infinite: not known. */
	double spread_s;
};

enum growth_kind {
	GROWTH_UNKNOWN, /* none of these: nothing below but worst */
	GROWTH_STRAIGHT,
	GROWTH_UNIT,
	GROWTH_COARSE,
	GROWTH_TURNED,
};

/* A program unit that a straight line can't show: what it adds to the measured sizes is itself about
 * fixed_bytes + slope n. */
struct growth_hidden {
	double unit_bytes, fixed_bytes, slope;
	double told; /* largest distance from that, in standard errors of the time, for a card of 1 s per byte */
};

enum { GROWTH_HIDDEN_MAX = 32 };

struct growth {
	enum growth_kind kind;
	size_t sizes; /* 1: all of them about the same */
	int figures; /* fitted */
	bool checked; /* more sizes than figures: the shape could have failed */
	double fixed_s,
		slope; /* F, b; at the larger sizes where the line bends; slope in s per byte */
	double fixed_below_s, slope_below; /* at the smaller ones */
	double at_bytes; /* of the bend or the unit; 0: none */
	double unit_slope; /* u, s per byte */
	bool multiple_alike; /* a unit of odd times that size, and less of a fixed cost, would give the same times */
	double unit_each_s; /* and for every piece with such bytes; may be less than 0 */
	/* A request of at most so many bytes takes that much longer: overlapped stages have nothing yet to overlap there. */
	double apart_bytes, apart_s;
	double fixed_se, slope_se, fixed_below_se, slope_below_se;
	double smallest_bytes, largest_bytes; /* of a piece */
	double worst; /* largest distance of a point from the shape, as a share */
	struct growth_hidden hidden[GROWTH_HIDDEN_MAX]; /* of a straight line in writes */
	size_t hidden_count;
	double misfit; /* largest one in units of its own uncertainty */
	double squares; /* of all, in those units, summed; and 2 for each figure */
};

enum { GROWTH_SHAPES_MAX = 16 };

/* The simplest shapes that follow the points, the best one first; where none does, the nearest as long as it is not far
 * off; else one of GROWTH_UNKNOWN. */
struct growth_set {
	struct growth list[GROWTH_SHAPES_MAX];
	size_t count; /* >= 1 */
	bool fits; /* within what the points' own noise explains */
	bool strained; /* so far off all in all as the points' noise explains once in 100 */
	bool partial; /* one point at an end was left out */
	struct growth_point points[GROWTH_POINTS_MAX]; /* that it was made of */
	size_t point_count;
};

struct growth_options {
	uint64_t piece_limit; /* longer requests are split there; 0: not known */
	bool units; /* a program unit may show: in writes */
	uint32_t block_bytes; /* in which stages overlap at the least; 0: not known */
	uint64_t wanted_bytes; /* of the request that matters: the shape must reach it */
};

void growth_find(struct growth_set *set, const struct growth_point *points, size_t count,
	const struct growth_options *options);

/* Seconds of a piece of so many bytes. */
double growth_seconds(const struct growth *g, double bytes);

/* Bytes that a card writes beyond those of a request of `bytes` when it programs whole units, mean over
 * aligned places; split at piece_limit (0: never). */
double growth_unit_excess(uint64_t bytes, uint64_t piece_limit, uint64_t unit);

/* How many units of that size the slowest tenth of requests touches beyond the middle one: sequential ones from the start of a unit, so
 * many in flight that each waits for all of them. */
unsigned growth_unit_spread(uint64_t bytes, unsigned in_flight, uint64_t unit);

#endif
