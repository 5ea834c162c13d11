/* Do two groups differ? Welch's t (Biometrika 34, 1947) with the degrees of freedom of Satterthwaite (1946). A group
 * of one has no spread of its own: then the other's is taken for both (pooled t). */
#ifndef ANALYSIS_WELCH_H
#define ANALYSIS_WELCH_H

#include <stdbool.h>

#include "analysis/moments.h"

struct welch {
	bool known; /* false: too few values for any spread */
	double difference; /* mean of b - mean of a */
	double se, df;
	double t, p; /* two-sided; p is 1 when both groups are all one value */
	double low, high; /* 95 % interval of the difference */
};

struct welch welch_of(const struct moments *a, const struct moments *b);

/* One-sided: p of a difference this low or lower if the true one were `limit`. */
double welch_p_below(const struct welch *w, double limit);

/* Two-sided: p of a difference this large if the true one were no further from 0 than `margin` >= 0. */
double welch_p_beyond(const struct welch *w, double margin);

/* The one-sided bound that the difference exceeds with this confidence; -infinity when nothing is known. */
double welch_lower_bound(const struct welch *w, double confidence);

#endif
