/* Student's t distribution, any degrees of freedom > 0 (Welch's are fractions). */
#ifndef ANALYSIS_STUDENT_H
#define ANALYSIS_STUDENT_H

double student_cdf(double t, double df); /* P(T <= t) */
double student_two_sided(double t, double df); /* P(|T| >= |t|) */

/* The t with student_cdf(t, df) = p, p in (0, 1); infinite at the ends. */
double student_quantile(double p, double df);

/* The half-width factor of a two-sided interval: student_critical(0.95, 10) = 2.228. */
double student_critical(double confidence, double df);

#endif
