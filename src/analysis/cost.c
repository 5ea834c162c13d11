/* The cost line. */
#include "analysis/cost.h"

#include <math.h>

#include "analysis/student.h"

struct sample {
	double x[COST_POINTS_MAX], y[COST_POINTS_MAX], w[COST_POINTS_MAX];
	double precision[COST_POINTS_MAX]; /* 1 / relative variance of the mean over passes */
	double passes[COST_POINTS_MAX];
	size_t n;
	bool noise_known;
};

/* The line of log variance against log time through what the passes show. E log(s^2) lies about 1/df below
 * log(sigma^2). */
static bool noise_trend(struct fit *trend, const struct cost_point *points, size_t n)
{
	double x[COST_POINTS_MAX], y[COST_POINTS_MAX], w[COST_POINTS_MAX];
	size_t k = 0;

	for (size_t i = 0; i < n; i++) {
		double df = points[i].passes - 1;

		if (df < 2 || !(points[i].log_sd > 0))
			continue;
		x[k] = log(points[i].seconds);
		y[k] = 2 * log(points[i].log_sd) + 1 / df;
		w[k++] = df;
	}
	return k >= COST_SIZES_MIN && fit_line(trend, x, y, w, k);
}

static void take_points(struct sample *s, const struct cost_point *points, size_t n)
{
	struct fit trend;

	s->n = n < COST_POINTS_MAX ? n : COST_POINTS_MAX;
	s->noise_known = noise_trend(&trend, points, s->n);
	for (size_t i = 0; i < s->n; i++) {
		double pieces = points[i].pieces > 0 ? points[i].pieces : 1, variance = 1;

		if (s->noise_known)
			variance = fmax(exp(trend.a + trend.b * log(points[i].seconds)),
				COST_NOISE_FLOOR * COST_NOISE_FLOOR);
		s->x[i] = (double)points[i].request_bytes / pieces;
		s->y[i] = points[i].seconds / pieces;
		s->passes[i] = points[i].passes;
		s->precision[i] = points[i].passes / variance;
		s->w[i] = s->precision[i] / (s->y[i] * s->y[i]);
	}
}

/* Weights from the fitted times instead of the measured ones, which would favour what happened to be quick. */
static bool fit_reweighted(struct fit *f, struct sample *s)
{
	for (int round = 0; round < 4; round++) {
		if (!fit_line(f, s->x, s->y, s->w, s->n))
			return false;
		for (size_t i = 0; i < s->n; i++) {
			double t = f->a + f->b * s->x[i];

			if (!(t > s->y[i] / 4)) /* a line gone astray must not set the weights */
				t = s->y[i];
			s->w[i] = s->precision[i] / (t * t);
		}
	}
	return true;
}

/* With weights that are 1 / variance the residual mean square should be about 1: less is luck, not precision. */
static void widen_to_noise(struct fit *f)
{
	double scale = sqrt(1 / f->residual_ms);

	if (!(f->residual_ms < 1))
		return;
	f->a_se *= scale;
	f->b_se *= scale;
	f->ab_cov *= scale * scale;
}

static double spread_of(const double *x, size_t n)
{
	double low = INFINITY, high = 0;

	for (size_t i = 0; i < n; i++) {
		low = fmin(low, x[i]);
		high = fmax(high, x[i]);
	}
	return n ? high / low : 0;
}

/* ---- knee ---- */

struct hinge {
	double a, b, c; /* y = a + b x + c max(0, x - at) */
	double gain, rest; /* weighted squares it explains beyond the line, and those left */
};

/* By Frisch and Waugh (Econometrica 1, 1933): what the hinge adds is told by the part of it that no line can follow. */
static bool hinge_fit(struct hinge *h, const struct sample *s, double at)
{
	double bend[COST_POINTS_MAX], rest[COST_POINTS_MAX], own = 0, with = 0;
	struct fit f;

	for (size_t i = 0; i < s->n; i++)
		bend[i] = fmax(0, s->x[i] - at);
	if (!fit_line(&f, s->x, bend, s->w, s->n))
		return false;
	for (size_t i = 0; i < s->n; i++) {
		double r = bend[i] - (f.a + f.b * s->x[i]);

		own += s->w[i] * r * r;
		with += s->w[i] * r * s->y[i];
	}
	if (!(own > 0))
		return false;
	h->c = with / own;
	h->gain = h->c * with;
	for (size_t i = 0; i < s->n; i++)
		rest[i] = s->y[i] - h->c * bend[i];
	fit_line(&f, s->x, rest, s->w, s->n);
	h->a = f.a;
	h->b = f.b;
	h->rest = f.residual_ss;
	return true;
}

