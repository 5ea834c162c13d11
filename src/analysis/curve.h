/* The acknowledge curve of a burst: bytes acknowledged against time. A buffer of B bytes that drains at rate C lets
 * the burst run ahead and then holds it to B + C t: the line through the late part has slope C and meets time 0 at B.
 * Pure. */
#ifndef ANALYSIS_CURVE_H
#define ANALYSIS_CURVE_H

#include <stdbool.h>
#include <stddef.h>

enum { CURVE_MAX = 512 };

struct curve {
	double seconds[CURVE_MAX], bytes[CURVE_MAX]; /* at each acknowledgement, ascending */
	size_t count;
	/* The very first ones, each of them, where the above has been thinned out; none: it has not. */
	double start_seconds[CURVE_MAX], start_bytes[CURVE_MAX];
	size_t start_count;
};

struct curve_fit {
	double drain_rate; /* B/s */
	double buffer_bytes; /* >= 0 */
	double head_rate; /* B/s of the part that ran ahead, at least the first request */
	double knee_bytes; /* acknowledged when the buffer was full: B head / (head - drain); 0: it never filled */
};

/* false with fewer than 8 points or no time passed. */
bool curve_fit(const struct curve *c, struct curve_fit *out);

/* Does this one burst look buffered: the head clearly faster than the tail, and the tail long enough to trust? */
bool curve_has_knee(const struct curve *c, const struct curve_fit *f);

#endif
