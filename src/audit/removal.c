/* Eject: refused while removal is prevented, empties the buffer before it returns, loses nothing. */
#include <stdio.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

enum { TIMED_EJECTS = 5 };

static const uint64_t ready_limit_ns = 30000000000;

static int start_stop(struct probe_context *pc, bool start)
{
	struct scsi_exchange x;

	scsi_build_start_stop(&x, true, start);
	return context_exchange(pc, &x);
}

/* Loads again and waits until it is ready; PROBE_REFUSED when it never is. */
static int await_ready(struct probe_context *pc)
{
	uint64_t end = medium_now_ns(pc->m) + ready_limit_ns;
	struct scsi_exchange x;
	int rc = start_stop(pc, true);

	while (rc >= 0) {
		scsi_build_test_unit_ready(&x);
		rc = context_exchange(pc, &x);
		if (rc != PROBE_REFUSED || medium_now_ns(pc->m) > end || context_stopped(pc))
			return rc;
		context_idle(pc, 200000000);
	}
	return rc;
}

/* Only what is known to be the same medium is gone on with. */
static int load(struct probe_context *pc)
{
	int rc = await_ready(pc);

	return rc ? rc : medium_confirm(pc->m);
}

static int eject(struct probe_context *pc)
{
	medium_expect_change(pc->m);
	return start_stop(pc, false);
}

static int prevent(struct probe_context *pc, bool on)
{
	struct scsi_exchange x;

	scsi_build_prevent_removal(&x, on);
	return context_exchange(pc, &x);
}

/* *heeded: 1 refused as it must be, 0 ejected all the same, -1 PREVENT is not known to it (allowed). */
static int try_prevented(struct probe_context *pc, int *heeded)
{
	int rc = prevent(pc, true);

	*heeded = -1;
	if (!rc)
		rc = context_leave_marks(pc);
	if (rc)
		return rc < 0 ? rc : 0;
	rc = eject(pc);
	if (rc < 0)
		return rc;
	*heeded = rc == PROBE_REFUSED;
	rc = prevent(pc, false);
	if (rc >= 0)
		rc = *heeded ? medium_confirm(pc->m) : load(pc);
	return rc < 0 ? rc : 0;
}

/* It does not take the command, so it is where it was. */
static int refused(struct probe_context *pc)
{
	int rc = medium_confirm(pc->m);

	return rc < 0 ? rc : PROBE_REFUSED;
}

/* Ejects after idle or after a burst; a model also loses power then, as a pulled plug would do. */
static int timed_eject(
	struct probe_context *pc, bool burst, struct sample *s, struct probe_check *c)
{
	int rc = context_leave_marks(pc);

	if (!rc && burst)
		rc = context_fill_buffer(pc);
	if (!rc)
		rc = eject(pc);
	if (rc)
		return rc < 0 ? rc : refused(pc);
	sample_add(s, context_seconds(pc->last_ns));
	if (pc->t->virtual_clock)
		rc = medium_replug(pc->m, true);
	rc = rc ? rc : pc->t->virtual_clock ? medium_confirm(pc->m) : load(pc);
	if (!rc && burst)
		rc = context_check(pc, 0, pc->quiet_base, c);
	return rc;
}

static enum promise_verdict judge(const struct probe_context *pc, const struct sample *idle,
	const struct sample *busy, const struct probe_check *c, int heeded)
{
	const struct known *k = &pc->known;
	enum promise_verdict v = PROMISE_NOT_SHOWN;

	/* On a card that failed before, a write lost here may have been about to be reported; and what cannot be read may be
	 * there. */
	if (heeded == 0 || (c->wrong > c->unreadable && !pc->errors_reported))
		return PROMISE_BROKEN;
	if (k->knee)
		v = sample_judge_wait(
			busy, idle, k->buffer_low / k->drain_high, k->buffer_bytes / k->drain_rate);
	if (v == PROMISE_BROKEN && !k->confirmed)
		return PROMISE_NOT_SHOWN;
	/* Power was really gone: nothing missing then is proof enough. */
	return v == PROMISE_NOT_SHOWN && pc->t->virtual_clock && c->judged && !c->wrong
		       ? PROMISE_KEPT
		       : v;
}

static int report(struct probe_context *pc, const struct sample *idle, const struct sample *busy,
	const struct probe_check *c, int heeded)
{
	static const char mend[] =
		"on START STOP UNIT with LOEJ: refuse with 53/02 while removal is "
		"prevented, else empty the buffer before the answer";
	char text[200], a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	context_pass_over_errors(pc); /* the kernel may have asked a drive without a medium */
	return context_report(pc, PROMISE_ID_EJECT, judge(pc, idle, busy, c, heeded), busy->count,
		mend, "%s after a burst, %s when idle; %s after %s; %s",
		duration_format(a, sample_median(busy)), duration_format(b, sample_median(idle)),
		probe_check_format(text, sizeof text, c),
		pc->t->virtual_clock ? "a power cut right then" : "loading it again",
		heeded < 0 ? "it does not know PREVENT"
		: heeded   ? "refused while removal was prevented"
			   : "it ejected although removal was prevented");
}

int probe_eject(struct probe_context *pc)
{
	struct sample idle = { 0 }, busy = { 0 };
	struct probe_check c = { 0 };
	int heeded, rc;

	if (!pc->scsi && pc->plan->with_eject)
		return context_report_no_scsi(pc, PROMISE_ID_EJECT);
	if (!pc->plan->with_eject)
		return context_report(pc, PROMISE_ID_EJECT, context_unasked(pc, PROMISE_ID_EJECT),
			0, "", "not asked about: --with-eject sends START STOP UNIT");
	rc = try_prevented(pc, &heeded);
	for (int i = 0; i < TIMED_EJECTS && !rc && !context_stopped(pc); i++) {
		rc = timed_eject(pc, false, &idle, &c);
		if (!rc)
			rc = timed_eject(pc, true, &busy, &c);
	}
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (rc)
		return context_report(pc, PROMISE_ID_EJECT, PROMISE_NOT_SHOWN, 0, "",
			"it %s; plug it in again and read it back with 'blkassay verify'",
			busy.count || idle.count ? "did not come back after an eject"
						 : "does not take START STOP UNIT with eject");
	return report(pc, &idle, &busy, &c, heeded);
}
