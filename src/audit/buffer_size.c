/* Is there a write-behind buffer, how large is it, how fast does it drain? From bursts of growing length after idle, and
 * from how long a read or a flush waits after a burst that fills it. */
#include <math.h>
#include <stdio.h>

#include "analysis/curve.h"
#include "audit/probe_context.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

enum { FIRST_REQUESTS = 64, REQUESTS_MAX = 4096, SIZES = 3 };

/* One burst of `requests`, thinned to what the curve holds. */
static int run_burst(struct probe_context *pc, uint32_t request, uint64_t requests, struct curve *c)
{
	uint64_t began = medium_now_ns(pc->m), each = (requests + CURVE_MAX - 1) / CURVE_MAX;

	c->count = 0;
	for (uint64_t i = 1; i <= requests && !context_stopped(pc); i++) {
		int rc = context_write_next(pc, request, PROBE_PLAIN);

		if (rc < 0)
			return rc;
		if (i % each || c->count == CURVE_MAX)
			continue;
		c->seconds[c->count] = context_seconds(medium_since_ns(pc->m, began));
		c->bytes[c->count++] = (double)i * request;
	}
	return 0;
}

/* Long enough for anything this burst can have left behind, as far as is known. */
static int rest(struct probe_context *pc, const struct curve *c)
{
	double took = c->count ? c->seconds[c->count - 1] : 0;
	uint64_t ns = (uint64_t)(took * 1.5e9);

	if (ns > pc->settle_ns)
		context_idle(pc, ns - pc->settle_ns);
	return context_settle(pc);
}

