/* Whole frames. */
#include "analysis/frames.h"

#include <math.h>
#include <stdbool.h>

#include "analysis/fit.h"
#include "analysis/quantile.h"
#include "analysis/usb.h"

enum { POINTS_MAX = 64 };

/* Off a whole frame by at most this much of one; the host's own delays are of that order (ours). */
#define NEAR 0.06
#define FAR 0.15
/* Standard errors by which a straight line must fail, and how many times its own. */
#define BENDS 2.0
#define MODEL_ERROR 0.006
/* Times that are longer than one phase a frame by at most this at each size follow that: blurred ones, and sharp ones, of an
 * emulated bus whose frames last a bit longer (ours). */
#define HUGS 1.18
#define HUGS_SHARP 1.10
#define BEATEN 0.95
/* Beyond so many frames a quantile is not known to that. */
#define TELLS (NEAR / (QUANTILE_BIN / 2))

static double off_frame(double seconds, double frame_s)
{
	double frames = seconds * (1 - QUANTILE_BIN / 2) / frame_s;

	return fabs(frames - round(frames)) - QUANTILE_BIN / 2 * frames;
}

/* How many times as long as with one phase a frame. A faster one shows that this host serves more phases a frame. A busy
 * host or an emulated bus blurs whole frames to anything between, but they do not wander off from the bound. */
static double times_bound(const struct usb_link *link, const struct frames_point *p)
{
	uint64_t piece = (uint64_t)(p->bytes / p->pieces + 0.5);

	return p->seconds / p->pieces / usb_command_phased_s(link, piece);
}

/* Sizes that take whole frames, and how many different numbers of them. */
struct tally {
	size_t told, near, far, blurred, distinct;
	size_t means, means_near, means_far; /* by the mean: sharper, and blurred by jitter */
	size_t means_distinct;
	double last, last_mean; /* frames */
};

static void tally_add(struct tally *t, const struct frames_point *p, double frame_s)
{
	double off, frames = round(p->median_s * (1 - QUANTILE_BIN / 2) / frame_s);
	double mean = p->seconds / frame_s;

	if (p->pieces < 1.01 && mean < TELLS) {
		t->means++;
		t->means_near += fabs(mean - round(mean)) < NEAR;
		t->means_far += fabs(mean - round(mean)) > FAR;
		t->means_distinct += round(mean) > t->last_mean;
		t->last_mean = fmax(t->last_mean, round(mean));
	}
	if (!(p->median_s > 0) || p->p90_s > TELLS * frame_s)
		return;
	off = fmax(off_frame(p->median_s, frame_s), off_frame(p->p90_s, frame_s));
	t->told++;
	t->near += off < NEAR;
	t->far += off > FAR;
	t->blurred += p->p90_s - p->median_s > FAR * frame_s;
	t->distinct += frames > t->last;
	t->last = fmax(t->last, frames);
}

/* Data in whole frames makes a staircase: how far off would a straight line through it be? */
static double would_bend(
	const struct usb_link *link, const struct frames_point *points, size_t count)
{
	double x[POINTS_MAX] = { 0 }, y[POINTS_MAX] = { 0 }, w[POINTS_MAX] = { 0 }, most = 0;
	struct fit f;
	size_t n = 0;

	for (size_t i = 0; i < count && n < POINTS_MAX; i++) {
		const struct frames_point *p = &points[i];
		double each = p->seconds / p->pieces;

		x[n] = p->bytes / p->pieces;
		y[n] = usb_command_phased_s(link, (uint64_t)(x[n] + 0.5));
		w[n++] = 1 / (each * each * (p->noise * p->noise + MODEL_ERROR * MODEL_ERROR));
	}
	if (!fit_line(&f, x, y, w, n))
		return 0;
	for (size_t i = 0; i < n; i++)
		most = fmax(most, fabs(y[i] - f.a - f.b * x[i]) * sqrt(w[i]));
	return most;
}

enum frames_evidence frames_look(const struct usb_link *link, const struct frames_point *points,
	size_t count, bool explained, double straight_misfit)
{
	struct tally t = { 0 };
	double most = 0; /* times the bound, of all sizes */
	bool close, blurred;

	if (!link || !link->packet_bytes || !count)
		return FRAMES_EXCLUDED;
	for (size_t i = 0; i < count; i++) {
		double times = times_bound(link, &points[i]);

		if (times < BEATEN)
			return FRAMES_EXCLUDED;
		most = fmax(most, times);
		tally_add(&t, &points[i], link->frame_s);
	}
	close = count > 3 && most < HUGS_SHARP;
	blurred = count > 3 && most < HUGS && t.blurred * 2 >= t.told;
	if (t.told > 1 && t.far * 3 >= t.told && !close && !blurred)
		return FRAMES_EXCLUDED;
	if (!close && t.means > 1 && t.means_far * 3 >= t.means &&
		would_bend(link, points, count) > BENDS * (1 + straight_misfit))
		return FRAMES_EXCLUDED;
	if (t.near == t.told && t.distinct > 2 && t.told >= (explained ? 5 : 3))
		return FRAMES_SEEN;
	return t.means_near == t.means && t.means > 3 && t.means_distinct > 2 && !explained
		       ? FRAMES_SEEN
		       : FRAMES_OPEN;
}
