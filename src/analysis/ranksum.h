/* Do two groups differ, whatever the shape of the noise? Wilcoxon's rank sum in the form of Mann and Whitney (1947). */
#ifndef ANALYSIS_RANKSUM_H
#define ANALYSIS_RANKSUM_H

#include <stdbool.h>
#include <stddef.h>

struct ranksum {
	bool known; /* false: an empty group, or memory ran out */
	bool no_memory;
	double u_a, u_b; /* ties count half */
	bool exact; /* p by counting; else normal approximation, corrected for ties and continuity */
	double p; /* two-sided */
};

/* Exact where there are no ties and both groups have at most RANKSUM_EXACT_MAX values. */
enum { RANKSUM_EXACT_MAX = 50 };

struct ranksum ranksum_of(const double *a, size_t na, const double *b, size_t nb);

/* Share of all orders with min(U_a, U_b) <= u when nothing differs: exact, by counting. na, nb in
 * 1..RANKSUM_EXACT_MAX; NaN beyond or without memory. */
double ranksum_exact_p(double u, size_t na, size_t nb);

#endif
