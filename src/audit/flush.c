/* Do flushes and FUA take the time that storing takes? A flush that returns before the backlog can have drained has not
 * stored it. */
#include <errno.h>
#include <math.h>
#include <stdio.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"
#include "base/text.h"
#include "medium/command_times.h"

enum { SHORT_BYTES = 4096 };

/* Flushes after idle and after a burst, and how long such a burst takes after the one and after the other. */
struct waits {
	struct sample idle, busy; /* by the host's clock; where the bus showed all of them, there */
	struct sample idle_on_bus, busy_on_bus;
	struct sample taken, answered; /* busy ones on the bus: until the command, its status */
	struct sample burst, burst_after; /* from idle; right after a flush */
	/* models: what must be there after power cuts right at the answer */
	struct probe_check cut;
	unsigned flushes, seen, passed; /* all; watched with nothing lost; which passed the bus */
	bool on_bus;
};

/* What somebody on the bus sees of a flush. By SG_IO one was sent for certain: if none passed, that bus is another one. Where it was
 * asked for again, what lay between is of the wait, and in none of its commands. */
static void note_on_bus(struct waits *w, const struct command_sum *sum, bool busy, bool sent)
{
	w->flushes++;
	if (!sum->seen || sum->commands > 1 || (sent && !sum->commands))
		return;
	w->seen++;
	w->passed += sum->commands > 0;
	sample_add(busy ? &w->busy_on_bus : &w->idle_on_bus,
		context_seconds(command_sum_wait_ns(sum)));
	if (!busy)
		return;
	sample_add(&w->taken, context_seconds(sum->ns[PHASE_COMMAND]));
	sample_add(&w->answered, context_seconds(sum->ns[PHASE_STATUS]));
}

static int kernel_flush(struct probe_context *pc)
{
	uint64_t began = medium_now_ns(pc->m);
	int rc = medium_flush(pc->m);

	pc->last_ns = medium_since_ns(pc->m, began);
	return context_is_error_answer(rc) ? PROBE_REFUSED : rc;
}

typedef int flush_call(struct probe_context *pc);

static int timed_flush(struct probe_context *pc, flush_call *flush, struct waits *w, bool busy)
{
	struct command_sum sum = { .seen = false };
	int rc;

	if (pc->hooks->bus)
		pc->hooks->bus->begin(pc->hooks->bus->context, DEED_FLUSH);
	rc = flush(pc);
	if (pc->hooks->bus)
		pc->hooks->bus->end(pc->hooks->bus->context, &sum);
	/* One that was refused has stored nothing for certain, however long it took. */
	if (rc)
		return rc;
	note_on_bus(w, &sum, busy, flush != kernel_flush);
	sample_add(busy ? &w->busy : &w->idle, context_seconds(pc->last_ns));
	return 0;
}

/* One that runs into a full buffer, but is not much longer: what it finds there shows best. */
static uint64_t short_burst(const struct probe_context *pc)
{
	const struct known *k = &pc->known;
	double ahead = k->head_rate > 1.05 * k->drain_rate
			       ? k->buffer_high * k->head_rate / (k->head_rate - k->drain_rate)
			       : 0;
	uint64_t n = (uint64_t)(1.5 * ahead / pc->request) + 1;

	return n < k->burst_bytes / pc->request ? n : k->burst_bytes / pc->request;
}

static int timed_burst(struct probe_context *pc, struct sample *s)
{
	uint64_t began = medium_now_ns(pc->m);
	int rc = 0;

	if (!pc->known.knee)
		return 0;
	for (uint64_t n = short_burst(pc); n && !rc && !context_stopped(pc); n--)
		rc = context_write_next(pc, pc->request, PROBE_PLAIN);
	if (!rc)
		sample_add(s, context_seconds(medium_since_ns(pc->m, began)));
	return rc < 0 ? rc : 0;
}

/* The host's part is no wait for the device: a flush that it answered at once stored nothing, whenever the host noticed. */
static void prefer_bus(struct waits *w)
{
	w->on_bus = w->flushes && w->seen == w->flushes;
	if (!w->on_bus)
		return;
	w->idle = w->idle_on_bus;
	w->busy = w->busy_on_bus;
}

