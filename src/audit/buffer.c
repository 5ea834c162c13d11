/* Is there a write-behind buffer, how large is it, how fast does it drain? From bursts of growing length after idle, and
 * from how long a read or a flush waits after a burst that fills it. */
#include <math.h>
#include <stdio.h>

#include "analysis/curve.h"
#include "audit/desk.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

enum { FIRST_REQUESTS = 64, REQUESTS_MAX = 4096, PROBE_REQUESTS = 64, SIZES = 3 };

/* One burst of `requests`, thinned to what the curve holds. */
static int run_burst(struct desk *d, uint32_t request, uint64_t requests, struct curve *c)
{
	uint64_t began = medium_now_ns(d->m), each = (requests + CURVE_MAX - 1) / CURVE_MAX;

	c->count = 0;
	for (uint64_t i = 1; i <= requests && !desk_stopped(d); i++) {
		int rc = desk_write_next(d, request, DESK_PLAIN);

		if (rc < 0)
			return rc;
		if (i % each || c->count == CURVE_MAX)
			continue;
		c->seconds[c->count] = desk_seconds(medium_now_ns(d->m) - began);
		c->bytes[c->count++] = (double)i * request;
	}
	return 0;
}

/* Long enough for anything this burst can have left behind, as far as is known. */
static int rest(struct desk *d, const struct curve *c)
{
	double took = c->count ? c->seconds[c->count - 1] : 0;
	uint64_t ns = (uint64_t)(took * 1.5e9);

	if (ns > d->settle_ns)
		desk_idle(d, ns - d->settle_ns);
	return desk_settle(d);
}

/* Bursts of this request size, each twice as long, until one shows a knee with a long tail behind it. */
static int grow(struct desk *d, uint32_t request, struct curve *c, struct curve_fit *f, bool *knee)
{
	*knee = false;
	for (uint64_t n = FIRST_REQUESTS;; n *= 2) {
		int rc = run_burst(d, request, n, c);

		if (!rc)
			rc = rest(d, c);
		if (rc < 0)
			return rc;
		if (desk_stopped(d) || !curve_fit(c, f))
			return 0;
		*knee = curve_has_knee(c, f);
		if (*knee || n >= REQUESTS_MAX || n * request * 2 > d->plan->burst_limit_bytes ||
			c->seconds[c->count - 1] * 2e9 > (double)d->plan->burst_limit_ns)
			return 0;
	}
}

/* A request size whose bursts showed a buffer. */
struct candidate {
	uint32_t request;
	double score, knee_bytes, drain_rate;
};

/* How well bursts of this size tell: how far they run ahead of the card, and in how many steps the buffer fills. A buffer
 * shorter than two requests is seen in one or two steps, which jitter hides. */
static double score_of(const struct curve_fit *f, uint32_t request)
{
	double steps = f->buffer_bytes / (2.0 * request);

	return (f->head_rate / f->drain_rate - 1) * (steps < 1 ? steps : 1);
}

/* Costs per command differ on link and card, so the sizes do not tell equally well: the best first. */
static int find_candidates(struct desk *d, struct curve *c, struct candidate list[SIZES], size_t *n)
{
	uint32_t sizes[SIZES] = { d->unit, 4096, d->bulk };

	*n = 0;
	for (int i = 0; i < SIZES && !desk_stopped(d); i++) {
		struct curve_fit f = { 0 };
		struct candidate one = { .request = sizes[i] };
		size_t at;
		bool knee;
		int rc;

		if (sizes[i] < d->unit || sizes[i] > d->bulk || (i && sizes[i] <= sizes[i - 1]))
			continue;
		rc = grow(d, sizes[i], c, &f, &knee);
		if (rc < 0)
			return rc;
		if (!knee)
			continue;
		one.score = score_of(&f, sizes[i]);
		one.knee_bytes = f.knee_bytes;
		one.drain_rate = f.drain_rate;
		for (at = (*n)++; at && list[at - 1].score < one.score; at--)
			list[at] = list[at - 1];
		list[at] = one;
	}
	return 0;
}

static void take_candidate(struct desk *d, const struct candidate *c)
{
	d->request = c->request;
	d->known.burst_bytes = (uint64_t)(c->knee_bytes * 2.5);
	if (d->known.burst_bytes < (uint64_t)PROBE_REQUESTS * d->request)
		d->known.burst_bytes = (uint64_t)PROBE_REQUESTS * d->request;
	d->known.drain_rate = c->drain_rate;
}

/* Waiting this long empties any buffer this burst could have filled. */
static void set_settle(struct desk *d)
{
	double ns = 1.5e9 * (double)d->known.burst_bytes / d->known.drain_rate;

	if (ns > (double)d->settle_ns)
		d->settle_ns = (uint64_t)ns;
}

