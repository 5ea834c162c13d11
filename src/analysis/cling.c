/* Noise that clings. */
#include "analysis/cling.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/student.h"

enum {
	MANY = 20, /* passes a point, from which on its mean may be taken off beforehand */
};

/* Closer together where a little more matters much. */
static const double phis[CLING_PHIS] = { 0.25, 0.5, 0.7, 0.8, 0.87, 0.92, 0.95, 0.975, 0.99 };
static const double shares[CLING_SHARES] = { 0.15, 0.3, 0.5, 0.75, 1 };

/* Step 0 is noise that does not cling. */
static double phi_of(size_t step)
{
	return step ? phis[(step - 1) / CLING_SHARES] : 0;
}

static double share_of(size_t step)
{
	return step ? shares[(step - 1) % CLING_SHARES] : 1;
}

/* The range that each stands for: bounds halfway to its neighbours. */
static double range_of(const double *list, size_t count, size_t i, double (*measure)(double))
{
	double low = i ? (list[i - 1] + list[i]) / 2 : list[0] / 2;
	double high = i + 1 < count ? (list[i] + list[i + 1]) / 2 : 1;

	return measure(high) - measure(low);
}

static double plainly(double v)
{
	return v;
}

/* What each is given beforehand: noise that does not cling half as much as all that does. Of phi 1 / sqrt(1 - phi^2), as Jeffreys' rule has it for a long series (Berger and Yang,
 * Econometric Theory 10, 1994); of the share, any is as likely as another. */
static double prior(size_t step)
{
	double all = (asin(1) - asin(phis[0] / 2)) / 2;

	if (!step)
		return all;
	return range_of(phis, CLING_PHIS, (step - 1) / CLING_SHARES, asin) *
	       range_of(shares, CLING_SHARES, (step - 1) % CLING_SHARES, plainly) /
	       (1 - shares[0] / 2);
}

/* The passes as columns, their times last, foretold one after the other from those before (Kalman, Journal of Basic Engineering
 * 82, 1960); what is new of each goes into the normal equations of one mean a point. */
struct filter {
	size_t columns; /* one a point, and the times */
	double foretold[COST_POINTS_MAX + 1], fresh[COST_POINTS_MAX + 1];
	double sums[COST_POINTS_MAX + 1][COST_POINTS_MAX + 1];
	double log_det; /* of the passes' variance */
};

static void add_fresh(struct filter *f, double over_variance)
{
	for (size_t i = 0; i < f->columns; i++) {
		double v = f->fresh[i] * over_variance;

		for (size_t j = 0; v != 0 && j <= i; j++)
			f->sums[i][j] += v * f->fresh[j];
	}
}

static void take_pass(
	struct filter *f, const struct wander_pass *p, double y, double phi, double gain)
{
	size_t times = f->columns - 1;

	for (size_t i = 0; i < f->columns; i++) {
		double is = i == times ? y : p->point == i;

		f->fresh[i] = is - f->foretold[i];
		f->foretold[i] = phi * (f->foretold[i] + gain * f->fresh[i]);
	}
}

static void run_filter(
	struct filter *f, const struct wander_pass *p, const double *y, size_t count, size_t step)
{
	double phi = phi_of(step), share = share_of(step), state = share, before = 0;
	double gain = 0, over_variance = 1, log_variance = 0;

	for (size_t k = 0; k < count; k++) {
		if (fabs(state - before) > 1e-12) { /* it soon stays what it is */
			over_variance = 1 / (state + 1 - share);
			log_variance = -log(over_variance);
			gain = state * over_variance;
			before = state;
			state = phi * phi * state * (1 - gain) + share * (1 - phi * phi);
		}
		take_pass(f, &p[k], y[k], phi, gain);
		f->log_det += log_variance;
		add_fresh(f, over_variance);
	}
}

/* By Cholesky: squares that are left to the times, and the logarithm of the determinant of the rest. */
static bool solve(struct filter *f, double *rest, double *log_det)
{
	size_t n = f->columns - 1;

	*log_det = 0;
	for (size_t i = 0; i <= n; i++)
		for (size_t j = 0; j <= i; j++) {
			double sum = f->sums[i][j];

			for (size_t k = 0; k < j; k++)
				sum -= f->sums[i][k] * f->sums[j][k];
			if (i == n && j == n)
				*rest = sum;
			else if (i == j && !(sum > 0))
				return false;
			else
				f->sums[i][j] = i == j ? sqrt(sum) : sum / f->sums[j][j];
			if (i == j && i < n)
				*log_det += 2 * log(f->sums[i][i]);
		}
	return *rest > 0;
}

/* The logarithm of the restricted likelihood; -infinity: none. */
static double likelihood(struct cling *c, struct filter *f, const struct wander_pass *p,
	const double *y, size_t step)
{
	double rest = 0, log_det = 0;

	memset(f, 0, sizeof *f);
	f->columns = (c->passes >= MANY * c->points ? 0 : c->points) + 1;
	run_filter(f, p, y, c->passes, step);
	if (!solve(f, &rest, &log_det))
		return -INFINITY;
	c->sigma[step] = sqrt(rest / c->df);
	/* Means taken off beforehand cost the likelihood nothing. */
	return -(f->log_det + log_det + (f->columns > 1 ? c->df : (double)c->passes) * log(rest)) /
	       2;
}