static int measure(struct probe_context *pc, flush_call *flush, struct waits *w)
{
	int rc = 0;

	for (unsigned i = 0; i < pc->plan->repeats && rc >= 0 && !context_stopped(pc); i++) {
		rc = context_settle(pc);
		if (!rc)
			rc = timed_flush(pc, flush, w, false);
		rc = rc < 0 ? rc : timed_burst(pc, &w->burst);
		if (!rc)
			rc = context_fill_buffer(pc);
		if (!rc)
			rc = timed_flush(pc, flush, w, true);
		if (!rc)
			rc = timed_burst(pc, &w->burst_after);
	}
	prefer_bus(w);
	return rc < 0 ? rc : 0;
}

static double wait_of(const struct waits *w)
{
	return sample_median(&w->busy) - sample_median(&w->idle);
}

/* What a flush left in the buffer makes the next burst wait so much longer. */
static double left_of(const struct waits *w)
{
	return w->burst_after.count < 3 || w->burst.count < 3
		       ? 0
		       : sample_median(&w->burst_after) - sample_median(&w->burst);
}

static bool leaves_some(const struct waits *w)
{
	return left_of(w) > sample_resolution(&w->burst);
}

/* What lies in the buffer makes a burst so much longer, as far as it does not drain while it is written. */
static double longer_for(const struct known *k, double bytes)
{
	double drained = k->head_rate > k->drain_rate ? bytes / k->head_rate : 0;

	return bytes / k->drain_rate - drained;
}

static bool leftovers_show(
	const struct known *k, const struct sample *idle, const struct sample *behind)
{
	double longer = sample_median(behind) - sample_median(idle);

	return behind->count >= 3 && longer > 2 * sample_resolution(idle) &&
	       longer > 0.5 * longer_for(k, k->leftover_bytes) &&
	       longer < 2 * k->leftover_bytes / k->drain_rate;
}

/* Do leftovers show at all? Asked once, of the gadget rather than of a flush. As few requests as should are left on purpose.
 * Where a full buffer is emptied at one go, for one, none do. */
static int leave_some(struct probe_context *pc, const struct waits *w)
{
	struct known *known = &pc->known;
	struct sample behind = { 0 };
	double each = longer_for(known, pc->request), floor = 3 * sample_resolution(&w->burst);
	double n = each > 0 && w->burst.count >= 3 ? ceil(floor / each) : 0;
	int rc = 0;

	if (known->leftover_bytes > 0 || !known->knee || n < 1 ||
		n * pc->request > known->buffer_low)
		return 0;
	known->leftover_bytes = n * pc->request;
	for (unsigned i = 0; i < pc->plan->repeats && !rc && !context_stopped(pc); i++) {
		rc = context_settle(pc);
		for (double k = 0; k < n && !rc; k++)
			rc = context_write_next(pc, pc->request, PROBE_PLAIN);
		if (!rc)
			rc = timed_burst(pc, &behind);
	}
	known->leftovers_show = leftovers_show(known, &w->burst, &behind);
	return rc < 0 ? rc : 0;
}

/* What can be done besides timing flushes. */
static int look_closer(struct probe_context *pc, flush_call *flush, struct waits *w)
{
	int rc = leave_some(pc, w);

	for (int i = 0; i < PROBE_FLUSH_CUTS && pc->t->virtual_clock && !rc && !context_stopped(pc);
		i++)
		rc = probe_cut_after(pc, i % 2, flush, &w->cut);
	return rc < 0 ? rc : 0;
}

static double backlog_of(const struct known *k)
{
	return k->buffer_bytes / k->drain_rate;
}

/* What it left is what it came too early by: two clocks that agree. */
static bool left_the_rest(const struct known *k, const struct waits *w)
{
	double all = backlog_of(k), early = all - wait_of(w), left = left_of(w);

	return leaves_some(w) && early > 0.15 * all && left > 0.5 * early && left < 2 * early;
}

static enum promise_verdict judge(const struct probe_context *pc, const struct waits *w)
{
	const struct known *k = &pc->known;
	enum promise_verdict v;

