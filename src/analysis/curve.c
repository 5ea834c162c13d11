/* The acknowledge curve of a burst. */
#include "analysis/curve.h"

#include "analysis/theil_sen.h"

enum { POINTS_MIN = 8, FIT_POINTS = 96 };

/* B/s of the part that ran ahead: `buffer` bytes, at least the first request. A buffer of less than the first step is met in
 * the start alone: beyond it that step is held up already. */
static double head_rate(const struct curve *c, double buffer)
{
	bool thinned = c->start_count && buffer < c->bytes[0];
	const double *seconds = thinned ? c->start_seconds : c->seconds;
	const double *bytes = thinned ? c->start_bytes : c->bytes;
	size_t most = thinned ? c->start_count : c->count / 2;
	size_t head = (size_t)(buffer / bytes[0]);

	head = head < 1 ? 1 : head > most ? most : head;
	return seconds[head - 1] > 0 ? bytes[head - 1] / seconds[head - 1] : 0;
}

bool curve_fit(const struct curve *c, struct curve_fit *out)
{
	double t[FIT_POINTS], w[FIT_POINTS];
	size_t from = c->count / 2, n = c->count - from, step = (n + FIT_POINTS - 1) / FIT_POINTS;
	size_t used = 0;

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
	out->head_rate = head_rate(c, out->buffer_bytes);
	if (!(out->head_rate > 0))
		out->head_rate = out->drain_rate;
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
