/* Two builds, many points: which differ by more than the noise. Works on logarithms, so a difference is a ratio.
 *
 * Verdicts: Welch's t at each point, Holm's correction over all points, so that at most COMPARE_ALPHA of all
 * comparisons of equal builds call any point different. With fewer than COMPARE_MIN_REPLICATES a side there is no
 * verdict: three a side cannot reach 5 % by any rank test (Mann and Whitney: smallest p is 0.1), and a t from so few
 * rests on the shape of the noise alone.
 *
 * Simulated with 12 points and 5 passes: any false verdict in 3.5 % of comparisons when both sides are equally noisy,
 * 4.8 % when one is twice, 5.7 % when three times and 6.9 % when five times as noisy (Welch's degrees of freedom are an
 * approximation that is a little short in the far tail). A difference of 10 % at 3 % noise is found in 73 %. */
#ifndef ANALYSIS_COMPARE_H
#define ANALYSIS_COMPARE_H

#include <stdbool.h>
#include <stddef.h>

#include "analysis/moments.h"
#include "analysis/welch.h"

#define COMPARE_ALPHA 0.05
#define COMPARE_POWER 0.80
enum { COMPARE_MIN_REPLICATES = 4, COMPARE_REPLICATES_MAX = 1000000 };

enum compare_verdict { COMPARE_TOO_FEW, COMPARE_NOT_SHOWN, COMPARE_HIGHER, COMPARE_LOWER };

struct comparison {
	/* in: the logarithms of each side */
	const double *base, *fresh;
	size_t base_n, fresh_n;
	/* out */
	struct moments base_logs, fresh_logs;
	struct welch welch; /* of the logarithms */
	double ratio, low, high; /* fresh / base, 95 % interval of this point alone */
	double p, p_holm; /* two-sided */
	double p_rank; /* Mann-Whitney, uncorrected; NaN when not known. A second opinion. */
	enum compare_verdict verdict;
	double visible; /* smallest change (0.03: 3 %) seen with COMPARE_POWER at the corrected alpha; NaN: unknown */
	size_t needed; /* replicates a side to see 5 % so; 0: unknown or more than COMPARE_REPLICATES_MAX */
};

/* Fills the out fields of all. 0, or -1 without memory. */
int compare_all(struct comparison *points, size_t n);

/* Release gate: p_holm[i] is the corrected one-sided p that point i is no more than `allowed` (0.05: 5 %) lower than
 * the base; at or below COMPARE_ALPHA it is shown to be. compare_all comes first. 0, or -1 without memory. */
int compare_gate(double *p_holm, const struct comparison *points, size_t n, double allowed);

#endif