/* The same burst again and again: a buffer shows the same knee every time. */
static int repeat_bursts(struct desk *d, struct curve *c)
{
	struct sample buffer = { 0 }, drain = { 0 }, head = { 0 };
	unsigned knees = 0;

	for (unsigned i = 0; i < d->plan->repeats && !desk_stopped(d); i++) {
		struct curve_fit f;
		int rc = run_burst(d, d->request, d->known.burst_bytes / d->request, c);

		if (!rc)
			rc = rest(d, c);
		if (rc < 0)
			return rc;
		if (!curve_fit(c, &f))
			continue;
		knees += f.head_rate > 1.15 * f.drain_rate && f.buffer_bytes > 0.25 * d->request;
		sample_add(&buffer, f.buffer_bytes);
		sample_add(&drain, f.drain_rate);
		sample_add(&head, f.head_rate);
	}
	d->known.knee = knees == d->plan->repeats && sample_high(&buffer) < 3 * sample_low(&buffer);
	d->known.buffer_bytes = sample_median(&buffer);
	d->known.buffer_low = sample_low(&buffer);
	d->known.buffer_high = sample_high(&buffer);
	d->known.drain_rate = sample_median(&drain);
	d->known.drain_low = sample_low(&drain);
	d->known.drain_high = sample_high(&drain);
	d->known.head_rate = sample_median(&head);
	return 0;
}

static int timed_read(struct desk *d, unsigned i, struct sample *s)
{
	/* Always another block, none of them lately written. */
	uint64_t blocks = (d->plan->area_bytes - d->quiet_base) / d->unit;
	int rc = desk_read(d, d->quiet_base + (uint64_t)(i * 37 % blocks) * d->unit, d->unit);

	if (!rc)
		sample_add(s, desk_seconds(d->last_ns));
	return rc < 0 ? rc : 0;
}

static int timed_sync(struct desk *d, struct sample *s)
{
	int rc = desk_sync(d);

	if (!rc)
		sample_add(s, desk_seconds(d->last_ns));
	return rc < 0 ? rc : 0;
}

/* How long a read elsewhere, and a flush, take after a burst and after idle. */
static int measure_waits(struct desk *d, struct sample waits[4])
{
	int rc = 0;

	for (unsigned i = 0; i < d->plan->repeats && !rc && !desk_stopped(d); i++) {
		rc = desk_settle(d);
		if (!rc)
			rc = timed_read(d, 2 * i, &waits[0]);
		if (!rc)
			rc = timed_sync(d, &waits[1]);
		if (!rc)
			rc = desk_fill_buffer(d);
		if (!rc)
			rc = timed_read(d, 2 * i + 1, &waits[2]);
		if (!rc)
			rc = desk_settle(d);
		if (!rc)
			rc = desk_fill_buffer(d);
		if (!rc)
			rc = timed_sync(d, &waits[3]);
	}
	return rc;
}

/* A full buffer, half of it drained: does the next burst run ahead by that half? A card that is merely fast at first
 * would not follow the drain rate. */
static int measure_credit(struct desk *d, struct curve *c, bool *follows)
{
	struct sample credit = { 0 };
	double half = d->known.buffer_bytes / 2;
	int rc = 0;

	for (unsigned i = 0; i < d->plan->repeats && !rc && !desk_stopped(d); i++) {
		struct curve_fit f;

		rc = desk_fill_buffer(d);
		desk_idle(d, (uint64_t)(half / d->known.drain_rate * 1e9));
		if (!rc)
			rc = run_burst(d, d->request, d->known.burst_bytes / d->request, c);
		if (!rc && curve_fit(c, &f))
			sample_add(&credit, f.buffer_bytes);
		if (!rc)
			rc = rest(d, c);
	}
	*follows = credit.count >= 3 && sample_median(&credit) > 0.6 * half &&
		   sample_median(&credit) < 1.5 * half;
	return rc;
}

static int confirm(struct desk *d, struct curve *c)
{
	struct sample waits[4] = { 0 };
	struct known *k = &d->known;
	double backlog = k->knee ? k->buffer_bytes / k->drain_rate : 0, syncs;
	bool follows = false;
	int rc = measure_waits(d, waits);

	if (rc < 0)
		return rc;
	k->read_wait = sample_median(&waits[2]) - sample_median(&waits[0]);
	k->sync_wait = waits[3].count ? sample_median(&waits[3]) - sample_median(&waits[1]) : 0;
	syncs = waits[1].count ? sample_resolution(&waits[1]) : 0;
	k->resolution = fmax(sample_resolution(&waits[0]), syncs);
	k->waits_seen = waits[0].count && waits[2].count ? waits[2].count + waits[3].count : 0;
	if (!k->knee)
		return 0;
	k->confirmed = (k->read_wait > k->resolution && k->read_wait > 0.5 * backlog) ||
		       (k->sync_wait > k->resolution && k->sync_wait > 0.5 * backlog);
	if (k->confirmed)
		return 0;
	rc = measure_credit(d, c, &follows);
	k->confirmed = follows;
	return rc;
}

