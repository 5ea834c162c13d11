/* Welch's t. */
#include "analysis/welch.h"

#include <math.h>

#include "analysis/student.h"

/* Variances of the two means, and their degrees of freedom. False when neither group has a spread. */
static bool spread(const struct moments *a, const struct moments *b, double *se2, double *df)
{
	double va, vb;

	if (a->n < 1 || b->n < 1 || a->n + b->n < 3)
		return false;
	if (a->n == 1 || b->n == 1) {
		const struct moments *m = a->n > 1 ? a : b;

		*se2 = m->variance * (1 + 1 / (double)m->n);
		*df = (double)(m->n - 1);
		return true;
	}
	va = a->variance / (double)a->n;
	vb = b->variance / (double)b->n;
	*se2 = va + vb;
	*df = *se2 > 0 ? *se2 * *se2 / (va * va / (double)(a->n - 1) + vb * vb / (double)(b->n - 1))
		       : (double)(a->n + b->n - 2);
	return true;
}

struct welch welch_of(const struct moments *a, const struct moments *b)
{
	struct welch w = { .p = 1 };
	double se2, half;

	if (!spread(a, b, &se2, &w.df))
		return w;
	w.known = true;
	w.difference = b->mean - a->mean;
	w.se = sqrt(se2);
	half = student_critical(0.95, w.df) * w.se;
	w.low = w.difference - half;
	w.high = w.difference + half;
	if (w.se > 0) {
		w.t = w.difference / w.se;
		w.p = student_two_sided(w.t, w.df);
	} else if (w.difference != 0) {
		w.t = copysign(INFINITY, w.difference);
		w.p = 0;
	}
	return w;
}

double welch_p_below(const struct welch *w, double limit)
{
	if (!w->known)
		return 1;
	if (w->se > 0)
		return student_cdf((w->difference - limit) / w->se, w->df);
	return w->difference < limit ? 0 : 1;
}

double welch_p_beyond(const struct welch *w, double margin)
{
	double beyond = fabs(w->difference) - margin;

	if (!w->known || beyond <= 0)
		return 1;
	return w->se > 0 ? fmin(1, student_two_sided(beyond / w->se, w->df)) : 0;
}

double welch_lower_bound(const struct welch *w, double confidence)
{
	if (!w->known)
		return -INFINITY;
	return w->difference - w->se * student_quantile(confidence, w->df);
}
