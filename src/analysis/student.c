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

/* The factor of the density that does not depend on t. */
static double log_height(double df)
{
	int sign;

	return lgamma_r((df + 1) / 2, &sign) - lgamma_r(df / 2, &sign) - 0.5 * log(df * M_PI);
}

static double density(double t, double df, double height)
{
	return exp(height - (df + 1) / 2 * log1p(t * t / df));
}

/* Cornish and Fisher's first terms, Abramowitz and Stegun 26.7.5; poor for few degrees of freedom, where the tail's
 * power law is nearer. */
static double first_guess(double tail, double df, double height)
{
	double z = -normal_quantile(tail), z2 = z * z;
	double series = z * (1 + (z2 + 1) / (4 * df) + ((5 * z2 + 16) * z2 + 3) / (96 * df * df));
	double power = exp((height + (df - 1) / 2 * log(df) - log(tail)) / df);

	return power > 3 * series ? power : series;
}

/* The t > 0 whose upper tail is `tail`: Newton's steps kept inside a bracket that halves otherwise. */
static double upper_quantile(double tail, double df)
{
	double height = log_height(df), low = 0, high = 1e300, t = first_guess(tail, df, height);

	for (int i = 0; i < 200; i++) {
		double excess = student_two_sided(t, df) / 2 - tail;
		double next = t + excess / density(t, df, height);

		if (excess > 0)
			low = t;
		else
			high = t;
		if (!(next > low && next < high))
			next = high < 1e300 ? (low + high) / 2 : 2 * t;
		/* Newton doubles the digits: a step this small leaves less than rounding. */
		if (fabs(next - t) <= 1e-9 * t || high - low <= 1e-15 * high)
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