/* Buffers are binary: IEC 80000-13. */
static const char *kib_format(char out[SIZE_TEXT_MAX], double bytes)
{
	snprintf(out, SIZE_TEXT_MAX, bytes < 1048576 ? "%.3g KiB" : "%.4g KiB", bytes / 1024);
	return out;
}

static int report_buffer(struct desk *d)
{
	const struct known *k = &d->known;
	char b[3][SIZE_TEXT_MAX], r[3][SIZE_TEXT_MAX], w[2][SIZE_TEXT_MAX], h[SIZE_TEXT_MAX],
		q[SIZE_TEXT_MAX];

	size_format(q, d->request);
	duration_format(w[0], fmax(k->read_wait, 0));
	duration_format(w[1], fmax(k->sync_wait, 0));
	if (!k->knee)
		return desk_report(d, PROMISE_ID_BUFFER, PROMISE_NOT_SHOWN, 0, "",
			"no burst ran ahead of the card; after one, a read waits %s and a flush %s "
			"longer than after idle",
			w[0], w[1]);
	/* What is on its way while a request is acknowledged cannot be told: one request either way. */
	kib_format(b[0], k->buffer_bytes);
	kib_format(b[1], fmax(k->buffer_low - d->request, 0));
	kib_format(b[2], k->buffer_high + d->request);
	rate_format(r[0], k->drain_rate);
	rate_format(r[1], k->drain_low);
	rate_format(r[2], k->drain_high);
	return desk_report(d, PROMISE_ID_BUFFER, k->confirmed ? PROMISE_KEPT : PROMISE_NOT_SHOWN,
		d->plan->repeats, "",
		"in requests of %s, bursts after idle run at %s, then at %s (%s to %s): a buffer "
		"of "
		"%s (%s to %s, %u bursts); after a full one the first read waits %s and a flush "
		"%s%s",
		q, rate_format(h, k->head_rate), r[0], r[1], r[2], b[0], b[1], b[2],
		d->plan->repeats, w[0], w[1],
		k->confirmed ? "" : "; nothing else confirms it, so it may be the card itself");
}

/* The first size whose bursts show the same buffer every time. */
static int settle_on_size(struct desk *d, struct curve *c)
{
	struct candidate list[SIZES];
	size_t n;
	int rc = find_candidates(d, c, list, &n);

	for (size_t i = 0; i < n && !rc && !d->known.knee && !desk_stopped(d); i++) {
		take_candidate(d, &list[i]);
		set_settle(d);
		rc = repeat_bursts(d, c);
	}
	if (rc < 0 || d->known.knee)
		return rc;
	d->request = 4096 >= d->unit && 4096 <= d->bulk ? 4096 : d->unit;
	d->known.burst_bytes = (uint64_t)PROBE_REQUESTS * d->request;
	if (n)
		take_candidate(d, &list[0]);
	return 0;
}

int probe_buffer(struct desk *d)
{
	static struct curve c; /* 8 KiB */
	int rc = settle_on_size(d, &c);

	if (!rc)
		rc = confirm(d, &c);
	return rc < 0 || desk_stopped(d) ? rc : report_buffer(d);
}

int probe_write_behind(struct desk *d)
{
	static const char mend[] = "show a caching page (08h) with WCE 1 in MODE SENSE page 3Fh, "
				   "so that the host sends "
				   "flushes; or acknowledge each write only when the card has it";
	const struct known *k = &d->known;
	bool behind = (k->knee && k->confirmed) || k->behind_proven;
	bool waits = k->read_wait > k->resolution || k->sync_wait > k->resolution;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	kib_format(a, k->buffer_bytes);
	duration_format(b, k->resolution);
	if (d->t->cache == MEDIUM_CACHE_UNKNOWN && !d->scsi)
		return desk_report(d, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 0, "",
			"what this target claims about its cache is not known");
	if (k->claims_cache)
		return desk_report(d, PROMISE_ID_WRITE_BEHIND, PROMISE_KEPT, 1, "",
			"claims write back%s", behind ? ", and does write behind" : "");
	if (behind && d->scsi)
		return desk_report(d, PROMISE_ID_WRITE_BEHIND, PROMISE_BROKEN, 1, mend,
			"claims write through, but %s%s%s: the host never sends a flush",
			k->knee ? "holds about " : "", k->knee ? a : "",
			k->behind_proven ? (k->knee ? " and lost acknowledged data in a power cut"
						    : "lost acknowledged data in a power cut")
					 : " of acknowledged data");
	if (k->knee || waits)
		return desk_report(d, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 0, "",
			"claims write through; bursts start faster than they end or something "
			"waits "
			"after them, which the card itself may cause: see 'blkassay cut'");
	return desk_report(d, PROMISE_ID_WRITE_BEHIND, PROMISE_KEPT, k->waits_seen, "",
		"claims write through; no burst ran ahead, and no read or flush waited for a "
		"backlog (one over %s would have shown)",
		b);
}