/* Bursts of this request size, each twice as long, until one shows a knee with a long tail behind it. */
static int grow(struct probe_context *pc, uint32_t request, struct curve *c, struct curve_fit *f,
	bool *knee)
{
	*knee = false;
	for (uint64_t n = FIRST_REQUESTS;; n *= 2) {
		int rc = run_burst(pc, request, n, c);

		if (!rc)
			rc = rest(pc, c);
		if (rc < 0)
			return rc;
		if (context_stopped(pc) || !curve_fit(c, f))
			return 0;
		*knee = curve_has_knee(c, f);
		if (*knee || n >= REQUESTS_MAX || n * request * 2 > pc->plan->burst_limit_bytes ||
			c->seconds[c->count - 1] * 2e9 > (double)pc->plan->burst_limit_ns)
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
static int find_candidates(
	struct probe_context *pc, struct curve *c, struct candidate list[SIZES], size_t *n)
{
	uint32_t sizes[SIZES] = { pc->unit, 4096, pc->bulk };

	*n = 0;
	for (int i = 0; i < SIZES && !context_stopped(pc); i++) {
		struct curve_fit f = { 0 };
		struct candidate one = { .request = sizes[i] };
		size_t at;
		bool knee;
		int rc;

		if (sizes[i] < pc->unit || sizes[i] > pc->bulk || (i && sizes[i] <= sizes[i - 1]))
			continue;
		rc = grow(pc, sizes[i], c, &f, &knee);
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

static void take_candidate(struct probe_context *pc, const struct candidate *c)
{
	pc->request = c->request;
	pc->known.burst_bytes = (uint64_t)(c->knee_bytes * 2.5);
	if (pc->known.burst_bytes < (uint64_t)PROBE_REQUESTS * pc->request)
		pc->known.burst_bytes = (uint64_t)PROBE_REQUESTS * pc->request;
	pc->known.drain_rate = c->drain_rate;
}

/* Waiting this long empties any buffer this burst could have filled. */
static void set_settle(struct probe_context *pc)
{
	double ns = 1.5e9 * (double)pc->known.burst_bytes / pc->known.drain_rate;

	if (ns > (double)pc->settle_ns)
		pc->settle_ns = (uint64_t)ns;
}

/* The same burst again and again: a buffer shows the same knee every time. */
static int repeat_bursts(struct probe_context *pc, struct curve *c)
{
	struct sample buffer = { 0 }, drain = { 0 }, head = { 0 };
	unsigned knees = 0;

	for (unsigned i = 0; i < pc->plan->repeats && !context_stopped(pc); i++) {
		struct curve_fit f;
		int rc = run_burst(pc, pc->request, pc->known.burst_bytes / pc->request, c);

		if (!rc)
			rc = rest(pc, c);
		if (rc < 0)
			return rc;
		if (!curve_fit(c, &f))
			continue;
		knees += f.head_rate > 1.15 * f.drain_rate && f.buffer_bytes > 0.25 * pc->request;
		sample_add(&buffer, f.buffer_bytes);
		sample_add(&drain, f.drain_rate);
		sample_add(&head, f.head_rate);
	}
	pc->known.knee =
		knees == pc->plan->repeats && sample_high(&buffer) < 3 * sample_low(&buffer);
	pc->known.buffer_bytes = sample_median(&buffer);
	pc->known.buffer_low = sample_low(&buffer);
	pc->known.buffer_high = sample_high(&buffer);
	pc->known.drain_rate = sample_median(&drain);
	pc->known.drain_low = sample_low(&drain);
	pc->known.drain_high = sample_high(&drain);
	pc->known.head_rate = sample_median(&head);
	return 0;
}

static int timed_read(struct probe_context *pc, unsigned i, struct sample *s)
{
	/* Always another block, none of them lately written. */
	uint64_t blocks = (pc->plan->area_bytes - pc->quiet_base) / pc->unit;
	int rc =
		context_read(pc, pc->quiet_base + (uint64_t)(i * 37 % blocks) * pc->unit, pc->unit);

	if (!rc)
		sample_add(s, context_seconds(pc->last_ns));
	return rc < 0 ? rc : 0;
}

static int timed_sync(struct probe_context *pc, struct sample *s)
{
	int rc = context_sync(pc);

	if (!rc)
		sample_add(s, context_seconds(pc->last_ns));
	return rc < 0 ? rc : 0;
}

/* How long a read elsewhere, and a flush, take after a burst and after idle. */
static int measure_waits(struct probe_context *pc, struct sample waits[4])
{
	int rc = 0;

	for (unsigned i = 0; i < pc->plan->repeats && !rc && !context_stopped(pc); i++) {
		rc = context_settle(pc);
		if (!rc)
			rc = timed_read(pc, 2 * i, &waits[0]);
		if (!rc)
			rc = timed_sync(pc, &waits[1]);
		if (!rc)
			rc = context_fill_buffer(pc);
		if (!rc)
			rc = timed_read(pc, 2 * i + 1, &waits[2]);
		if (!rc)
			rc = context_settle(pc);
		if (!rc)
			rc = context_fill_buffer(pc);
		if (!rc)
			rc = timed_sync(pc, &waits[3]);
	}
	return rc;
}

/* A full buffer, half of it drained: does the next burst run ahead by that half? A card that is merely fast at first
 * would not follow the drain rate. */
static int measure_credit(struct probe_context *pc, struct curve *c, bool *follows)
{
	struct sample credit = { 0 };
	double half = pc->known.buffer_bytes / 2;
	int rc = 0;

	for (unsigned i = 0; i < pc->plan->repeats && !rc && !context_stopped(pc); i++) {
		struct curve_fit f;

		rc = context_fill_buffer(pc);
		context_idle(pc, (uint64_t)(half / pc->known.drain_rate * 1e9));
		if (!rc)
			rc = run_burst(pc, pc->request, pc->known.burst_bytes / pc->request, c);
		if (!rc && curve_fit(c, &f))
			sample_add(&credit, f.buffer_bytes);
		if (!rc)
			rc = rest(pc, c);
	}
	*follows = credit.count >= 3 && sample_median(&credit) > 0.6 * half &&
		   sample_median(&credit) < 1.5 * half;
	return rc;
}

static int confirm(struct probe_context *pc, struct curve *c)
{
	struct sample waits[4] = { 0 };
	struct known *k = &pc->known;
	double backlog = k->knee ? k->buffer_bytes / k->drain_rate : 0, syncs;
	bool follows = false;
	int rc = measure_waits(pc, waits);

	if (rc < 0)
		return rc;
	k->read_wait = sample_median(&waits[2]) - sample_median(&waits[0]);
	k->sync_wait = waits[3].count ? sample_median(&waits[3]) - sample_median(&waits[1]) : 0;
	syncs = waits[1].count ? sample_resolution(&waits[1]) : 0;
	k->resolution = fmax(sample_resolution(&waits[0]), syncs);
	if (!k->knee)
		return 0;
	k->confirmed = (k->read_wait > k->resolution && k->read_wait > 0.5 * backlog) ||
		       (k->sync_wait > k->resolution && k->sync_wait > 0.5 * backlog);
	if (k->confirmed)
		return 0;
	rc = measure_credit(pc, c, &follows);
	k->confirmed = follows;
	return rc;
}

/* Buffers are binary: IEC 80000-13. */
static const char *kib_format(char out[SIZE_TEXT_MAX], double bytes)
{
	snprintf(out, SIZE_TEXT_MAX, bytes < 1048576 ? "%.3g KiB" : "%.4g KiB", bytes / 1024);
	return out;
}

static int report_buffer(struct probe_context *pc)
{
	const struct known *k = &pc->known;
	char b[3][SIZE_TEXT_MAX], r[3][SIZE_TEXT_MAX], w[2][SIZE_TEXT_MAX], h[SIZE_TEXT_MAX],
		q[SIZE_TEXT_MAX];

	size_format(q, pc->request);
	duration_format(w[0], fmax(k->read_wait, 0));
	duration_format(w[1], fmax(k->sync_wait, 0));
	if (!k->knee)
		return context_report(pc, PROMISE_ID_BUFFER, PROMISE_NOT_SHOWN, 0, "",
			"no burst ran ahead of the card; after one, a read waits %s and a flush %s "
			"longer than when idle",
			w[0], w[1]);
	/* What is on its way while a request is acknowledged cannot be told: one request either way. */
	kib_format(b[0], k->buffer_bytes);
	kib_format(b[1], fmax(k->buffer_low - pc->request, 0));
	kib_format(b[2], k->buffer_high + pc->request);
	rate_format(r[0], k->drain_rate);
	rate_format(r[1], k->drain_low);
	rate_format(r[2], k->drain_high);
	return context_report(pc, PROMISE_ID_BUFFER,
		k->confirmed ? PROMISE_KEPT : PROMISE_NOT_SHOWN, pc->plan->repeats, "",
		"in requests of %s, bursts from idle run at %s, then at %s (%s to %s): a buffer of "
		"%s (%s to %s, %u bursts); after a full one the first read waits %s and a flush "
		"%s%s",
		q, rate_format(h, k->head_rate), r[0], r[1], r[2], b[0], b[1], b[2],
		pc->plan->repeats, w[0], w[1],
		k->confirmed ? "" : "; nothing else confirms it, so it may be the card itself");
}

/* The first size whose bursts show the same buffer every time. */
static int settle_on_size(struct probe_context *pc, struct curve *c)
{
	struct candidate list[SIZES];
	size_t n;
	int rc = find_candidates(pc, c, list, &n);

	for (size_t i = 0; i < n && !rc && !pc->known.knee && !context_stopped(pc); i++) {
		take_candidate(pc, &list[i]);
		set_settle(pc);
		rc = repeat_bursts(pc, c);
	}
	if (rc < 0 || pc->known.knee)
		return rc;
	pc->request = 4096 >= pc->unit && 4096 <= pc->bulk ? 4096 : pc->unit;
	pc->known.burst_bytes = (uint64_t)PROBE_REQUESTS * pc->request;
	if (n)
		take_candidate(pc, &list[0]);
	return 0;
}

int probe_buffer(struct probe_context *pc)
{
	static struct curve c; /* 16 KiB */
	int rc = settle_on_size(pc, &c);

	if (!rc)
		rc = confirm(pc, &c);
	return rc < 0 || context_stopped(pc) ? rc : report_buffer(pc);
}

int probe_write_behind(struct probe_context *pc)
{
	static const char mend[] = "show a caching page (08h) with WCE 1 in MODE SENSE page 3Fh, "
				   "so that the host sends "
				   "flushes; or acknowledge each write only when the card has it";
	const struct known *k = &pc->known;
	bool behind = (k->knee && k->confirmed) || k->behind_proven;
	bool waits = k->read_wait > k->resolution || k->sync_wait > k->resolution;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];
	bool hold;
	int rc = claims_of_cache_hold(pc, &hold);

	if (rc)
		return rc;
	kib_format(a, k->buffer_bytes);
	duration_format(b, k->resolution);
	if (!hold)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 1, "",
			"claimed write %s at first, and its mode pages say something else now (see "
			"steady): a host goes by what they said when it looked",
			k->claims_cache ? "back" : "through");
	if (pc->t->cache == MEDIUM_CACHE_UNKNOWN && !pc->scsi)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 0, "",
			"what this target claims about its cache is not known");
	if (k->claims_cache)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_KEPT, 1, "",
			"claims write back%s", behind ? ", and does write behind" : "");
	if (behind && pc->scsi)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_BROKEN, 1, mend,
			"claims write through, but %s%s%s: the host never sends a flush",
			k->knee ? "holds about " : "", k->knee ? a : "",
			k->behind_proven ? (k->knee ? " and lost acknowledged data in a power cut"
						    : "lost acknowledged data in a power cut")
					 : " of acknowledged data");
	if (k->knee || waits)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 0, "",
			"claims write through; but bursts start faster than they end, or something "
			"waits after them; the card itself may cause that: see 'blkassay cut'");
	/* A buffer that drains faster than the link fills it makes nothing wait. */
	if (!k->cut_answers)
		return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_NOT_SHOWN, 0, "",
			"claims write through; no burst ran ahead, and no read or flush waited for "
			"a backlog (one over %s would have shown); that each write is stored when "
			"it is answered only power cuts can show: see 'blkassay cut'",
			b);
	return context_report(pc, PROMISE_ID_WRITE_BEHIND, PROMISE_KEPT, k->cut_answers, "",
		"claims write through; power cuts right at the answer lost nothing, no burst ran "
		"ahead, and no read or flush waited for a backlog (one over %s would have shown)",
		b);
}
