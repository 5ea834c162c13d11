/* Is every command answered, and what an answer told told once? */
#include <stdio.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/text.h"

enum { REFUSALS = 3, SENSE_BYTES = 18, NO_ANSWER_TWICE = 2 };

/* DID_TIME_OUT: Linux include/scsi/scsi_status.h. */
enum { TIMED_OUT = 3 };

/* A read past the end, refused as it must be. 0, PROBE_REFUSED: so it was; a negative errno. */
static int be_refused(struct probe_context *pc)
{
	uint32_t block = pc->t->logical_block_bytes;
	uint64_t end = pc->t->size_bytes / block;
	struct scsi_exchange x;

	scsi_build_read(&x, end, 1, block, pc->buf, 0);
	return context_exchange(pc, &x);
}

static int request_sense(struct probe_context *pc, struct scsi_sense *out)
{
	struct scsi_exchange x;
	int rc;

	memset(pc->buf, 0, SENSE_BYTES);
	scsi_build_request_sense(&x, pc->buf, SENSE_BYTES);
	rc = context_exchange(pc, &x);
	*out = (struct scsi_sense){ 0 };
	if (!rc)
		scsi_sense_decode(out, pc->buf, scsi_transferred(&x));
	return rc;
}

struct told {
	uint64_t asked, clean,
		again; /* refusals after which sense was asked for; none told; the same one told again */
	struct scsi_sense refusal, other; /* the last ones */
};

/* The host fetched its sense at once, and a command went well since: nothing is left to tell (SPC-4 on REQUEST SENSE: data is
 * kept until it was returned). */
static int ask_once(struct probe_context *pc, struct told *t)
{
	struct scsi_sense now;
	int rc = be_refused(pc);

	if (rc != PROBE_REFUSED || !pc->last_sense.valid || pc->last_sense.deferred)
		return rc < 0 ? rc : 0;
	t->refusal = pc->last_sense;
	rc = context_test_unit_ready(pc);
	if (!rc)
		rc = request_sense(pc, &now);
	if (rc)
		return rc < 0 ? rc : 0;
	t->asked++;
	if (now.valid && now.key == SENSE_NO_SENSE)
		t->clean++;
	else if (now.valid && now.key == t->refusal.key && now.code == t->refusal.code)
		t->again++;
	else
		t->other = now;
	return 0;
}

static enum promise_verdict judge_told(const struct told *t)
{
	if (t->again)
		return PROMISE_BROKEN;
	return t->asked && t->clean == t->asked ? PROMISE_KEPT : PROMISE_NOT_SHOWN;
}

int probe_sense(struct probe_context *pc)
{
	static const char mend[] = "clear sense data when REQUEST SENSE has returned it, and when "
				   "the next command begins";
	struct told t = { 0 };
	char refusal[SCSI_SENSE_TEXT_MAX], other[SCSI_SENSE_TEXT_MAX];
	int rc;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_SENSE);
	rc = context_settle(pc);
	for (int i = 0; i < REFUSALS && !rc && !context_stopped(pc); i++)
		rc = ask_once(pc, &t);
	if (rc < 0 || context_stopped(pc))
		return rc;
	if (!t.asked)
		return context_report(pc, PROMISE_ID_SENSE, PROMISE_NOT_SHOWN, 0, "",
			"no refusal with sense data, and a command that went well after it");
	return context_report(pc, PROMISE_ID_SENSE, judge_told(&t), t.asked, mend,
		"refused: %s; after a TEST UNIT READY that went well REQUEST SENSE told %s",
		scsi_sense_format(refusal, &t.refusal),
		t.again              ? "the same again"
		: t.clean == t.asked ? "of nothing"
		: t.other.valid      ? scsi_sense_format(other, &t.other)
				     : "nothing of a known form");
}

static const char *command_words(uint8_t code)
{
	static const struct {
		uint8_t code;
		const char *name;
	} names[] = {
		{ SCSI_TEST_UNIT_READY, " (TEST UNIT READY)" },
		{ SCSI_REQUEST_SENSE, " (REQUEST SENSE)" },
		{ SCSI_INQUIRY, " (INQUIRY)" },
		{ SCSI_MODE_SENSE_6, " (MODE SENSE)" },
		{ SCSI_START_STOP_UNIT, " (START STOP UNIT)" },
		{ SCSI_PREVENT_ALLOW, " (PREVENT ALLOW MEDIUM REMOVAL)" },
		{ SCSI_READ_CAPACITY_10, " (READ CAPACITY)" },
		{ SCSI_READ_10, " (READ)" },
		{ SCSI_WRITE_10, " (WRITE)" },
		{ SCSI_SYNCHRONIZE_CACHE_10, " (SYNCHRONIZE CACHE)" },
		{ SCSI_MODE_SENSE_10, " (MODE SENSE)" },
	};

	for (size_t i = 0; i < sizeof names / sizeof *names; i++)
		if (names[i].code == code)
			return names[i].name;
	return "";
}

/* Section 6.7.2 of Bulk-Only Transport 1.0 has a stall behind data that is less than the host asked for. Nobody is harmed by a
 * short packet alone. */
static const char *short_words(const struct probe_context *pc)
{
	return pc->shorts && !pc->stalled_shorts
		       ? "; on the bus, an answer shorter than asked for ends in a short packet, "
			 "without the stall that Bulk-Only Transport has there (6.7.2), and hosts "
			 "accept that"
		       : "";
}

/* A command that is never answered, while others are, is the device's doing. One that fails now and then may be the cable's. */
int probe_answered(struct probe_context *pc)
{
	static const char mend[] = "answer a command that it does not know with CHECK CONDITION "
				   "05/20/00, and send no more and no less than was asked for";
	unsigned long long answered = 0, unanswered = 0;
	int never = -1, some = -1;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_ANSWERED);
	for (int code = 255; code >= 0; code--) {
		uint32_t lost = pc->commands[code].unanswered;

		answered += pc->commands[code].answered;
		unanswered += lost;
		if (lost)
			some = code;
		if (lost >= NO_ANSWER_TWICE && !pc->commands[code].answered)
			never = code;
	}
	if (!unanswered)
		return context_report(pc, PROMISE_ID_ANSWERED, PROMISE_KEPT, answered, "",
			"%llu command%s, each answered%s", answered, text_plural(answered),
			short_words(pc));
	some = never >= 0 ? never : some;
	return context_report(pc, PROMISE_ID_ANSWERED,
		never >= 0 && answered ? PROMISE_BROKEN : PROMISE_NOT_SHOWN, answered + unanswered,
		mend,
		"%llu of %llu commands came to nothing; %02Xh%s %u of %u times, the last %s%s",
		unanswered, answered + unanswered, (unsigned)some, command_words((uint8_t)some),
		pc->commands[some].unanswered,
		pc->commands[some].unanswered + pc->commands[some].answered,
		pc->commands[some].host_status == TIMED_OUT ? "with no answer in time"
							    : "broken off on the bus",
		short_words(pc));
}
