/* Random requests often go like sequential ones: then one sentence tells of both orders. */
#ifndef FINDINGS_ALIKE_H
#define FINDINGS_ALIKE_H

#include <math.h>
#include <stdbool.h>

/* a and b differ by no more than 3 % of `of` (ours). */
static inline bool alike_within(double a, double b, double of)
{
	return fabs(a - b) <= 0.03 * of;
}

/* The same of the larger of the two. */
static inline bool alike(double a, double b)
{
	return alike_within(a, b, fmax(a, b));
}

#endif
