/* Do flushes and FUA take the time that storing takes? A flush that returns before the backlog can have drained has not
 * stored it. */
#include <errno.h>
#include <stdio.h>

#include "audit/desk.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

struct waits {
	struct sample idle, busy;
};

static int kernel_flush(struct desk *d)
{
	uint64_t began = medium_now_ns(d->m);
	int rc = medium_flush(d->m);

	d->last_ns = medium_now_ns(d->m) - began;
	return desk_is_error_answer(rc) ? DESK_REFUSED : rc;
}

static int measure(struct desk *d, int (*flush)(struct desk *d), struct waits *w)
{
	int rc = 0;

	for (unsigned i = 0; i < d->plan->repeats && rc >= 0 && !desk_stopped(d); i++) {
		rc = desk_settle(d);
		if (!rc)
			rc = flush(d);
		if (!rc)
			sample_add(&w->idle, desk_seconds(d->last_ns));
		rc = rc < 0 ? rc : desk_fill_buffer(d);
		if (!rc)
			rc = flush(d);
		if (!rc)
			sample_add(&w->busy, desk_seconds(d->last_ns));
	}
	return rc < 0 ? rc : 0;
}

static enum promise_verdict judge(const struct desk *d, const struct waits *w)
{
	const struct known *k = &d->known;
	enum promise_verdict v;

	if (!k->knee)
		return PROMISE_NOT_SHOWN;
	v = sample_judge_wait(
		&w->busy, &w->idle, k->buffer_low / k->drain_high, k->buffer_bytes / k->drain_rate);
	/* Without a second witness the curve may be the card's, not the firmware's. */
	return v == PROMISE_BROKEN && !k->confirmed ? PROMISE_NOT_SHOWN : v;
}

static const char *describe(char *out, size_t room, const struct desk *d, const struct waits *w)
{
	const struct known *k = &d->known;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX], c[SIZE_TEXT_MAX];

	if (!w->busy.count) {
		snprintf(out, room, "it was refused every time");
		return out;
	}
	duration_format(a, sample_median(&w->busy));
	duration_format(b, sample_median(&w->idle));
	if (k->knee)
		snprintf(out, room,
			"%s after a burst that fills the buffer, %s after idle; the backlog takes "
			"%s to store",
			a, b, duration_format(c, k->buffer_bytes / k->drain_rate));
	else
		snprintf(out, room,
			"%s after a burst, %s after idle; no backlog could be built that would "
			"tell",
			a, b);
	return out;
}

static int report_sync_refused(struct desk *d)
{
	bool unknown = d->known.sync_sense.code == SENSE_INVALID_OPCODE;
	char sense[SCSI_SENSE_TEXT_MAX];

	return desk_report(d, PROMISE_ID_FLUSH,
		d->known.claims_cache || (d->known.knee && d->known.confirmed)
			? PROMISE_BROKEN
			: desk_unasked(d, PROMISE_ID_FLUSH),
		1,
		unknown ? "implement SYNCHRONIZE CACHE(10): Linux takes the refusal for success"
			: "accept SYNCHRONIZE CACHE(10) with block 0 and length 0: that is the "
			  "whole unit, and what Linux sends",
		"refused: %s%s", scsi_sense_format(sense, &d->known.sync_sense),
		d->known.claims_cache ? ", with WCE 1"
		: d->known.knee       ? ", with a buffer to flush"
				      : "; allowed for a device without a cache, so that "
					"nothing was flushed here");
}

int probe_flush(struct desk *d)
{
	static const char mend[] =
		"answer SYNCHRONIZE CACHE (IMMED 0) only when the buffer is empty "
		"and the card is no longer busy";
	struct waits w = { 0 };
	char text[300];
	int rc;

	if (!d->scsi)
		return desk_report_no_scsi(d, PROMISE_ID_FLUSH);
	rc = measure(d, desk_sync, &w);
	if (rc < 0 || desk_stopped(d))
		return rc;
	if (d->known.sync_refused)
		return report_sync_refused(d);
	return desk_report(d, PROMISE_ID_FLUSH, judge(d, &w), w.busy.count, mend, "%s",
		describe(text, sizeof text, d, &w));
}

