/* Evidence of storing. */
#include "analysis/storing.h"

#include <math.h>

#include "analysis/moments.h"
#include "analysis/quantile.h"

enum { POINTS_MIN = 16, TAIL_MAX = 256, WINDOWS_MIN = 16, LAST_STEPS = 4 };

/* Slower by this much is slower, if it is also beyond the burst's own noise (is_clear). */
#define KNEE_RATIO 1.04
#define LAG1_MAX 0.95
#define CLEAR 5 /* times the spread of stretches as long as the head */
#define SECONDS_MIN 0.1 /* a burst that is over sooner is all noise */
#define LONG_TIMES 4
#define LONG_ONES_MIN 3
#define UNEVEN 0.1
#define TOLERANCE 0.03
#define TOLERANCE_MAX 0.15
#define TURNS 0.1
#define PAUSE_NOISE 12
#define GAPS_NOISE_LEAST 4 /* less would be lost in it */
#define PAUSE_LEFT 40
#define GROWTH 2 /* of what is left after four times as much, at least */

static double median_of(double *values, size_t n)
{
	quantile_sort(values, n);
	return quantile_median_of_sorted(values, n);
}

/* How far the late half lies from its line, in bytes: the median distance. */
static double scatter_of(const struct curve *c, const struct curve_fit *f)
{
	double off[CURVE_MAX];
	size_t n = 0;

	for (size_t i = c->count / 2; i < c->count; i++)
		off[n++] = fabs(c->bytes[i] - f->buffer_bytes - f->drain_rate * c->seconds[i]);
	return median_of(off, n);
}

static bool is_quick_from(const struct curve *c, const struct storing_times *t, size_t from)
{
	double step[CURVE_MAX], each = t->requests / (double)c->count;
	size_t n = 0;

	for (size_t i = from; i < c->count; i++)
		step[n++] = c->seconds[i] - c->seconds[i - 1];
	return median_of(step, n) < 2 * each * t->median_s;
}

/* Are most requests of the late half still as quick as all, and one or more of the very last? A buffer that is full for good
 * lets none be. */
static bool is_quick_late(const struct curve *c, const struct storing_times *t)
{
	bool quick_end = false;

	for (size_t i = c->count - LAST_STEPS; i < c->count; i++)
		quick_end = quick_end || c->seconds[i] - c->seconds[i - 1] <
						 2 * t->requests / (double)c->count * t->median_s;
	return quick_end && is_quick_from(c, t, c->count / 2);
}

/* A buffer that is stored as a whole when it is full: free requests, and every so often one that waits for all of it, each
 * time about as long. Noise has no such measure. */
static bool take_starts(
	struct storing_shape *out, const struct curve *c, const struct storing_times *t)
{
	double all = c->bytes[c->count - 1];

	if (t->time_median_s < LONG_TIMES * t->median_s || t->long_ones < LONG_ONES_MIN ||
		t->longer_ones > UNEVEN * t->long_ones || !is_quick_late(c, t))
		return false;
	out->knee = out->in_starts = true;
	out->buffer_bytes = out->knee_bytes = all / t->long_ones;
	return true;
}

/* Mean time of a step from point `from` on. */
static double step_s(const struct curve *c, size_t from, size_t steps)
{
	double before = from ? c->seconds[from - 1] : 0;

	return (c->seconds[from + steps - 1] - before) / (double)steps;
}

/* Noise that wanders shows less of itself in a short time than there is: by how much more must be expected. */
static double wander(const struct curve *c, size_t from)
{
	double step[CURVE_MAX], lag1;
	size_t n = 0;

	for (size_t i = from; i < c->count; i++)
		step[n++] = step_s(c, i, 1);
	lag1 = moments_lag1(step, n);
	lag1 = lag1 > 0 ? fmin(lag1, LAG1_MAX) : 0;
	return sqrt((1 + lag1) / (1 - lag1));
}

/* Did the first so many steps go by more quickly than the steps from `full` on ever did: than each stretch as long as they
 * are, and by far more than these differ among themselves? Stretches, not steps, because noise that wanders makes neighbours
 * alike. */
static bool is_quicker(const struct curve *c, size_t head, size_t full)
{
	size_t tail = c->count - full, length = head, n = 0;
	double v[CURVE_MAX], off[CURVE_MAX], first = step_s(c, 0, head), median, spread;

	if (length > tail / WINDOWS_MIN)
		length = tail / WINDOWS_MIN;
	if (!length)
		return false;
	for (size_t end = c->count; end >= full + length; end -= length)
		v[n++] = step_s(c, end - length, length);
	median = median_of(v, n); /* sorts v */
	for (size_t i = 0; i < n; i++)
		off[i] = fabs(v[i] - median);
	spread = fmax(1.4826 * median_of(off, n), (median - v[0]) / 2); /* of a normal: its sigma */
	spread *= sqrt((double)length / (double)head) * wander(c, full);
	return (length < head || first < v[0]) && median - first > CLEAR * spread;
}

