/* Slow requests among usual ones. */
#include "analysis/stall.h"

#include <math.h>
#include <stdlib.h>

#include "analysis/quantile.h"

/* A flush that is this much longer than others of its size is a stall in it; so many tell what is usual. */
#define FLUSH_TIMES 5.0
enum { FLUSHES_MIN = 3 };
/* Of how many requests, how often stalls come being known roughly. */
#define MEDIAN_TELLS 0.35

typedef double value_of(const struct stall_pass *p);

static double p50_of(const struct stall_pass *p)
{
	return p->p50_s;
}

static double flush_of(const struct stall_pass *p)
{
	return p->flush_s;
}

static double median_of(const struct stall_pass *p, size_t n, value_of *value, double *scratch)
{
	for (size_t i = 0; i < n; i++)
		scratch[i] = value(&p[i]);
	quantile_sort(scratch, n);
	return quantile_median_of_sorted(scratch, n);
}

/* Beyond what so many usual requests take: a few much longer ones must account for it, not a mixture of kinds. */
static double seen_in(const struct stall_pass *p, double usual_s, double *count)
{
	double beyond = p->busy_s - p->requests * usual_s / p->in_flight;
	double each = p->max_s - usual_s, n = beyond / each;

	*count = 0;
	if (!(usual_s > 0) || p->max_s < STALL_TIMES * usual_s || beyond < 0.5 * each ||
		beyond < STALL_MIN_SHARE * p->busy_s || n > fmax(STALL_TELLS * p->requests, 1.5))
		return 0;
	*count = fmax(1, round(n));
	return beyond;
}

static double seen_in_flush(const struct stall_pass *p, double usual_flush_s, double usual_s)
{
	double beyond = p->flush_s - usual_flush_s;

	return beyond > FLUSH_TIMES * (usual_flush_s + usual_s) ? beyond : 0;
}

/* Whether requests of this size stand between stalls often enough to tell them, and are short beside them. */
static bool tells(const struct stalls *s, const struct stall_pass *p, double usual_s)
{
	if (!(s->count > 0))
		return true;
	return (double)p->request_bytes * p->in_flight < STALL_TELLS * s->bytes / s->count &&
	       s->seconds / s->count > (STALL_TIMES - 1) * usual_s;
}

double stalls_per_byte(const struct stalls *s)
{
	return s->bytes > 0 ? s->seconds / s->bytes : 0;
}

/* So much less than bytes make of it that it is no chance: what smaller requests met does not come by the byte. A busy host
 * stops them now and then, too. */
static bool falls_short(const struct stalls *s, double bytes, double most)
{
	double each, expected = stalls_per_byte(s) * bytes;

	if (!(s->count > 0))
		return false;
	each = s->seconds / s->count;
	return expected - most > each * (1 + 2 * sqrt(expected / each));
}

/* While clearly fewer than half of the requests have one, the median has none, and what all took beyond it bounds them. */
static double most_in(const struct stalls *s, const struct stall_pass *p, double usual_s)
{
	double rest = 0.9 * (p->busy_s + p->flush_s);
	double beyond = fmax(0, p->busy_s - p->requests * usual_s / p->in_flight);

	if ((double)p->request_bytes * p->in_flight >= MEDIAN_TELLS * s->bytes / s->count)
		return rest;
	return fmin(rest, beyond + QUANTILE_BIN * p->busy_s + p->flush_s);
}

static void look_at_size(struct stalls *s, struct stall_pass *p, size_t n, double *scratch)
{
	double usual_s = median_of(p, n, p50_of, scratch), count;
	double usual_flush_s = median_of(p, n, flush_of, scratch);
	struct stalls here = { 0 };
	double most = 0;

	for (size_t i = 0; i < n; i++) {
		double flush = n < FLUSHES_MIN ? 0 : seen_in_flush(&p[i], usual_flush_s, usual_s);

		p[i].stalled_s = seen_in(&p[i], usual_s, &count);
		/* As much waited for the flush: a buffer ran full, which is no stall. */
		if (p[i].flush_s - flush > 0.5 * p[i].stalled_s)
			p[i].stalled_s = count = 0;
		p[i].stalled_s += flush;
		most += s->count > 0 ? most_in(s, &p[i], usual_s) : 0;
		here.seconds += p[i].stalled_s;
		here.count += count + (flush > 0);
		here.bytes += p[i].bytes;
	}
	s->not_by_byte |= falls_short(s, here.bytes, most);
	s->seconds += here.seconds;
	s->count += here.count;
	s->bytes += here.bytes;
}

static void take_off(struct stalls *s, struct stall_pass *p, size_t n, double *scratch)
{
	double usual_s = median_of(p, n, p50_of, scratch), each = s->seconds / s->count;
	double rate = stalls_per_byte(s), bytes = 0, most = 0;
	bool short_of;

	for (size_t i = 0; i < n; i++) {
		bytes += p[i].bytes;
		most += most_in(s, &p[i], usual_s);
	}
	short_of = falls_short(s, bytes, most);
	s->not_by_byte |= short_of;
	for (size_t i = 0; i < n; i++) {
		double rest =
			short_of ? most_in(s, &p[i], usual_s) : 0.9 * (p[i].busy_s + p[i].flush_s);

		/* Their number is off by its root, and by one here or there. */
		p[i].stalled_s = fmin(rate * p[i].bytes, rest);
		p[i].stalled_error_s = each * 0.5 + p[i].stalled_s / sqrt(s->count);
		if (short_of)
			p[i].stalled_error_s = fmin(p[i].stalled_error_s, rest);
	}
	if (!short_of)
		return;
	s->bytes += bytes;
	s->seconds += most;
	s->count += most / each;
}

bool stalls_find(struct stalls *s, struct stall_pass *passes, size_t count)
{
	double *scratch = calloc(count + 1, sizeof *scratch);
	size_t at = 0, n;

	*s = (struct stalls){ 0 };
	if (!scratch)
		return false;
	for (; at < count; at += n) {
		for (n = 1;
			at + n < count && passes[at + n].request_bytes == passes[at].request_bytes;)
			n++;
		/* From small to large: what was seen so far says up to which size they stand out. */
		if (tells(s, &passes[at], median_of(&passes[at], n, p50_of, scratch)))
			look_at_size(s, &passes[at], n, scratch);
		else
			take_off(s, &passes[at], n, scratch);
	}
	free(scratch);
	return true;
}
