/* Eject: refused while removal is prevented, empties the buffer before it returns, loses nothing. */
#include <stdio.h>

#include "audit/desk.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

enum { TIMED_EJECTS = 5 };

static const uint64_t ready_limit_ns = 30000000000;

static int start_stop(struct desk *d, bool start)
{
	struct scsi_exchange x;

	scsi_build_start_stop(&x, true, start);
	return desk_exchange(d, &x);
}

/* Loads again and waits until it is ready; DESK_REFUSED when it never is. */
static int await_ready(struct desk *d)
{
	uint64_t end = medium_now_ns(d->m) + ready_limit_ns;
	struct scsi_exchange x;
	int rc = start_stop(d, true);

	while (rc >= 0) {
		scsi_build_test_unit_ready(&x);
		rc = desk_exchange(d, &x);
		if (rc != DESK_REFUSED || medium_now_ns(d->m) > end || desk_stopped(d))
			return rc;
		desk_idle(d, 200000000);
	}
	return rc;
}

/* Only what is known to be the same medium is gone on with. */
static int load(struct desk *d)
{
	int rc = await_ready(d);

	return rc ? rc : medium_confirm(d->m);
}

static int eject(struct desk *d)
{
	medium_expect_change(d->m);
	return start_stop(d, false);
}

static int prevent(struct desk *d, bool on)
{
	struct scsi_exchange x;

	scsi_build_prevent_removal(&x, on);
	return desk_exchange(d, &x);
}

/* *heeded: 1 refused as it must be, 0 ejected all the same, -1 PREVENT is not known to it (allowed). */
static int try_prevented(struct desk *d, int *heeded)
{
	int rc = prevent(d, true);

	*heeded = -1;
	if (!rc)
		rc = desk_leave_marks(d);
	if (rc)
		return rc < 0 ? rc : 0;
	rc = eject(d);
	if (rc < 0)
		return rc;
	*heeded = rc == DESK_REFUSED;
	rc = prevent(d, false);
	if (rc >= 0)
		rc = *heeded ? medium_confirm(d->m) : load(d);
	return rc < 0 ? rc : 0;
}

/* It does not take the command, so it is where it was. */
static int refused(struct desk *d)
{
	int rc = medium_confirm(d->m);

	return rc < 0 ? rc : DESK_REFUSED;
}

/* Ejects after idle or after a burst; a model also loses power then, as a pulled plug would do. */
static int timed_eject(struct desk *d, bool burst, struct sample *s, struct desk_check *c)
{
	int rc = desk_leave_marks(d);

	if (!rc && burst)
		rc = desk_fill_buffer(d);
	if (!rc)
		rc = eject(d);
	if (rc)
		return rc < 0 ? rc : refused(d);
	sample_add(s, desk_seconds(d->last_ns));
	if (d->t->virtual_clock)
		rc = medium_replug(d->m, true);
	rc = rc ? rc : d->t->virtual_clock ? medium_confirm(d->m) : load(d);
	if (!rc && burst)
		rc = desk_check(d, 0, d->quiet_base, c);
	return rc;
}

static enum promise_verdict judge(const struct desk *d, const struct sample *idle,
	const struct sample *busy, const struct desk_check *c, int heeded)
{
	const struct known *k = &d->known;
	enum promise_verdict v = PROMISE_NOT_SHOWN;

	/* On a card that failed before, a write lost here may have been about to be reported; and what cannot be read may be
	 * there. */
	if (heeded == 0 || (c->wrong > c->unreadable && !d->errors_reported))
		return PROMISE_BROKEN;
	if (k->knee)
		v = sample_judge_wait(
			busy, idle, k->buffer_low / k->drain_high, k->buffer_bytes / k->drain_rate);
	if (v == PROMISE_BROKEN && !k->confirmed)
		return PROMISE_NOT_SHOWN;
	/* Power was really gone: nothing missing then is proof enough. */
	return v == PROMISE_NOT_SHOWN && d->t->virtual_clock && c->judged && !c->wrong
		       ? PROMISE_KEPT
		       : v;
}

static int report(struct desk *d, const struct sample *idle, const struct sample *busy,
	const struct desk_check *c, int heeded)
{
	static const char mend[] =
		"on START STOP UNIT with LOEJ: refuse with 53/02 while removal is "
		"prevented, else empty the buffer before the answer";
	char text[200], a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];

	desk_pass_over_errors(d); /* the kernel may have asked a drive without a medium */
	return desk_report(d, PROMISE_ID_EJECT, judge(d, idle, busy, c, heeded), busy->count, mend,
		"%s after a burst, %s after idle; %s after %s; %s",
		duration_format(a, sample_median(busy)), duration_format(b, sample_median(idle)),
		desk_check_format(text, sizeof text, c),
		d->t->virtual_clock ? "a power cut right then" : "loading it again",
		heeded < 0 ? "PREVENT is not known to it"
		: heeded   ? "refused while removal was prevented"
			   : "it ejected although removal was prevented");
}

int probe_eject(struct desk *d)
{
	struct sample idle = { 0 }, busy = { 0 };
	struct desk_check c = { 0 };
	int heeded, rc;

	if (!d->scsi && d->plan->with_eject)
		return desk_report_no_scsi(d, PROMISE_ID_EJECT);
	if (!d->plan->with_eject)
		return desk_report(d, PROMISE_ID_EJECT, desk_unasked(d, PROMISE_ID_EJECT), 0, "",
			"not asked for: --with-eject sends START STOP UNIT");
	rc = try_prevented(d, &heeded);
	for (int i = 0; i < TIMED_EJECTS && !rc && !desk_stopped(d); i++) {
		rc = timed_eject(d, false, &idle, &c);
		if (!rc)
			rc = timed_eject(d, true, &busy, &c);
	}
	if (rc < 0 || desk_stopped(d))
		return rc;
	if (rc)
		return desk_report(d, PROMISE_ID_EJECT, PROMISE_NOT_SHOWN, 0, "",
			"it %s; plug it in again and read it back with 'blkassay verify'",
			busy.count || idle.count ? "did not come back after an eject"
						 : "does not take START STOP UNIT with eject");
	return report(d, &idle, &busy, &c, heeded);
}