/* Is the head quicker than noise makes any stretch? As far as the buffer reaches, or to where it was full. */
static bool is_clear(const struct curve *c, const struct curve_fit *f)
{
	size_t buffer = (size_t)(f->buffer_bytes / c->bytes[0]);
	size_t knee = (size_t)(0.9 * f->knee_bytes / c->bytes[0]);
	size_t full = (size_t)(f->knee_bytes / c->bytes[0]) + 2;

	buffer = buffer ? buffer : 1;
	full = full < c->count ? full : c->count;
	return is_quicker(c, buffer, full) || (knee > buffer && is_quicker(c, knee, full));
}

void storing_shape_of(
	struct storing_shape *out, const struct curve *c, const struct storing_times *times)
{
	double all = c->count ? c->bytes[c->count - 1] : 0;
	struct curve_fit f;

	*out = (struct storing_shape){ 0 };
	if (c->count < POINTS_MIN || c->seconds[c->count - 1] < SECONDS_MIN || !curve_fit(c, &f))
		return;
	out->known = true;
	out->head_rate = out->drain_rate = all / c->seconds[c->count - 1];
	if (take_starts(out, c, times))
		return;
	if (f.head_rate < KNEE_RATIO * f.drain_rate || !(f.knee_bytes < 0.5 * all) ||
		f.buffer_bytes < 0.25 * c->bytes[0] + 4 * scatter_of(c, &f) || !is_clear(c, &f))
		return;
	out->knee = true;
	out->head_rate = f.head_rate;
	out->drain_rate = f.drain_rate;
	out->buffer_bytes = f.buffer_bytes;
	out->knee_bytes = f.knee_bytes;
}

/* One way to tell that a burst is stored. */
struct way {
	const struct storing_bursts *b;
	bool settled; /* else by flush */
};

/* Seconds that storing took beyond the last answer. */
static double beyond(const struct way *w, const struct storing_burst *burst)
{
	if (w->settled)
		return burst->wait_s > 0 ? burst->flush_s + burst->wait_s : 0;
	return fmax(0, burst->flush_s - w->b->idle_flush_s);
}

static double median_beyond(const struct way *w, const struct storing_burst *repeats)
{
	double v[STORING_REPEATS];

	for (int i = 0; i < STORING_REPEATS; i++)
		v[i] = beyond(w, &repeats[i]);
	return median_of(v, STORING_REPEATS);
}

static double whole_time(const struct way *w, const struct storing_burst *burst)
{
	return burst->ack_s + beyond(w, burst);
}

/* Median of the repeats, and half their range. */
static double median_time(const struct way *w, const struct storing_burst *repeats, double *noise)
{
	double v[STORING_REPEATS], median;

	for (int i = 0; i < STORING_REPEATS; i++)
		v[i] = whole_time(w, &repeats[i]);
	median = median_of(v, STORING_REPEATS);
	*noise = (v[STORING_REPEATS - 1] - v[0]) / 2;
	return median;
}

static double resolution(const struct way *w)
{
	return w->settled ? w->b->read_resolution_s : w->b->flush_resolution_s;
}

/* Storing goes on between reads that wait a little each: their own time would count as that of storing. */
static bool takes_turns(const struct storing_burst *b)
{
	return b->reads_s > TURNS * b->wait_s;
}

/* Does it wait for what must be left? With a buffer seen full that is known; else it must grow with the burst. */
static bool answers(const struct way *w)
{
	const struct storing_bursts *b = w->b;
	const struct storing_shape *s = &b->shape;
	double full = beyond(w, &b->full), two = median_beyond(w, b->two);

	if (full <= resolution(w) || s->in_starts)
		return false; /* in fits and starts, what is left depends on the moment */
	if (w->settled && takes_turns(&b->full))
		return false;
	if (s->knee)
		return full * s->drain_rate >= 0.85 * s->buffer_bytes;
	/* The longest may have filled a buffer that no knee gave away. */
	return two > resolution(w) && two >= GROWTH * median_beyond(w, b->one) && full >= 0.8 * two;
}

static bool within(double value, double wanted, double tolerance)
{
	return fabs(value / wanted - 1) <= tolerance;
}

