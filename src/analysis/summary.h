/* One point summed up over its passes: the rate to print and how far it can be trusted.
 *
 * The interval is Student's t on the logarithms of the rates, turned back: it belongs to the geometric mean, which is
 * the median too where the logarithms scatter evenly (common practice for ratios of rates; the same scale is used
 * when runs are compared, so that both agree). Passes are the replicates. A distribution-free interval of the median
 * needs 6 passes before it reaches 95 % (order statistics, binomial); this one needs 3 and is wide there. It takes passes as
 * independent of each other: whoever knows that they are not widens it (analysis/cling.h).
 * Fewer than SUMMARY_MIN_PASSES usable passes: interval_known is false, print "none". */
#ifndef ANALYSIS_SUMMARY_H
#define ANALYSIS_SUMMARY_H

#include <stdbool.h>
#include <stddef.h>

enum { SUMMARY_MIN_PASSES = 3 };

struct rate_summary {
	size_t n; /* passes with a rate > 0 */
	double typical; /* geometric mean, B/s: what low and high belong to; 0 when n is 0 */
	double median; /* B/s */
	double slowest, fastest; /* B/s */
	double low, high; /* 95 % interval of typical, B/s; both = typical when not known */
	bool interval_known;
	double log_sd; /* spread of the logarithms: 0.02 is about 2 % from pass to pass */
};

/* The interval becomes at least so wide on either side, in the logarithm; only where there is one. */
void rate_summary_widen(struct rate_summary *s, double log_half);

/* The interval reaches to `low` and `high` times the typical rate at least; only where there is one. */
void rate_summary_reach(struct rate_summary *s, double low, double high);

/* rates in B/s in any order, left as they are; what is not > 0 and finite is left out. Needs memory for a copy when
 * n > 64: without it all fields are 0. */
struct rate_summary rate_summary_of(const double *rates, size_t n);

#endif
