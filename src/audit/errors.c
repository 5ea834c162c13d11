/* What the device does with requests that make no sense, and with writes the card refuses. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/buffer.h"
#include "base/text.h"

enum { EDGE_BLOCKS = 8 };

struct edge {
	unsigned char *first, *last; /* `blocks` each, as they were */
	uint64_t total; /* blocks of the target */
	uint32_t blocks; /* looked at at either end: both fit the buffer of the probes together */
	uint32_t bytes; /* of a block */
	char why[300]; /* what was wrong first; "" */
	uint64_t tried; /* requests that reach past the end */
};

uint32_t context_edge_blocks(uint64_t total, uint32_t block_bytes)
{
	uint32_t n = EDGE_BLOCKS;

	while (n > 1 && (2 * (uint64_t)n * block_bytes > PROBE_BUFFER_BYTES || n > total))
		n /= 2;
	return n;
}

static int raw_io(struct probe_context *pc, bool write, uint64_t lba, uint32_t blocks, void *data)
{
	struct scsi_exchange x;

	if (write)
		scsi_build_write(&x, lba, blocks, pc->t->logical_block_bytes, data, 0);
	else
		scsi_build_read(&x, lba, blocks, pc->t->logical_block_bytes, data, 0);
	return context_exchange(pc, &x);
}

static void blame(struct edge *e, const char *what, const char *how)
{
	if (!*e->why)
		snprintf(e->why, sizeof e->why, "%s: %s", what, how);
}

/* A request that reaches past the end must be refused with ILLEGAL REQUEST, 21h. */
static int expect_refusal(struct probe_context *pc, struct edge *e, bool write, uint64_t lba,
	uint32_t blocks, const char *what)
{
	char sense[SCSI_SENSE_TEXT_MAX];
	int rc = raw_io(pc, write, lba, blocks, pc->buf);

	e->tried++;
	if (rc == PROBE_REFUSED && pc->host_failed) {
		pc->host_errors++;
		return 0;
	}
	if (context_is_error_answer(rc) || rc == -EINVAL) {
		blame(e, what, "the transport failed where a refusal was due");
		return 0;
	}
	if (rc < 0)
		return rc;
	if (!rc)
		blame(e, what, "accepted");
	else if (!pc->last_sense.valid || pc->last_sense.key != SENSE_ILLEGAL_REQUEST ||
		 pc->last_sense.code >> 8 != 0x21)
		blame(e, what, scsi_sense_format(sense, &pc->last_sense));
	return 0;
}

static int read_edges(
	struct probe_context *pc, struct edge *e, unsigned char *first, unsigned char *last)
{
	int rc = raw_io(pc, false, 0, e->blocks, first);

	if (!rc)
		rc = raw_io(pc, false, e->total - e->blocks, e->blocks, last);
	if (rc == PROBE_REFUSED)
		blame(e, "reading the first and last blocks", "refused");
	return rc < 0 ? rc : 0;
}

static int try_writes(struct probe_context *pc, struct edge *e)
{
	int rc;

	memcpy(pc->buf, e->last + (size_t)(e->blocks - 1) * e->bytes, e->bytes);
	rc = raw_io(pc, true, e->total - 1, 1, pc->buf);
	if (rc == PROBE_REFUSED)
		blame(e, "a write of the last block", "refused");
	if (rc < 0)
		return rc;
	memset(pc->buf, 0xC3, 2 * (size_t)e->bytes);
	rc = expect_refusal(pc, e, true, e->total - 1, 2, "a write across the end");
	memset(pc->buf, 0xC3, 2 * (size_t)e->bytes);
	if (!rc)
		rc = expect_refusal(pc, e, true, e->total, 1, "a write past the end");
	return rc;
}

static int try_edges(struct probe_context *pc, struct edge *e)
{
	int rc = context_settle(pc);

	if (!rc)
		rc = read_edges(pc, e, e->first, e->last);
	if (!rc)
		rc = expect_refusal(pc, e, false, e->total - 1, 2, "a read across the end");
	if (!rc)
		rc = expect_refusal(pc, e, false, e->total, 1, "a read past the end");
	if (!rc && e->total < UINT32_MAX)
		rc = expect_refusal(pc, e, false, UINT32_MAX, 1, "a read of block FFFFFFFFh");
	if (!rc && pc->plan->whole_target)
		rc = try_writes(pc, e);
	if (!rc)
		rc = context_settle(pc);
	return rc;
}

static int compare_edges(struct probe_context *pc, struct edge *e)
{
	size_t n = (size_t)e->blocks * e->bytes;
	int rc = read_edges(pc, e, pc->buf, pc->buf + n);

	if (!rc && (memcmp(pc->buf, e->first, n) != 0 || memcmp(pc->buf + n, e->last, n) != 0))
		blame(e, "a refused request", "changed the first or last blocks");
	return rc;
}

/* What an accepted request may have changed at the edges: put back, and nothing more expected of it, so that later
 * lines do not blame the device for it again. */