/* One rate, whatever the length of the burst, and nothing stored faster than that. */
static bool consistent(const struct way *w)
{
	const struct storing_bursts *b = w->b;
	double noise[2], t1 = median_time(w, b->one, &noise[0]),
			 t2 = median_time(w, b->two, &noise[1]), full = whole_time(w, &b->full);
	double n1 = b->one[0].bytes, n2 = b->two[0].bytes;
	double more = (n2 - n1) / (t2 - t1);
	double reference = b->shape.knee ? b->shape.drain_rate : (b->full.bytes - n2) / (full - t2);
	double tolerance = fmin(TOLERANCE + (noise[0] + noise[1]) / 2 / (t2 - t1), TOLERANCE_MAX);
	double most = reference * (1 + tolerance);

	if (!(t2 > t1) || !(reference > 0) || !isfinite(reference))
		return false;
	return within(more, reference, tolerance) && n1 / t1 <= most && n2 / t2 <= most &&
	       b->full.bytes / full <= most;
}

static bool shows(const struct way *w)
{
	return answers(w) && consistent(w);
}

/* More is left behind after a longer burst. */
static bool grows(const struct way *w)
{
	return beyond(w, &w->b->full) > 1.5 * median_beyond(w, w->b->two) + resolution(w);
}

enum storing_by storing_judge(const struct storing_bursts *b)
{
	struct way flush = { b, false }, settled = { b, true };

	if (b->flushes && shows(&flush))
		return STORING_FLUSH;
	if (shows(&settled))
		return STORING_SETTLED;
	if (b->shape.knee || !b->shape.known)
		return STORING_NOT_SHOWN;
	/* A backlog there is, but what waits does not wait as storing would. */
	if ((b->flushes && grows(&flush)) || grows(&settled))
		return STORING_NOT_SHOWN;
	return STORING_LEVEL;
}

const struct storing_burst *storing_plain(const struct storing_bursts *b, enum storing_by by)
{
	struct way w = { b, by == STORING_SETTLED };

	return median_beyond(&w, b->one) > PAUSE_LEFT * resolution(&w) ? b->one : b->two;
}

/* What is left after such a burst; half the range of its repeats. */
static double left_of(const struct way *w, const struct storing_burst *plain, double *noise)
{
	double v[STORING_REPEATS], median;

	for (int i = 0; i < STORING_REPEATS; i++)
		v[i] = beyond(w, &plain[i]);
	median = median_of(v, STORING_REPEATS);
	*noise = (v[STORING_REPEATS - 1] - v[0]) / 2 + resolution(w) / 4;
	return median;
}

double storing_long_pause(
	const struct storing_bursts *b, enum storing_by by, const struct storing_burst *plain)
{
	struct way w = { b, by == STORING_SETTLED };
	double noise;

	return left_of(&w, plain, &noise) / 2;
}

/* Seconds that so many repeats took until all was stored; as left_of. */
static double whole_of(const struct way *w, const struct storing_burst *plain, double *noise)
{
	double median = median_time(w, plain, noise);

	*noise += resolution(w) / 4;
	return median;
}

double storing_gaps(
	const struct storing_bursts *b, enum storing_by by, const struct storing_burst *plain)
{
	struct way w = { b, by == STORING_SETTLED };
	double noise;

	whole_of(&w, plain, &noise);
	return fmin(PAUSE_NOISE * noise, storing_long_pause(b, by, plain));
}

/* Of a pause, so much was saved. */
static bool is_used(const struct way *w, double pause_s, double saved, double noise)
{
	return pause_s > 2 * resolution(w) && saved >= pause_s - fmax(0.1 * pause_s, 3 * noise);
}

bool storing_uses_pause(const struct storing_bursts *b, enum storing_by by,
	const struct storing_burst *plain, const struct storing_burst *paused, double pause_s)
{
	struct way w = { b, by == STORING_SETTLED };
	double noise, saved = left_of(&w, plain, &noise) - median_beyond(&w, paused);

	return is_used(&w, pause_s, saved, noise);
}

bool storing_uses_gaps(const struct storing_bursts *b, enum storing_by by,
	const struct storing_burst *plain, const struct storing_burst *paused, double gaps_s)
{
	struct way w = { b, by == STORING_SETTLED };
	double noise, unused, saved = whole_of(&w, plain, &noise) + gaps_s;

	/* With a buffer that was full, the requests after a gap wait less, and what is left is as much as before. */
	saved -= median_time(&w, paused, &unused);
	return gaps_s > GAPS_NOISE_LEAST * noise && is_used(&w, gaps_s, saved, noise);
}
