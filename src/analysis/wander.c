/* Order in time. */
#include "analysis/wander.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/moments.h"
#include "analysis/normal.h"
#include "analysis/student.h"

/* What is left of each pass, and its rank among all. */
struct rest {
	size_t at; /* place in the order of time */
	double value, rank;
};

static int by_time(const void *a, const void *b)
{
	const struct wander_pass *x = a, *y = b;

	return (x->at_s > y->at_s) - (x->at_s < y->at_s);
}

void wander_sort(struct wander_pass *passes, size_t count)
{
	if (count)
		qsort(passes, count, sizeof *passes, by_time);
}

static int by_value(const void *a, const void *b)
{
	const struct rest *x = a, *y = b;

	return (x->value > y->value) - (x->value < y->value);
}

static int by_place(const void *a, const void *b)
{
	const struct rest *x = a, *y = b;

	return (x->at > y->at) - (x->at < y->at);
}

/* Less the mean of its point. Returns the number of points. */
static size_t take_means(const struct wander_pass *p, struct rest *rest, size_t n, double *sums)
{
	size_t points = 0;

	for (size_t i = 0; i < n; i++)
		points = p[i].point >= points ? p[i].point + 1 : points;
	/* sums[point] and, behind them, how many: room for 2 n was made, and points are numbered from 0. */
	for (size_t i = 0; i < n; i++) {
		sums[p[i].point] += p[i].log_seconds;
		sums[n + p[i].point]++;
	}
	for (size_t i = 0; i < n; i++)
		rest[i] = (struct rest){ i,
			p[i].log_seconds - sums[p[i].point] / sums[n + p[i].point], 0 };
	return points;
}

/* Equal values share the mean of their ranks. */
static void rank(struct rest *rest, size_t n)
{
	qsort(rest, n, sizeof *rest, by_value);
	for (size_t i = 0, j; i < n; i = j) {
		for (j = i + 1; j < n && rest[j].value <= rest[i].value;)
			j++;
		for (size_t k = i; k < j; k++)
			rest[k].rank = (double)(i + j - 1) / 2;
	}
	qsort(rest, n, sizeof *rest, by_place);
}

/* Passes have lost their point's mean: so many degrees of freedom fewer. */
static void find_trend(struct wander *w, const struct wander_pass *p, const struct rest *rest,
	size_t n, size_t points)
{
	double middle = (double)(n - 1) / 2, rr = 0, tt = 0, rt = 0, vt = 0, ss = 0, mean = 0;
	double df = (double)n - (double)points - 1, r;

	for (size_t i = 0; i < n; i++)
		mean += p[i].at_s / (double)n;
	for (size_t i = 0; i < n; i++) {
		double place = (double)i - middle, when = p[i].at_s - mean;

		rr += (rest[i].rank - middle) * (rest[i].rank - middle);
		tt += place * place;
		rt += (rest[i].rank - middle) * place;
		vt += rest[i].value * when;
		ss += when * when;
	}
	r = rr > 0 ? rt / sqrt(rr * tt) : 0;
	w->trend_p = df > 0 ? student_two_sided(r * sqrt(df / fmax(1e-12, 1 - r * r)), df) : 1;
	w->change = ss > 0 ? expm1(vt / ss * (p[n - 1].at_s - p[0].at_s)) : 0;
}

static void find_cling(struct wander *w, const struct rest *rest, size_t n, double *ranks)
{
	double lag;

	for (size_t i = 0; i < n; i++)
		ranks[i] = rest[i].rank;
	lag = moments_lag1(ranks, n);
	/* Mean -1/n, variance about 1/n where order says nothing (Wald and Wolfowitz, 1943). */
	w->cling_p = isnan(lag) ? 1 : 1 - normal_cdf((lag + 1 / (double)n) * sqrt((double)n));
}

bool wander_find(struct wander *w, struct wander_pass *passes, size_t count)
{
	struct rest *rest = calloc(count + 1, sizeof *rest);
	double *scratch = calloc(2 * count + 2, sizeof *scratch);
	size_t points;

	*w = (struct wander){ .trend_p = 1, .cling_p = 1 };
	if (rest && scratch && count >= WANDER_PASSES_MIN) {
		wander_sort(passes, count);
		points = take_means(passes, rest, count, scratch);
		w->known = count > points + 4;
		rank(rest, count);
		find_trend(w, passes, rest, count, points);
		find_cling(w, rest, count, scratch);
		w->trends = w->known && w->trend_p < WANDER_LEVEL;
		w->clings = w->known && w->cling_p < WANDER_LEVEL;
	}
	free(rest);
	free(scratch);
	return rest && scratch;
}
