/* What a request costs: t(n) = t0 + n / r (Hockney and Jesshope, Parallel Computers, 1981), fitted to measured points.
 *
 * The fit is over what the device was sent: a host request that the kernel split into k pieces counts as k requests of
 * n/k bytes, for which the line holds just as well. So the kernel's request limit makes no knee of its own.
 * Every size counts once, by the mean over its passes: the scatter of these means about the line carries both noise
 * and what the line cannot follow, so the intervals are honest about both.
 *
 * Weights: passes of a fixed length hold many small requests or few large ones, so large sizes are noisier. The spread
 * between passes is followed through the sizes (a straight line of log variance against log time, each size's own
 * spread resting on too few passes), not below COST_NOISE_FLOOR, where other errors than noise rule. The standard errors
 * rest on the larger of that spread and the scatter about the line. Where the spread is not known the noise is
 * taken as the same share of the time at all sizes, and the scatter alone counts. */
#ifndef ANALYSIS_COST_H
#define ANALYSIS_COST_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "analysis/fit.h"

enum { COST_POINTS_MAX = 64 };

struct cost_point {
	uint64_t request_bytes; /* as the host asked; ascending in arrays of points */
	double seconds; /* per host request: geometric mean over passes */
	double passes; /* how many */
	double pieces; /* device requests per host request; 1 when not split or not known */
	double log_sd; /* spread of the logarithms of `seconds` over passes; 0: not known */
};

/* A line that bends: below at_bytes one slope, above another. */
struct cost_knee {
	bool found;
	double at_bytes; /* device request size; known only to the next measured sizes */
	double rate_below, rate_above; /* 1/slope, B/s; infinite where time does not grow */
	double worst; /* largest relative residual that remains */
	double p; /* chance of so clear a bend in noise, corrected for the search */
};

enum cost_doubt {
	COST_TOO_FEW_SIZES = 1 << 0, /* fewer than COST_SIZES_MIN: no line */
	COST_TOO_NARROW = 1 << 1, /* largest less than COST_SPAN_MIN times the smallest */
	COST_FIXED_UNSURE = 1 << 2, /* the interval of t0 reaches 0 */
	COST_RATE_UNSURE = 1 << 3, /* the interval of r has no end, or spans a factor of 2 */
	COST_BENT = 1 << 4, /* a residual above COST_BENT_SHARE, and beyond its own noise */
};

enum { COST_SIZES_MIN = 4 };
#define COST_NOISE_FLOOR 0.005
#define COST_SPAN_MIN 8.0
#define COST_BENT_SHARE 0.10
#define COST_BENT_CHANCE 0.01 /* of saying so of a straight line with noise */

struct cost_line {
	bool known; /* false: nothing below but doubts */
	unsigned doubts; /* enum cost_doubt */
	size_t sizes;
	/* seconds against bytes of one device request; weights 1 / variance where noise_known */
	struct fit fit;
	bool noise_known;
	double fixed_s, rate; /* t0, r; rate infinite when time does not grow with size */
	struct bounds fixed_bounds, rate_bounds; /* 95 % */
	/* What a and b become more when the time of the i-th size becomes more, for each unit of its logarithm. */
	double fixed_moves[COST_POINTS_MAX], slope_moves[COST_POINTS_MAX];
	double half_bytes; /* size at half the streaming rate */
	struct bounds half_bounds;
	bool half_known;
	double worst; /* largest residual, relative to the line; its point: */
	uint64_t worst_bytes;
	struct cost_knee knee;
};

void cost_line_make(struct cost_line *line, const struct cost_point *points, size_t n);

/* The intervals of t0 and of the slope become at least so wide on either side, and what is doubted follows from them. */
void cost_line_widen(struct cost_line *line, double fixed_half, double slope_half);

/* Seconds of one host request of n bytes: between measured sizes straight between the two, beyond them with the slope
 * of the line. NaN when points are missing. */
double cost_seconds(
	const struct cost_line *line, const struct cost_point *points, size_t n, uint64_t bytes);

#endif
