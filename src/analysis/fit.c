/* Weighted straight line. */
#include "analysis/fit.h"

#include <math.h>

#include "analysis/student.h"

static double weight(const double *w, size_t i)
{
	return w ? w[i] : 1;
}

static double weighted_mean(const double *v, const double *w, size_t n)
{
	double sum = 0, weights = 0, rest = 0, mean;

	for (size_t i = 0; i < n; i++) {
		sum += weight(w, i) * v[i];
		weights += weight(w, i);
	}
	mean = sum / weights;
	for (size_t i = 0; i < n; i++)
		rest += weight(w, i) * (v[i] - mean); /* what rounding left out */
	return mean + rest / weights;
}

static void add_quality(struct fit *f, const double *x, const double *y, const double *w, size_t n)
{
	for (size_t i = 0; i < n; i++) {
		double r = y[i] - (f->a + f->b * x[i]);

		f->residual_ss += weight(w, i) * r * r;
	}
	f->residual_ms = f->df > 0 ? f->residual_ss / f->df : NAN;
	f->residual_sd = sqrt(f->residual_ms);
	f->r_squared = f->regression_ss / (f->regression_ss + f->residual_ss);
}

bool fit_line(struct fit *f, const double *x, const double *y, const double *w, size_t n)
{
	double weights = 0, sxx = 0, sxy = 0, mx, my;

	*f = (struct fit){ .n = n, .df = (double)n - 2 };
	if (n < 2)
		return false;
	mx = weighted_mean(x, w, n);
	my = weighted_mean(y, w, n);
	for (size_t i = 0; i < n; i++) {
		weights += weight(w, i);
		sxx += weight(w, i) * (x[i] - mx) * (x[i] - mx);
		sxy += weight(w, i) * (x[i] - mx) * (y[i] - my);
	}
	if (!(sxx > 0) || !isfinite(sxy / sxx))
		return false;
	f->b = sxy / sxx;
	f->a = my - f->b * mx;
	f->regression_ss = f->b * sxy;
	add_quality(f, x, y, w, n);
	f->b_se = f->residual_sd / sqrt(sxx);
	f->a_se = f->residual_sd * sqrt(1 / weights + mx * mx / sxx);
	f->ab_cov = -f->residual_ms * mx / sxx;
	return true;
}

static struct bounds around(double value, double se, double df)
{
	double half = df > 0 ? student_critical(0.95, df) * se : INFINITY;

	return (struct bounds){ value - half, value + half };
}

struct bounds fit_a_bounds(const struct fit *f)
{
	return around(f->a, f->a_se, f->df);
}

struct bounds fit_b_bounds(const struct fit *f)
{
	return around(f->b, f->b_se, f->df);
}

/* All q with (a - q b)^2 <= t^2 (var a - 2 q cov + q^2 var b): between the roots of a parabola in q. */
bool fit_ratio_bounds(const struct fit *f, struct bounds *out)
{
	double t, p2, p1, p0, root;

	if (f->df <= 0)
		return false;
	t = student_critical(0.95, f->df);
	p2 = f->b * f->b - t * t * f->b_se * f->b_se;
	p1 = f->a * f->b - t * t * f->ab_cov;
	p0 = f->a * f->a - t * t * f->a_se * f->a_se;
	root = p1 * p1 - p2 * p0;
	if (!(p2 > 0) || !(root >= 0))
		return false;
	root = sqrt(root);
	*out = (struct bounds){ (p1 - root) / p2, (p1 + root) / p2 };
	return true;
}