static double hinge_worst(const struct hinge *h, const struct sample *s, double at)
{
	double worst = 0;

	for (size_t i = 0; i < s->n; i++) {
		double t = h->a + h->b * s->x[i] + h->c * fmax(0, s->x[i] - at);

		worst = fmax(worst, fabs(s->y[i] - t) / fabs(t));
	}
	return worst;
}

static double rate_of_slope(double slope, double time_scale)
{
	/* A slope that adds less than a thousandth of the time is none. */
	return slope > 1e-3 * time_scale ? 1 / slope : INFINITY;
}

static void knee_take(struct cost_knee *k, const struct hinge *h, const struct sample *s, double at,
	double candidates)
{
	double df = (double)s->n - 3;
	double f = h->rest > 0 ? h->gain / (h->rest / df) : INFINITY;
	double p = isinf(f) ? 0 : fmin(1, candidates * student_two_sided(sqrt(f), df));
	double time = h->a + h->b * at;

	*k = (struct cost_knee){ .at_bytes = at,
		.p = p,
		.worst = hinge_worst(h, s, at),
		.rate_below = rate_of_slope(h->b, fabs(time) / at),
		.rate_above = rate_of_slope(h->b + h->c, fabs(time) / at) };
}

/* The best bend at one of the inner sizes, with two sizes or more on either side. It counts when it is clear (1 %
 * after correction for the search), when the plain line is off by more than a hair, and when it mends most of that. */
static void knee_find(struct cost_knee *knee, const struct sample *s, double line_worst)
{
	double best = -1, candidates = s->n > 5 ? (double)s->n - 4 : 0;
	struct hinge h;

	for (size_t i = 1; s->n > 5 && i + 3 <= s->n; i++) {
		if (!hinge_fit(&h, s, s->x[i]) || h.gain <= best)
			continue;
		best = h.gain;
		knee_take(knee, &h, s, s->x[i], candidates);
	}
	knee->found =
		best > 0 && knee->p < 0.01 && line_worst > 0.03 && knee->worst < line_worst / 2;
}

/* ---- the line ---- */

static void add_residuals(
	struct cost_line *l, const struct sample *s, const struct cost_point *points)
{
	for (size_t i = 0; i < s->n; i++) {
		double t = l->fit.a + l->fit.b * s->x[i], off = fabs(s->y[i] - t) / fabs(t);

		if (off > l->worst) {
			l->worst = off;
			l->worst_bytes = points[i].request_bytes;
		}
	}
}

static void set_bounds(struct cost_line *l, struct bounds fixed, struct bounds slope)
{
	l->fixed_bounds = fixed;
	l->rate_bounds.low = slope.high > 0 ? 1 / slope.high : INFINITY;
	l->rate_bounds.high = slope.low > 0 ? 1 / slope.low : INFINITY;
}

/* Least squares are linear in the times. */
static void add_moves(struct cost_line *l, const struct sample *s)
{
	double weights = 0, mean = 0, squares = 0;

	for (size_t i = 0; i < s->n; i++) {
		weights += s->w[i];
		mean += s->w[i] * s->x[i];
	}
	mean /= weights;
	for (size_t i = 0; i < s->n; i++)
		squares += s->w[i] * (s->x[i] - mean) * (s->x[i] - mean);
	for (size_t i = 0; i < s->n; i++) {
		l->slope_moves[i] = s->w[i] * (s->x[i] - mean) / squares * s->y[i];
		l->fixed_moves[i] = s->w[i] / weights * s->y[i] - mean * l->slope_moves[i];
	}
}

static void add_figures(struct cost_line *l)
{
	l->fixed_s = l->fit.a;
	l->rate = l->fit.b > 0 ? 1 / l->fit.b : INFINITY;
	set_bounds(l, fit_a_bounds(&l->fit), fit_b_bounds(&l->fit));
	l->half_bytes = l->fit.b > 0 ? l->fit.a / l->fit.b : INFINITY;
	l->half_known = l->fit.b > 0 && fit_ratio_bounds(&l->fit, &l->half_bounds);
}