static int mend_edges(struct probe_context *pc, const struct edge *e)
{
	size_t n = (size_t)e->blocks * e->bytes;
	int rc = raw_io(pc, true, 0, e->blocks, e->first);

	if (rc >= 0)
		rc = raw_io(pc, true, e->total - e->blocks, e->blocks, e->last);
	for (uint64_t i = 0; i < pc->blocks; i++) {
		uint64_t at = pc->plan->area_start + i * pc->block;

		if (at < n || at + n >= pc->t->size_bytes)
			pc->generation[i] = 0;
	}
	return rc < 0 ? rc : context_settle(pc);
}

int probe_past_end(struct probe_context *pc)
{
	static const char mend[] = "check block number plus count against the capacity, without "
				   "overflow, before any data moves: ILLEGAL REQUEST, 21/00";
	struct edge e = { .bytes = pc->t->logical_block_bytes,
		.total = pc->t->size_bytes / pc->t->logical_block_bytes };
	int rc = 0;

	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_PAST_END);
	e.blocks = context_edge_blocks(e.total, e.bytes);
	e.first = buffer_new(2 * (size_t)e.blocks * e.bytes, pc->t->memory_align_bytes);
	if (!e.first)
		return -ENOMEM;
	e.last = e.first + (size_t)e.blocks * e.bytes;
	rc = try_edges(pc, &e);
	if (!rc)
		rc = compare_edges(pc, &e);
	if (!rc && *e.why && pc->plan->whole_target)
		rc = mend_edges(pc, &e);
	free(e.first);
	if (rc < 0 || context_stopped(pc))
		return rc;
	return context_report(pc, PROMISE_ID_PAST_END, *e.why ? PROMISE_BROKEN : PROMISE_KEPT,
		e.tried, mend, "%s; %s",
		*e.why ? e.why
		       : "the last block can be reached; across and past it refused with 21h",
		pc->plan->whole_target ? "reads and writes tried"
				       : "reads only (writes need consent for the whole target)");
}

/* Lengths that are easily forgotten: none, one, and odd numbers of blocks at odd places. */
int probe_odd_length(struct probe_context *pc)
{
	static const char mend[] =
		"treat a transfer length of 0 as success without data (SBC-3), and "
		"count blocks, not buffers";
	struct probe_check c = { 0 };
	uint64_t at = pc->quiet_base;
	bool zero_refused = false;
	char text[200];
	int rc = 0;

	for (uint32_t n = 1; n <= 15 && at + n * pc->unit <= pc->plan->area_bytes && rc >= 0;
		n += 2) {
		rc = context_write(pc, at, n * pc->unit, PROBE_PLAIN);
		at += n * pc->unit;
	}
	for (int write = 0; write < 2 && pc->scsi && rc >= 0; write++) {
		rc = raw_io(pc, write,
			(pc->plan->area_start + pc->quiet_base) / pc->t->logical_block_bytes, 0,
			pc->buf);
		zero_refused |= rc == PROBE_REFUSED;
	}
	if (rc >= 0)
		rc = context_spill(pc);
	if (!rc)
		rc = context_check(pc, pc->quiet_base, at - pc->quiet_base, &c);
	if (rc < 0 || context_stopped(pc))
		return rc;
	return context_report(pc, PROMISE_ID_ODD_LENGTH,
		zero_refused ? PROMISE_BROKEN : context_judge_order(&c), context_tested(&c), mend,
		"%s%s", probe_check_format(text, sizeof text, &c),
		!pc->scsi      ? "; length 0 not asked: no SCSI command path"
		: zero_refused ? "; a READ or WRITE of 0 blocks is refused"
			       : "; READ and WRITE of 0 blocks answered GOOD");
}

static void ask(struct probe_context *pc, const char *what)
{
	if (pc->hooks->ask)
		pc->hooks->ask(pc->hooks->context, what);
}

/* Writes and flushes until something fails, then waits until the target is back. */
static int wait_for_failure(struct probe_context *pc)
{
	uint64_t end = medium_now_ns(pc->m) + pc->plan->provoke_ns, errors = context_told(pc);
	int rc = context_leave_marks(pc);

	if (rc < 0)
		return rc;
	medium_expect_change(pc->m);
	ask(pc, "make the card fail now: pull it out of the gadget (leave the cable in), wait for "
		"the next message, then put it back");
	while (rc >= 0 && context_told(pc) == errors && medium_now_ns(pc->m) < end &&
		!context_stopped(pc)) {
		rc = context_write_next(pc, pc->request, PROBE_PLAIN);
		if (rc >= 0 && pc->write_commands % 8 == 0)
			rc = context_sync(pc);
	}
	if (rc >= 0 && context_told(pc) == errors)
		rc = medium_confirm(pc->m);
	if (rc < 0 || context_told(pc) == errors)
		return rc < 0 ? rc : 0;
	ask(pc, "an error was reported; put the card back");
	end = medium_now_ns(pc->m) + pc->plan->provoke_ns;
	do {
		context_idle(pc, 200000000);
		rc = context_test_unit_ready(pc);
	} while (rc == PROBE_REFUSED && medium_now_ns(pc->m) < end && !context_stopped(pc));
	if (rc >= 0)
		rc = medium_confirm(pc->m);
	return rc < 0 ? rc : context_settle(pc);
}

