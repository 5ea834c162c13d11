/* Noise that clings: passes made one after the other are off by about as much. Each is off by something of its own, and by a
 * share `shared` of the variance that it has, phi times, from the one before (autoregression of order 1 with white noise
 * upon it; Box and Jenkins, Time Series Analysis, 1970). What these two are, few passes tell; so all are tried over a grid,
 * each counts by how well it explains the passes once every point has its mean (restricted likelihood: Patterson and Thompson,
 * Biometrika 58, 1971), and intervals are over all of them together. Pure. */
#ifndef ANALYSIS_CLING_H
#define ANALYSIS_CLING_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/cost.h"
#include "analysis/wander.h"

enum { CLING_PHIS = 9, CLING_SHARES = 5, CLING_STEPS = 1 + CLING_PHIS * CLING_SHARES };

struct cling {
	bool known; /* enough passes, and noise in them */
	size_t passes, points;
	double df;
	double weight[CLING_STEPS]; /* of each step of the grid; their sum is 1 */
	double sigma[CLING_STEPS]; /* of a pass, as the logarithm of its time */
};

/* passes in the order of time; points numbered from 0. False when memory runs out. */
bool cling_find(struct cling *c, const struct wander_pass *passes, size_t count);

/* Half of the 95 % interval of sum d[k] e[k], e[k] the noise of pass k in the order of time: of what a figure is off that
 * moves by d[k] for each unit of it. 0 when not known. */
double cling_half(const struct cling *c, const double *d);

/* The same for the mean of `count` passes that lie anywhere among the others. */
double cling_half_of_mean(const struct cling *c, size_t count);

/* What all sizes have in common moves the whole line and does not show in its scatter: the intervals of t0 and r become as
 * wide as that makes them. The points of the passes are those of the line. False when memory runs out. */
bool cling_widen(struct cost_line *line, const struct cling *c, const struct wander_pass *passes);

#endif