	if (!k->knee)
		return PROMISE_NOT_SHOWN;
	v = sample_judge_wait(&w->busy, &w->idle, k->buffer_low / k->drain_high, backlog_of(k));
	if (v != PROMISE_BROKEN && left_the_rest(k, w))
		v = PROMISE_BROKEN;
	/* It waited for all, and yet: a card may be slower right after a flush, but a buffer may also be full. */
	if (v == PROMISE_KEPT && leaves_some(w))
		v = PROMISE_NOT_SHOWN;
	/* Was it this flush, or the card that forgot? The line of the power cuts says the rest. */
	if (v == PROMISE_KEPT && w->cut.wrong)
		v = PROMISE_NOT_SHOWN;
	/* Without a second witness the curve may be the card's, not the firmware's. */
	return v == PROMISE_BROKEN && !k->confirmed ? PROMISE_NOT_SHOWN : v;
}

static void describe_bus(
	char *out, size_t room, const struct probe_context *pc, const struct waits *w)
{
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	if (!pc->hooks->bus || !w->flushes)
		*out = 0;
	else if (!w->on_bus)
		snprintf(out, room,
			" by the host's clock (the bus did not show %u of these %u flushes)",
			w->flushes - w->seen, w->flushes);
	else if (!w->passed)
		snprintf(out, room, "; no SYNCHRONIZE CACHE passed the bus");
	else
		snprintf(out, room, " on the bus (taken after %s, its status %s%s)",
			duration_format(a, sample_median(&w->taken)),
			sample_median(&w->answered) > 0
				? duration_format(b, sample_median(&w->answered))
				: "at once",
			sample_median(&w->answered) > 0 ? " later" : "");
}

/* What a burst right after the flush tells. */
static void describe_rest(
	char *out, size_t room, const struct probe_context *pc, const struct waits *w)
{
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	*out = 0;
	if (w->burst_after.count < 3)
		return;
	if (leaves_some(w))
		snprintf(out, room, "; a burst right after it takes %s longer than from idle",
			duration_format(a, left_of(w)));
	else if (pc->known.leftovers_show &&
		 longer_for(&pc->known, pc->known.leftover_bytes) > sample_resolution(&w->burst))
		snprintf(out, room,
			"; a burst right after it runs as from idle (%s left on purpose shows)",
			size_format_decimal(b, pc->known.leftover_bytes));
	else
		snprintf(out, room, "; what it may have left in the buffer would not show here");
}

static void describe_cuts(char *out, size_t room, const struct waits *w)
{
	char text[200];

	*out = 0;
	if (w->cut.wrong)
		snprintf(out, room, "; but power cuts right after it: %s",
			probe_check_format(text, sizeof text, &w->cut));
	else if (w->cut.judged)
		snprintf(out, room, "; power cuts right after it lost nothing");
}

static const char *describe(
	char *out, size_t room, const struct probe_context *pc, const struct waits *w)
{
	const struct known *k = &pc->known;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX], c[SIZE_TEXT_MAX], d[SIZE_TEXT_MAX], bus[160],
		rest[160], cuts[260];

	if (!w->busy.count) {
		snprintf(out, room, "it was refused every time");
		return out;
	}
	duration_format(a, sample_median(&w->busy));
	duration_format(b, sample_median(&w->idle));
	describe_bus(bus, sizeof bus, pc, w);
	describe_rest(rest, sizeof rest, pc, w);
	describe_cuts(cuts, sizeof cuts, w);
	if (k->knee)
		snprintf(out, room,
			"%s%s after a burst of %s that fills the buffer, %s when idle; the backlog "
			"takes %s to store%s%s",
			a, bus, size_format_decimal(d, (double)k->burst_bytes), b,
			duration_format(c, backlog_of(k)), rest, cuts);
	else
		snprintf(out, room,
			"%s%s after a burst, %s when idle; no backlog long enough to tell could be "
			"built up%s",
			a, bus, b, cuts);
	return out;
}