int probe_fsync(struct desk *d)
{
	static const char through[] =
		"claim the cache (WCE 1): the kernel sends no flush to a device "
		"that says it has none";
	static const char back[] = "see flush: the kernel's flush is SYNCHRONIZE CACHE";
	bool is_back = d->t->cache == MEDIUM_CACHE_WRITE_BACK, counted;
	struct medium_counts before, after;
	struct waits w = { 0 };
	char text[300], sent[80] = "";
	int rc;

	counted = medium_counts(d->m, &before) == 0;
	rc = measure(d, kernel_flush, &w);
	if (rc < 0 || desk_stopped(d))
		return rc;
	counted = counted && medium_counts(d->m, &after) == 0;
	if (counted)
		snprintf(sent, sizeof sent, "; it sent %llu flushes for %u fsyncs",
			(unsigned long long)(after.flushes - before.flushes), 2 * d->plan->repeats);
	return desk_report(d, PROMISE_ID_FSYNC, judge(d, &w), w.busy.count,
		is_back ? back : through, "%s; the kernel takes it for %s%s",
		describe(text, sizeof text, d, &w),
		is_back                               ? "write back"
		: d->t->cache == MEDIUM_CACHE_UNKNOWN ? "a file"
						      : "write through",
		sent);
}

/* As many requests as fit into the buffer, from idle. */
static int timed_run(struct desk *d, uint64_t requests, enum desk_way way, struct sample *rates)
{
	uint64_t began;
	int rc = desk_settle(d);

	began = medium_now_ns(d->m);
	for (uint64_t i = 0; i < requests && !rc && !desk_stopped(d); i++)
		rc = desk_write_next(d, d->request, way);
	if (!rc && medium_now_ns(d->m) > began)
		sample_add(rates, (double)(requests * d->request) /
					  desk_seconds(medium_now_ns(d->m) - began));
	return rc;
}

static enum promise_verdict judge_fua(
	const struct desk *d, const struct sample *fua, const struct sample *plain)
{
	const struct known *k = &d->known;
	double ahead = sample_median(plain) - k->drain_high;

	/* The runs must be told apart from the drain rate, and from each other. */
	if (!k->knee || fua->count < 3 || ahead < 0.1 * k->drain_high ||
		ahead < 2 * (sample_spread(plain) + k->drain_high - k->drain_low))
		return PROMISE_NOT_SHOWN;
	if (sample_median(fua) < k->drain_rate + 0.3 * ahead)
		return PROMISE_KEPT;
	if (sample_median(fua) > k->drain_high + 0.6 * ahead && k->confirmed)
		return PROMISE_BROKEN;
	return PROMISE_NOT_SHOWN;
}

int probe_fua(struct desk *d)
{
	static const char mend[] =
		"honour FUA (CDB byte 1 bit 3): wait until the card has this write; "
		"or do not claim DPOFUA, then the kernel flushes instead";
	struct sample fua = { 0 }, plain = { 0 };
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX], c[SIZE_TEXT_MAX];
	bool refused = false;
	uint64_t n;
	int rc = 0;

	if (!d->scsi)
		return desk_report_no_scsi(d, PROMISE_ID_FUA);
	if (!d->known.claims_fua)
		return desk_report(d, PROMISE_ID_FUA, desk_unasked(d, PROMISE_ID_FUA), 0, "",
			"FUA is not claimed (DPOFUA 0): the kernel sends a flush instead");
	n = (uint64_t)(d->known.buffer_bytes / d->request);
	n = n < 1 ? 1 : n > 64 ? 64 : n;
	for (unsigned i = 0; i < d->plan->repeats && rc >= 0 && !desk_stopped(d); i++) {
		rc = timed_run(d, n, DESK_FUA, &fua);
		/* A bad place of the card is no refusal of FUA. */
		refused = refused ||
			  (rc == DESK_REFUSED && d->last_sense.key == SENSE_ILLEGAL_REQUEST);
		if (rc >= 0)
			rc = timed_run(d, n, DESK_PLAIN, &plain);
	}
	if (rc < 0 || desk_stopped(d))
		return rc;
	if (refused && !fua.count)
		return desk_report(d, PROMISE_ID_FUA, PROMISE_BROKEN, 1,
			"accept FUA in WRITE(10), or do not claim DPOFUA",
			"DPOFUA is claimed, but a write with FUA is refused");
	return desk_report(d, PROMISE_ID_FUA, judge_fua(d, &fua, &plain), fua.count * n, mend,
		"from idle, %llu write%s at %s with FUA and at %s without%s%s",
		(unsigned long long)n, n == 1 ? " runs" : "s run",
		rate_format(a, sample_median(&fua)), rate_format(b, sample_median(&plain)),
		d->known.knee ? "; the card takes " : "; no write-behind was seen that would tell",
		d->known.knee ? rate_format(c, d->known.drain_rate) : "");
}
