/* A handful of repeated measurements: median, range, and the verdict on a wait that has to last long enough. Pure. */
#ifndef AUDIT_SAMPLE_H
#define AUDIT_SAMPLE_H

#include <stddef.h>

#include "base/promise.h"

enum { SAMPLE_MAX = 32 };

struct sample {
	double values[SAMPLE_MAX];
	size_t count;
};

void sample_add(struct sample *s, double v); /* beyond SAMPLE_MAX: dropped */
double sample_median(const struct sample *s); /* 0 when empty */
/* The range: as an interval of the median it holds with probability 1 - 2^(1-n), 94 % for five (order statistics). */
double sample_low(const struct sample *s);
double sample_high(const struct sample *s);
static inline double sample_spread(const struct sample *s)
{
	return sample_high(s) - sample_low(s);
}

/* What can be told from waits of this noise: three times the spread while idle, and half a millisecond. */
double sample_resolution(const struct sample *idle);

/* `busy`: how long something took that had to wait for a backlog of `least` to `likely` seconds; `idle`: the same
 * without a backlog. Broken only when even the shortest backlog is well above the noise and the median wait is under
 * 0.3 of it, and no single one came to 0.7; kept from 0.6 of the likely one on. */
enum promise_verdict sample_judge_wait(
	const struct sample *busy, const struct sample *idle, double least, double likely);

#endif
