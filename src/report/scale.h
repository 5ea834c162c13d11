/* From values to places on paper, and round values to mark there. */
#ifndef REPORT_SCALE_H
#define REPORT_SCALE_H

#include <stdbool.h>
#include <stddef.h>

enum { SCALE_TICKS_MAX = 16 };

struct scale {
	double low, high; /* values at the two ends, low < high; > 0 when logarithmic */
	double from, to; /* their places; to < from for a vertical axis that grows upwards */
	bool logarithmic;
};

double scale_at(const struct scale *s, double value); /* clamped to the ends */

/* Widens low and high to round values: 1, 2, 5 times powers of ten. */
void scale_round(struct scale *s);

/* Round values within the ends, at most SCALE_TICKS_MAX. */
size_t scale_ticks(const struct scale *s, double ticks[SCALE_TICKS_MAX]);

#endif
