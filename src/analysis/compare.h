/* Two builds, many points: which differ by more than the noise. Works on logarithms, so a difference is a ratio.
 *
 * Verdicts: Welch's t at each point, Holm's correction over all points, so that at most COMPARE_ALPHA of all
 * comparisons of equal builds call any point different. With fewer than COMPARE_MIN_REPLICATES a side there is no
 * verdict: three a side cannot reach 5 % by any rank test (Mann and Whitney: smallest p is 0.1), and a t from so few
 * rests on the shape of the noise alone.
 *
 * Simulated with 12 points and 5 passes: any false verdict in 3.5 % of comparisons when both sides are equally noisy,
 * 4.8 % when one is twice, 5.7 % when three times and 6.9 % when five times as noisy (Welch's degrees of freedom are an
 * approximation that is a little short in the far tail). A difference of 10 % at 3 % noise is found in 73 %.
 *
 * All of this speaks of what the replicates stand for. Passes of one run share a connection, a temperature and a drift:
 * they can tell two runs apart, never two builds. */
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
	double resolution; /* what the values are rounded to, in log units: a difference this small is none. 0: exact */
	unsigned group; /* points of one table (direction, order, in flight) have the same */
	/* out */
	struct moments base_logs, fresh_logs;
	struct welch welch; /* of the logarithms */
	double ratio, low, high; /* fresh / base, 95 % interval of this point alone */
	double p, p_holm; /* two-sided */
	double p_rank; /* Mann-Whitney, uncorrected; NaN when not known. A second opinion. */
	enum compare_verdict verdict;
	/* by compare_outlook; NaN and 0 before */
	double detectable; /* the smallest change (0.03: 3 %) that another comparison like this finds in 4 of 5 */
	size_t needed; /* replicates a side to find 5 % so; 0: unknown, or more than COMPARE_REPLICATES_MAX */
};

/* Fills the out fields of all. 0, or -1 without memory. */
int compare_all(struct comparison *points, size_t n);

/* What comparisons of this noise can find, with COMPARE_POWER at the corrected alpha. About a millisecond a point. */
void compare_outlook(struct comparison *points, size_t n);

enum compare_answer { COMPARE_UNDECIDED, COMPARE_PASSED, COMPARE_FAILED };

struct compare_gate_point {
	double p_slower; /* that it is no more than allowed below the base; corrected over everything asked */
	double loss_bound; /* with 95 % confidence it loses less than this (0.05: 5 %); infinite: unknown */
};

/* Release gate: may this build be slower by more than `allowed` (0.05: 5 %) at any point? Three answers, and ignorance
 * is none of the good ones:
 *   passed     at every point the 95 % upper bound of the loss lies within what is allowed (each at 5 %: the answer
 *              needs all of them, Berger 1982, Technometrics 24: intersection-union test)
 *   failed     some point, the mean over a table or the mean over all points is shown to be lower than allowed; a third
 *              of the 5 % for each kind, Holm's correction within each. The means find a loss that is everywhere, though
 *              no single point could show it.
 *   undecided  neither, and always where some point has fewer than COMPARE_MIN_REPLICATES a side */
struct compare_gate {
	enum compare_answer answer;
	double p_whole; /* of the mean over all points, corrected; 1: not judged */
	double whole_ratio; /* fresh / base, geometric mean over all points */
	size_t slower; /* points shown to be slower than allowed */
	size_t within; /* points shown not to be */
};

/* Fills one compare_gate_point a point, too. compare_all comes first. 0, or -1 without memory. */
int compare_gate(struct compare_gate *gate, struct compare_gate_point *each,
	const struct comparison *points, size_t n, double allowed);

/* Replicates a side at which an equally fast build passes the gate in 4 of 5; 0: unknown. */
size_t compare_gate_needed(const struct comparison *points, size_t n, double allowed);

#endif
