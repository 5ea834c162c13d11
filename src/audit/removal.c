/* Eject: refused while removal is prevented, empties the buffer before it returns, loses nothing, and leaves no medium. */
#include <errno.h>
#include <stdio.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "audit/sample.h"
#include "base/size.h"

enum { TIMED_EJECTS = 5, PREVENT_TRIES = 2 };

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
	int rc = start_stop(pc, true);

	while (rc >= 0) {
		rc = context_test_unit_ready(pc);
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

/* What became of an eject while removal was prevented. */
enum heed {
	EJECTED_ANYWAY,
	HEEDED, /* refused, as it must be */
	PREVENT_UNKNOWN, /* it does not know the command, which is allowed */
	PREVENT_LOST, /* no answer came */
};

/* Where the answer does not come, the host resets the device: it may as well be another one then. */
static int ask_to_prevent(struct probe_context *pc, enum heed *heed)
{
	int rc = 0;

	for (int tries = 0; tries < PREVENT_TRIES && !rc; tries++) {
		rc = context_leave_marks(pc);
		if (!rc) {
			medium_expect_change(pc->m);
			rc = prevent(pc, true);
			if (!rc)
				return 0;
		}
		*heed = pc->host_failed ? PREVENT_LOST : PREVENT_UNKNOWN;
		if (rc == PROBE_REFUSED)
			rc = medium_confirm(pc->m);
		if (*heed == PREVENT_UNKNOWN)
			break;
	}
	return rc < 0 ? rc : PROBE_REFUSED;
}

static int try_prevented(struct probe_context *pc, enum heed *heed)
{
	int rc = ask_to_prevent(pc, heed);

	if (rc)
		return rc < 0 ? rc : 0;
	rc = start_stop(pc, false);
	if (rc < 0)
		return rc;
	*heed = rc == PROBE_REFUSED ? HEEDED : EJECTED_ANYWAY;
	rc = prevent(pc, false);
	if (rc >= 0)
		rc = *heed == HEEDED ? medium_confirm(pc->m) : load(pc);
	return rc < 0 ? rc : 0;
}

/* It does not take the command, so it is where it was. */
static int refused(struct probe_context *pc)
{
	int rc = medium_confirm(pc->m);

	return rc < 0 ? rc : PROBE_REFUSED;
}

struct ejects {
	struct sample idle, busy; /* seconds */
	struct probe_check check;
	unsigned lossy, lossy_bursts; /* ejects that lost something; bursts that did without one */
	uint64_t gone, there; /* answers to TEST UNIT READY right after: no medium; ready */
	bool other_known; /* anything else: the last one */
	struct scsi_sense other;
};

/* Until it is loaded again there is no medium: 02/3A (SPC-4, TEST UNIT READY). */
static int look_for_medium(struct probe_context *pc, struct ejects *e)
{
	int rc = context_test_unit_ready(pc);

	if (rc < 0)
		return rc;
	if (!rc)
		e->there++;
	else if (!pc->host_failed && scsi_sense_identity(&pc->last_sense) == -ENOMEDIUM)
		e->gone++;
	else {
		e->other_known = true;
		e->other = pc->last_sense;
	}
	return 0;
}

static int check_burst(struct probe_context *pc, struct probe_check *c, unsigned *lossy)
{
	uint64_t before = c->wrong - c->unreadable;
	int rc = context_check(pc, 0, pc->quiet_base, c);

	*lossy += c->wrong - c->unreadable > before;
	return rc;
}

/* Ejects after idle or after a burst; a model also loses power then, as a pulled plug would do. */
static int timed_eject(struct probe_context *pc, bool burst, struct ejects *e)
{
	int rc = context_leave_marks(pc);

	if (!rc && burst)
		rc = context_fill_buffer(pc);
	if (!rc)
		rc = eject(pc);
	if (rc)
		return rc < 0 ? rc : refused(pc);
	sample_add(burst ? &e->busy : &e->idle, context_seconds(pc->last_ns));
	rc = look_for_medium(pc, e);
	if (!rc && pc->t->virtual_clock)
		rc = medium_replug(pc->m, true);
	rc = rc ? rc : pc->t->virtual_clock ? medium_confirm(pc->m) : load(pc);
	return !rc && burst ? check_burst(pc, &e->check, &e->lossy) : rc;
}

/* As many bursts without an eject: what these lose too was not lost by ejects. */
static int try_without(struct probe_context *pc, struct ejects *e)
{
	struct probe_check c = { 0 };
	int rc = 0;

	for (int i = 0; i < TIMED_EJECTS && !rc && !context_stopped(pc); i++) {
		rc = context_fill_buffer(pc);
		if (!rc)
			rc = context_settle(pc);
		if (!rc)
			rc = check_burst(pc, &c, &e->lossy_bursts);
	}
	return rc;
}

/* Ejects lost what bursts without one did not: 4 of 5 against none of 5 is chance in one of 40 (5/210, Fisher's exact test). */
static bool loses(const struct ejects *e)
{
	return e->lossy + 1 >= TIMED_EJECTS && !e->lossy_bursts;
}

static enum promise_verdict judge(
	const struct probe_context *pc, const struct ejects *e, enum heed heed, bool lost_before)
{
	const struct probe_check *c = &e->check;
	const struct known *k = &pc->known;
	enum promise_verdict v = PROMISE_NOT_SHOWN;

	/* On a card that failed before, a write lost here may have been about to be reported; and what cannot be read may be
	 * there. */
	if (heed == EJECTED_ANYWAY || (loses(e) && !lost_before && !pc->errors_reported))
		return PROMISE_BROKEN;
	if (k->knee)
		v = sample_judge_wait(&e->busy, &e->idle, k->buffer_low / k->drain_high,
			k->buffer_bytes / k->drain_rate);
	if (v == PROMISE_BROKEN && !k->confirmed)
		return PROMISE_NOT_SHOWN;
	if (v == PROMISE_KEPT && c->wrong > c->unreadable)
		return PROMISE_NOT_SHOWN;
	/* Power was really gone: nothing missing then is proof enough. */
	return v == PROMISE_NOT_SHOWN && pc->t->virtual_clock && c->judged && !c->wrong
		       ? PROMISE_KEPT
		       : v;
}

static const char *heed_words(const struct probe_context *pc, enum heed heed)
{
	switch (heed) {
	case EJECTED_ANYWAY:
		return "it ejected although removal was prevented";
	case PREVENT_UNKNOWN:
		return "it does not know PREVENT";
	case PREVENT_LOST:
		return "PREVENT was not answered";
	case HEEDED:
		break;
	}
	return pc->t->marked_removable
		       ? "refused while removal was prevented; if the card can be pulled all the "
			 "same, PREVENT had better be refused with 05/20/00, as some hosts look "
			 "for no other card after it is accepted"
		       : "refused while removal was prevented";
}

static int report_eject(
	struct probe_context *pc, const struct ejects *e, enum heed heed, bool lost_before)
{
	static const char mend[] =
		"on START STOP UNIT with LOEJ: refuse with 53/02 while removal is "
		"prevented, else empty the buffer before the answer";
	const struct probe_check *c = &e->check;
	char text[200], a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];
	bool wrong = c->wrong > c->unreadable;

	return context_report(pc, PROMISE_ID_EJECT, judge(pc, e, heed, lost_before), e->busy.count,
		mend, "%s after a burst, %s when idle; %s after %s%s; %s",
		duration_format(a, sample_median(&e->busy)),
		duration_format(b, sample_median(&e->idle)),
		probe_check_format(text, sizeof text, c),
		pc->t->virtual_clock ? "a power cut right then" : "loading it again",
		!wrong                           ? ""
		: lost_before || e->lossy_bursts ? ", and others without an eject"
						 : ", none without an eject",
		heed_words(pc, heed));
}