/* How far off point i lies, in standard errors: of its own noise, or where that is not known of what the others are off
 * the line. */
static double deviation(const struct cost_line *l, const struct sample *s, size_t i, double *df)
{
	double squares = 0, own = 0;

	for (size_t k = 0; k < s->n; k++) {
		double t = l->fit.a + l->fit.b * s->x[k], off = fabs(s->y[k] - t) / fabs(t);

		squares += off * off * s->precision[k];
		own = k == i ? off * sqrt(s->precision[k]) : own;
	}
	*df = (double)s->n - 3;
	if (s->noise_known) {
		*df = 0;
		for (size_t k = 0; k < s->n; k++)
			*df += s->passes[k] - 1;
		return own;
	}
	return *df > 0 ? own / sqrt(fmax(1e-300, (squares - own * own) / *df)) : 0;
}

/* Off by a share that matters, and by more than noise explains: 1 % over all points (Bonferroni). */
static bool is_bent(const struct cost_line *l, const struct sample *s)
{
	for (size_t i = 0; i < s->n; i++) {
		double t = l->fit.a + l->fit.b * s->x[i], df;
		double z = deviation(l, s, i, &df);

		if (fabs(s->y[i] - t) > COST_BENT_SHARE * fabs(t) && df > 0 &&
			student_two_sided(z, df) < COST_BENT_CHANCE / (double)s->n)
			return true;
	}
	return false;
}

static void doubt_bounds(struct cost_line *l)
{
	if (!(l->fixed_bounds.low > 0))
		l->doubts |= COST_FIXED_UNSURE;
	if (!(l->rate_bounds.high < 2 * l->rate_bounds.low))
		l->doubts |= COST_RATE_UNSURE;
}

static void add_doubts(struct cost_line *l, const struct sample *s, double span)
{
	if (span < COST_SPAN_MIN)
		l->doubts |= COST_TOO_NARROW;
	doubt_bounds(l);
	if (is_bent(l, s))
		l->doubts |= COST_BENT;
}

void cost_line_make(struct cost_line *line, const struct cost_point *points, size_t n)
{
	struct sample s;

	*line = (struct cost_line){ .sizes = n };
	take_points(&s, points, n);
	if (n < COST_SIZES_MIN || !fit_reweighted(&line->fit, &s)) {
		line->doubts = COST_TOO_FEW_SIZES;
		return;
	}
	line->known = true;
	line->noise_known = s.noise_known;
	if (s.noise_known)
		widen_to_noise(&line->fit);
	add_figures(line);
	add_moves(line, &s);
	add_residuals(line, &s, points);
	knee_find(&line->knee, &s, line->worst);
	add_doubts(line, &s, spread_of(s.x, s.n));
}

static struct bounds at_least(double value, struct bounds now, double half)
{
	return (struct bounds){ fmin(now.low, value - half), fmax(now.high, value + half) };
}

void cost_line_widen(struct cost_line *l, double fixed_half, double slope_half)
{
	if (!l->known || !(l->fit.df > 0))
		return;
	set_bounds(l, at_least(l->fit.a, fit_a_bounds(&l->fit), fixed_half),
		at_least(l->fit.b, fit_b_bounds(&l->fit), slope_half));
	doubt_bounds(l);
}

/* Slope beyond the measured sizes: the line's, else that of time in proportion. */
static double outside(const struct cost_line *line, const struct cost_point *p, double more)
{
	double slope = line->known && line->fit.b > 0 ? line->fit.b
						      : p->seconds / (double)p->request_bytes;

	return fmax(p->seconds + more * slope, 0);
}

double cost_seconds(
	const struct cost_line *line, const struct cost_point *points, size_t n, uint64_t bytes)
{
	const struct cost_point *low, *high;
	size_t i = 0;

	if (!n)
		return NAN;
	while (i < n && points[i].request_bytes < bytes)
		i++;
	if (i < n && points[i].request_bytes == bytes)
		return points[i].seconds;
	if (i == 0)
		return outside(line, &points[0], (double)bytes - (double)points[0].request_bytes);
	if (i == n)
		return outside(
			line, &points[n - 1], (double)bytes - (double)points[n - 1].request_bytes);
	low = &points[i - 1];
	high = &points[i];
	return low->seconds + (high->seconds - low->seconds) *
				      (double)(bytes - low->request_bytes) /
				      (double)(high->request_bytes - low->request_bytes);
}