static int report_sync_refused(struct probe_context *pc)
{
	bool unknown = pc->known.sync_sense.code == SENSE_INVALID_OPCODE;
	char sense[SCSI_SENSE_TEXT_MAX];

	return context_report(pc, PROMISE_ID_FLUSH,
		pc->known.claims_cache || (pc->known.knee && pc->known.confirmed)
			? PROMISE_BROKEN
			: context_unasked(pc, PROMISE_ID_FLUSH),
		1,
		unknown ? "implement SYNCHRONIZE CACHE(10): Linux takes the refusal for success"
			: "accept SYNCHRONIZE CACHE(10) with block 0 and length 0: that is the "
			  "whole unit, and what Linux sends",
		"refused: %s%s", scsi_sense_format(sense, &pc->known.sync_sense),
		pc->known.claims_cache ? ", with WCE 1"
		: pc->known.knee       ? ", with a buffer to flush"
				       : "; allowed for a device without a cache, so that "
					 "nothing was flushed here");
}

int probe_flush(struct probe_context *pc)
{
	static const char mend[] =
		"answer SYNCHRONIZE CACHE (IMMED 0) only when the buffer is empty "
		"and the card is no longer busy";
	struct waits w = { 0 };
	char text[900];
	int rc;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_FLUSH);
	rc = measure(pc, context_sync, &w);
	if (!rc && !pc->known.sync_refused)
		rc = look_closer(pc, context_sync, &w);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (pc->known.sync_refused)
		return report_sync_refused(pc);
	pc->known.flush_kept = judge(pc, &w) == PROMISE_KEPT;
	return context_report(pc, PROMISE_ID_FLUSH, judge(pc, &w), w.busy.count, mend, "%s",
		describe(text, sizeof text, pc, &w));
}

int probe_fsync(struct probe_context *pc)
{
	static const char through[] =
		"claim the cache (WCE 1): the kernel sends no flush to a device "
		"that says it has none";
	static const char back[] = "see flush: the kernel's flush is SYNCHRONIZE CACHE";
	bool is_back = pc->t->cache == MEDIUM_CACHE_WRITE_BACK, counted;
	struct medium_counts before, after;
	struct waits w = { 0 };
	char text[900], sent[80] = "";
	int rc;

	counted = medium_counts(pc->m, &before) == 0;
	rc = measure(pc, kernel_flush, &w);
	counted = counted && medium_counts(pc->m, &after) == 0;
	if (!rc)
		rc = look_closer(pc, kernel_flush, &w);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (counted)
		snprintf(sent, sizeof sent, "; it sent %llu flush%s for %u fsyncs",
			(unsigned long long)(after.flushes - before.flushes),
			text_plural_es(after.flushes - before.flushes), 2 * pc->plan->repeats);
	return context_report(pc, PROMISE_ID_FSYNC, judge(pc, &w), w.busy.count,
		is_back ? back : through, "%s; the kernel treats it as %s%s",
		describe(text, sizeof text, pc, &w),
		is_back                                ? "write back"
		: pc->t->cache == MEDIUM_CACHE_UNKNOWN ? "a file"
						       : "write through",
		sent);
}

/* Writes of one size with FUA and without, from idle: as many as fit into the buffer. */
struct fua_run {
	uint32_t request;
	uint64_t n;
	struct sample fua, plain; /* B/s */
	bool refused;
};

static int timed_run(
	struct probe_context *pc, const struct fua_run *f, enum probe_way way, struct sample *rates)
{
	uint64_t began;
	int rc = context_settle(pc);

	began = medium_now_ns(pc->m);
	for (uint64_t i = 0; i < f->n && !rc && !context_stopped(pc); i++)
		rc = context_write_next(pc, f->request, way);
	if (!rc && medium_now_ns(pc->m) > began)
		sample_add(rates, (double)(f->n * f->request) /
					  context_seconds(medium_since_ns(pc->m, began)));
	return rc;
}