static const char error_mend[] =
	"remember a failed background write and end the next command, or the flush, with "
	"CHECK CONDITION, sense 71h, MEDIUM ERROR 0C/00 and the block";

static int report_no_error(struct probe_context *pc)
{
	if (pc->t->virtual_clock)
		return context_report(pc, PROMISE_ID_BACKGROUND_ERROR,
			context_unasked(pc, PROMISE_ID_BACKGROUND_ERROR), 0, "",
			"no write failed; a model fails only where its description has a bad "
			"range");
	if (pc->plan->provoke)
		return context_report(pc, PROMISE_ID_BACKGROUND_ERROR, PROMISE_NOT_SHOWN, 0, "",
			"no write failed in the time allowed");
	return context_report(pc, PROMISE_ID_BACKGROUND_ERROR,
		context_unasked(pc, PROMISE_ID_BACKGROUND_ERROR), 0, "",
		pc->scsi ? "no write failed; --provoke waits while you make one fail"
			 : "no write failed");
}

/* That there is no card says nothing of the writes before. And what else is missing may have failed without a word. */
static enum promise_verdict judge_errors(
	const struct probe_context *pc, const struct probe_check *c)
{
	if (c->wrong > c->unreadable)
		return PROMISE_BROKEN;
	return pc->errors_reported && !c->wrong && !pc->wrong_blocks ? PROMISE_KEPT
								     : PROMISE_NOT_SHOWN;
}

static int report_errors(struct probe_context *pc, const struct probe_check *c)
{
	char text[200], absent[160] = "", refused[320] = "";

	if (pc->absent_reported)
		snprintf(absent, sizeof absent,
			"; %llu more command%s ended with 'no card' (02/3A/00), which does not "
			"report a failed write",
			(unsigned long long)pc->absent_reported, text_plural(pc->absent_reported));
	if (pc->refusals_reported)
		snprintf(refused, sizeof refused,
			"; %llu more command%s met a refusal that does not report a failed write "
			"either, the first: %s",
			(unsigned long long)pc->refusals_reported,
			text_plural(pc->refusals_reported), pc->first_refusal);
	return context_report(pc, PROMISE_ID_BACKGROUND_ERROR, judge_errors(pc, c),
		pc->errors_reported, error_mend,
		"%llu error%s reported, %llu of them deferred%s%s%s%s; %s (%llu block%s written "
		"since the last clean flush before an error not judged)",
		(unsigned long long)pc->errors_reported, text_plural(pc->errors_reported),
		(unsigned long long)pc->deferred_reported,
		pc->errors_reported ? ", the first: " : "", pc->first_error, absent, refused,
		c->wrong ? probe_check_format(text, sizeof text, c)
		: pc->wrong_blocks
			? "other blocks are wrong, and no error accounts for them: see their lines"
			: "nothing else is missing",
		(unsigned long long)pc->blocks_excused, text_plural(pc->blocks_excused));
}

int probe_background_error(struct probe_context *pc)
{
	struct probe_check c = { 0 };
	int rc = 0;

	if (!pc->scsi && !pc->plan->provoke)
		return report_no_error(pc);
	if (!pc->scsi)
		return context_report_no_scsi(pc, PROMISE_ID_BACKGROUND_ERROR);
	if (pc->plan->provoke && !pc->silent_places && !context_told(pc) && !pc->t->virtual_clock) {
		rc = wait_for_failure(pc);
		if (!rc && context_told(pc))
			rc = context_check(pc, 0, pc->plan->area_bytes, &c);
	}
	if (rc < 0 || context_stopped(pc))
		return rc;
	context_pass_over_errors(pc);
	if (pc->silent_places)
		return context_report(pc, PROMISE_ID_BACKGROUND_ERROR, PROMISE_BROKEN,
			pc->silent_places, error_mend,
			"%llu block%s %s, whatever is written there; every write and flush was "
			"answered GOOD",
			(unsigned long long)pc->silent_places, text_plural(pc->silent_places),
			pc->silent_places == 1 ? "stays as it was" : "stay as they were");
	/* A refusal by itself is no write that failed, unless one was waited for. */
	return pc->errors_reported || pc->absent_reported ||
			       (pc->plan->provoke && pc->refusals_reported)
		       ? report_errors(pc, &c)
		       : report_no_error(pc);
}

/* Of all that was read and written up to now. */
int probe_transfers(struct probe_context *pc)
{
	static const char mend[] =
		"move everything that was asked for, or end the command with CHECK CONDITION: GOOD "
		"with a residue tells the host that the rest was not to be had";
	uint64_t shorts = pc->short_reads + pc->short_writes;

	return context_report(pc, PROMISE_ID_TRANSFER_LENGTH,
		shorts ? PROMISE_BROKEN : PROMISE_KEPT, pc->transfers, mend,
		"%llu of %llu reads and writes moved less than was asked%s%s",
		(unsigned long long)shorts, (unsigned long long)pc->transfers,
		shorts ? ": the first, " : "", pc->first_short);
}
