/* The acknowledge curve of a burst. */
#include "analysis/curve.h"

#include "analysis/theil_sen.h"

enum { POINTS_MIN = 8, FIT_POINTS = 96 };

bool curve_fit(const struct curve *c, struct curve_fit *out)
{
	double t[FIT_POINTS], w[FIT_POINTS], request;
	size_t from = c->count / 2, n = c->count - from, step = (n + FIT_POINTS - 1) / FIT_POINTS;
	size_t used = 0, head;

	*out = (struct curve_fit){ 0 };
	if (c->count < POINTS_MIN || c->seconds[c->count - 1] <= c->seconds[0])
		return false;
	for (size_t i = from; i < c->count && used < FIT_POINTS; i += step, used++) {
		t[used] = c->seconds[i];
		w[used] = c->bytes[i];
	}
	if (!theil_sen(t, w, used, &out->buffer_bytes, &out->drain_rate) || out->drain_rate <= 0)
		return false;
	if (out->buffer_bytes < 0)
		out->buffer_bytes = 0;
	request = c->bytes[0];
	head = (size_t)(out->buffer_bytes / request);
	head = head < 1 ? 1 : head > from ? from : head;
	out->head_rate = c->seconds[head - 1] > 0 ? c->bytes[head - 1] / c->seconds[head - 1]
						  : out->drain_rate;
	if (out->head_rate > out->drain_rate)
		out->knee_bytes =
			out->buffer_bytes * out->head_rate / (out->head_rate - out->drain_rate);
	return true;
}

bool curve_has_knee(const struct curve *c, const struct curve_fit *f)
{
	double request = c->bytes[0], all = c->bytes[c->count - 1];

	return f->head_rate > 1.25 * f->drain_rate && f->buffer_bytes > 0.25 * request &&
	       f->knee_bytes < 0.5 * all;
}