static int run_fua(struct probe_context *pc, struct fua_run *f, uint32_t request)
{
	int rc = 0;

	f->request = request;
	f->n = (uint64_t)(pc->known.buffer_bytes / request);
	f->n = f->n < 1 ? 1 : f->n > PROBE_REQUESTS ? PROBE_REQUESTS : f->n;
	for (unsigned i = 0; i < pc->plan->repeats && rc >= 0 && !context_stopped(pc); i++) {
		rc = timed_run(pc, f, PROBE_FUA, &f->fua);
		/* A bad place of the card is no refusal of FUA. */
		f->refused = f->refused ||
			     (rc == PROBE_REFUSED && pc->last_sense.key == SENSE_ILLEGAL_REQUEST);
		if (rc >= 0)
			rc = timed_run(pc, f, PROBE_PLAIN, &f->plain);
	}
	return rc;
}

static enum promise_verdict judge_fua(const struct probe_context *pc, const struct fua_run *f)
{
	const struct known *k = &pc->known;
	double ahead = sample_median(&f->plain) - k->drain_high;

	/* The runs must be told apart from the drain rate, and from each other. */
	if (!k->knee || f->fua.count < 3 || ahead < 0.1 * k->drain_high ||
		ahead < 2 * (sample_spread(&f->plain) + k->drain_high - k->drain_low))
		return PROMISE_NOT_SHOWN;
	if (sample_median(&f->fua) < k->drain_rate + 0.3 * ahead)
		return PROMISE_KEPT;
	if (sample_median(&f->fua) > k->drain_high + 0.6 * ahead && k->confirmed)
		return PROMISE_BROKEN;
	return PROMISE_NOT_SHOWN;
}

/* Short writes too, as journals of file systems are. No card takes them faster than long ones: but what they take on their way may
 * hide that, and then the long ones have to do. */
static enum promise_verdict judge_both(
	const struct probe_context *pc, const struct fua_run *longer, const struct fua_run *shorter)
{
	enum promise_verdict one = judge_fua(pc, longer);

	return shorter->n && judge_fua(pc, shorter) == PROMISE_BROKEN ? PROMISE_BROKEN : one;
}

static void describe_fua(
	char *out, size_t room, const struct probe_context *pc, const struct fua_run *f)
{
	char size[SIZE_TEXT_MAX], a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];
	bool told = judge_fua(pc, f) != PROMISE_NOT_SHOWN;

	*out = 0;
	if (f->n)
		snprintf(out, room, "%llu write%s of %s at %s with FUA and at %s without%s",
			(unsigned long long)f->n, f->n == 1 ? "" : "s",
			size_format(size, f->request), rate_format(a, sample_median(&f->fua)),
			rate_format(b, sample_median(&f->plain)),
			!told && pc->known.knee ? " (too alike to tell)" : "");
}

int probe_fua(struct probe_context *pc)
{
	static const char mend[] =
		"honour FUA (CDB byte 1 bit 3): wait until the card has this write; "
		"or do not claim DPOFUA, then the kernel flushes instead";
	struct fua_run longer = { 0 }, shorter = { 0 };
	uint32_t small = pc->unit > SHORT_BYTES ? pc->unit : SHORT_BYTES;
	char rate[SIZE_TEXT_MAX], one[200], two[200];
	int rc;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_FUA);
	if (!pc->known.claims_fua)
		return context_report(pc, PROMISE_ID_FUA, context_unasked(pc, PROMISE_ID_FUA), 0,
			"", "FUA is not claimed (DPOFUA 0): the kernel sends a flush instead");
	rc = run_fua(pc, &longer, pc->request);
	if (rc >= 0 && pc->request > small && longer.fua.count)
		rc = run_fua(pc, &shorter, small);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (longer.refused && !longer.fua.count)
		return context_report(pc, PROMISE_ID_FUA, PROMISE_BROKEN, 1,
			"accept FUA in WRITE(10), or do not claim DPOFUA",
			"DPOFUA is claimed, but a write with FUA is refused");
	describe_fua(one, sizeof one, pc, &longer);
	describe_fua(two, sizeof two, pc, &shorter);
	return context_report(pc, PROMISE_ID_FUA, judge_both(pc, &longer, &shorter),
		longer.fua.count * longer.n + shorter.fua.count * shorter.n, mend,
		"from idle, %s%s%s%s%s", one, *two ? "; " : "", two,
		pc->known.knee ? "; the card takes "
			       : "; no write-behind was seen by which to tell",
		pc->known.knee ? rate_format(rate, pc->known.drain_rate) : "");
}