static void weigh(struct cling *c, const double *logs)
{
	double most = -INFINITY, sum = 0;

	for (size_t i = 0; i < CLING_STEPS; i++)
		most = fmax(most, logs[i]);
	if (isinf(most))
		return;
	for (size_t i = 0; i < CLING_STEPS; i++)
		sum += c->weight[i] = prior(i) * exp(logs[i] - most);
	for (size_t i = 0; i < CLING_STEPS; i++)
		c->weight[i] /= sum;
	c->known = true;
}

/* Each less the mean of its point. Room: two for each pass. */
static void take_means(const struct wander_pass *p, size_t n, double *y, double *room)
{
	double *sums = room, *counts = room + n;

	for (size_t k = 0; k < n; k++) {
		sums[p[k].point] += p[k].log_seconds;
		counts[p[k].point]++;
	}
	for (size_t k = 0; k < n; k++)
		y[k] = p[k].log_seconds - sums[p[k].point] / counts[p[k].point];
}

static double squares_of(const double *y, size_t n)
{
	double sum = 0;

	for (size_t k = 0; k < n; k++)
		sum += y[k] * y[k];
	return sum;
}

bool cling_find(struct cling *c, const struct wander_pass *passes, size_t count)
{
	struct filter *f = malloc(sizeof *f);
	double *y = calloc(3 * count + 1, sizeof *y), logs[CLING_STEPS];

	*c = (struct cling){ .passes = count };
	for (size_t i = 0; i < count; i++)
		c->points = passes[i].point >= c->points ? passes[i].point + 1 : c->points;
	c->df = (double)count - (double)c->points;
	if (f && y && count >= WANDER_PASSES_MIN && c->points <= COST_POINTS_MAX && c->df >= 4) {
		take_means(passes, count, y, y + count);
		for (size_t i = 0; i < CLING_STEPS && squares_of(y, count) > 0; i++)
			logs[i] = likelihood(c, f, passes, y, i);
		if (squares_of(y, count) > 0)
			weigh(c, logs);
	}
	free(f);
	free(y);
	return f && y;
}

/* Standard error of the sum, by recursion. */
static double error_of(const struct cling *c, const double *d, size_t step)
{
	double phi = phi_of(step), share = share_of(step), before = 0, clings = 0, own = 0;

	for (size_t k = 0; k < c->passes; k++) {
		clings += d[k] * (d[k] + 2 * before);
		own += d[k] * d[k];
		before = phi * (before + d[k]);
	}
	return c->sigma[step] * sqrt(fmax(share * clings + (1 - share) * own, 0));
}

static double chance_beyond(const struct cling *c, const double *errors, double half)
{
	double p = 0;

	for (size_t i = 0; i < CLING_STEPS; i++)
		if (c->weight[i] > 0)
			p += c->weight[i] * student_two_sided(half / errors[i], c->df);
	return p;
}

/* The 95 % interval over all steps, each with its standard error. */
static double half_of(const struct cling *c, const double *errors)
{
	double low = 0, high = 0;

	for (size_t i = 0; i < CLING_STEPS; i++)
		high = fmax(high, errors[i]);
	high *= student_critical(0.95, c->df);
	for (int i = 0; i < 50 && high > 0; i++) {
		double middle = (low + high) / 2;

		if (chance_beyond(c, errors, middle) > 0.05)
			low = middle;
		else
			high = middle;
	}
	return high;
}

double cling_half(const struct cling *c, const double *d)
{
	double errors[CLING_STEPS];

	for (size_t i = 0; c->known && i < CLING_STEPS; i++)
		errors[i] = error_of(c, d, i);
	return c->known ? half_of(c, errors) : 0;
}

/* Any two of them are as likely next to each other as far apart. */
double cling_half_of_mean(const struct cling *c, size_t count)
{
	double errors[CLING_STEPS], n = (double)count;

	for (size_t i = 0; c->known && i < CLING_STEPS; i++) {
		double phi = phi_of(i), clings = 2 * phi / (1 - phi) / (double)c->passes;

		errors[i] = c->sigma[i] * sqrt(1 / n + share_of(i) * (n - 1) / n * fmin(clings, 1));
	}
	return c->known && count ? half_of(c, errors) : 0;
}

bool cling_widen(struct cost_line *l, const struct cling *c, const struct wander_pass *p)
{
	double *d = calloc(c->passes + 1, sizeof *d), passes[COST_POINTS_MAX] = { 0 }, fixed;

	if (!d)
		return false;
	for (size_t k = 0; k < c->passes; k++)
		passes[p[k].point]++;
	for (size_t k = 0; k < c->passes; k++)
		d[k] = l->fixed_moves[p[k].point] / passes[p[k].point];
	fixed = cling_half(c, d);
	for (size_t k = 0; k < c->passes; k++)
		d[k] = l->slope_moves[p[k].point] / passes[p[k].point];
	cost_line_widen(l, fixed, cling_half(c, d));
	free(d);
	return true;
}
