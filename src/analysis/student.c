/* Student's t from the incomplete beta function: Abramowitz and Stegun 26.7.1, 26.5.27. */
#include "analysis/student.h"

#include <math.h>

#include "analysis/beta.h"
#include "analysis/normal.h"

/* From here on the two distributions agree in more digits than log-gamma keeps. */
static const double df_is_normal = 1e9;

double student_two_sided(double t, double df)
{
	if (isnan(t) || isnan(df))
		return NAN;
	if (df > df_is_normal)
		return erfc(fabs(t) * M_SQRT1_2);
	return beta_regularised(df / (df + t * t), df / 2, 0.5);
}

double student_cdf(double t, double df)
{
	double tail = student_two_sided(t, df) / 2;

	return t < 0 ? tail : 1 - tail;
}

static double density(double t, double df)
{
	int sign;
	double logs = lgamma_r((df + 1) / 2, &sign) - lgamma_r(df / 2, &sign) -
		      0.5 * log(df * M_PI) - (df + 1) / 2 * log1p(t * t / df);

	return exp(logs);
}

/* The t > 0 whose upper tail is `tail`: Newton's steps kept inside a bracket that halves otherwise. */
static double upper_quantile(double tail, double df)
{
	double low = 0, high = 2, t;

	while (student_two_sided(high, df) / 2 > tail && high < 1e300) {
		low = high;
		high *= 2;
	}
	t = (low + high) / 2;
	for (int i = 0; i < 200; i++) {
		double excess = student_two_sided(t, df) / 2 - tail;
		double next = t + excess / density(t, df);

		if (excess > 0)
			low = t;
		else
			high = t;
		if (!(next > low && next < high))
			next = (low + high) / 2;
		if (fabs(next - t) <= 1e-15 * t || high - low <= 1e-15 * high)
			return next;
		t = next;
	}
	return t;
}

double student_quantile(double p, double df)
{
	if (!(p > 0))
		return -INFINITY;
	if (p >= 1)
		return INFINITY;
	if (p == 0.5)
		return 0;
	if (df > df_is_normal)
		return normal_quantile(p);
	return p > 0.5 ? upper_quantile(1 - p, df) : -upper_quantile(p, df);
}

double student_critical(double confidence, double df)
{
	double tail = (1 - confidence) / 2;

	if (df > df_is_normal)
		return -normal_quantile(tail);
	return upper_quantile(tail, df);
}
