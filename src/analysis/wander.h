/* Do the passes of a run depend on when they were made? Their times, each less the mean of its point, are looked at in
 * the order of time: do they grow or shrink (rank correlation with time), and do neighbours resemble each other (lag-1
 * autocorrelation of the ranks)? Ranks, so that one odd pass decides nothing. Both at WANDER_LEVEL, so together
 * they raise at most two false alarms in a hundred. */
#ifndef ANALYSIS_WANDER_H
#define ANALYSIS_WANDER_H

#include <stdbool.h>
#include <stddef.h>

struct wander_pass {
	double at_s; /* when it began */
	size_t point; /* passes of a point are replicates of each other */
	double log_seconds; /* of a request */
};

struct wander {
	bool known; /* enough passes to tell */
	double trend_p, cling_p; /* how likely such an order is by chance */
	bool trends, clings;
	double change; /* of the time of a request over the run, as a share of it; a straight line through the passes */
};

#define WANDER_LEVEL 0.01

enum { WANDER_PASSES_MIN = 10 };

void wander_sort(struct wander_pass *passes, size_t count); /* by time */

/* passes in any order; they are sorted by time. False when memory runs out. */
bool wander_find(struct wander *w, struct wander_pass *passes, size_t count);

#endif