static int report_ejected(struct probe_context *pc, const struct ejects *e)
{
	static const char mend[] =
		"after START STOP UNIT with LOEJ answer TEST UNIT READY with NOT READY, 3A/00, "
		"until it is loaded or another card is put in";
	char other[SCSI_SENSE_TEXT_MAX];

	return context_report(pc, PROMISE_ID_EJECTED,
		e->there                     ? PROMISE_BROKEN
		: e->gone && !e->other_known ? PROMISE_KEPT
					     : PROMISE_NOT_SHOWN,
		e->there + e->gone, mend,
		"right after %llu ejects TEST UNIT READY said that there is no medium, after %llu "
		"that it is ready%s%s",
		(unsigned long long)e->gone, (unsigned long long)e->there,
		e->other_known ? "; it also said: " : "",
		!e->other_known  ? ""
		: e->other.valid ? scsi_sense_format(other, &e->other)
				 : "nothing of a known form");
}

/* Both lines alike. */
static int report_both(struct probe_context *pc, enum promise_verdict v, const char *why)
{
	int rc = context_report(pc, PROMISE_ID_EJECT, v, 0, "", "%s", why);

	return rc ? rc : context_report(pc, PROMISE_ID_EJECTED, v, 0, "", "%s", why);
}

static int report_unasked(struct probe_context *pc)
{
	const char *why = pc->scsi ? "not asked about: --with-eject sends START STOP UNIT"
				   : "not asked about, as this target takes no SCSI commands";
	int rc = context_report(
		pc, PROMISE_ID_EJECT, context_unasked(pc, PROMISE_ID_EJECT), 0, "", "%s", why);

	return rc ? rc
		  : context_report(pc, PROMISE_ID_EJECTED, context_unasked(pc, PROMISE_ID_EJECTED),
			    0, "", "%s", why);
}

static int try_ejects(struct probe_context *pc, struct ejects *e, bool lost_before)
{
	int rc = 0;

	for (int i = 0; i < TIMED_EJECTS && !rc && !context_stopped(pc); i++) {
		rc = timed_eject(pc, false, e);
		if (!rc)
			rc = timed_eject(pc, true, e);
	}
	if (!rc && loses(e) && !lost_before)
		rc = try_without(pc, e);
	return rc;
}

int probe_eject(struct probe_context *pc)
{
	struct ejects e = { 0 };
	bool lost_before = pc->wrong_blocks > 0;
	enum heed heed;
	int rc;

	if (!pc->plan->with_eject)
		return report_unasked(pc);
	if (!pc->scsi)
		return report_both(pc, PROMISE_NOT_SHOWN, PROMISE_NO_SCSI);
	rc = try_prevented(pc, &heed);
	if (!rc)
		rc = try_ejects(pc, &e, lost_before);
	if (rc < 0 || context_stopped(pc))
		return rc;
	context_pass_over_errors(pc); /* the kernel may have asked a drive without a medium */
	if (rc)
		return report_both(pc, PROMISE_NOT_SHOWN,
			e.busy.count || e.idle.count ? "it did not come back after an eject; plug "
						       "it in again and read it "
						       "back with 'blkassay verify'"
						     : "it does not take START STOP UNIT with "
						       "eject; plug it in again and "
						       "read it back with 'blkassay verify'");
	rc = report_eject(pc, &e, heed, lost_before);
	return rc ? rc : report_ejected(pc, &e);
}
