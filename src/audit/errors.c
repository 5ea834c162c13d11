/* What the device does with requests that make no sense, and with writes the card refuses. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/desk.h"
#include "audit/probes.h"
#include "base/buffer.h"

enum { EDGE_BLOCKS = 8 };

struct edge {
	unsigned char *first, *last; /* `blocks` each, as they were */
	uint64_t total; /* blocks of the target */
	uint32_t blocks; /* looked at at either end: both fit the workbench's buffer together */
	uint32_t bytes; /* of a block */
	char why[300]; /* what was wrong first; "" */
	uint64_t tried; /* requests that reach past the end */
};

uint32_t desk_edge_blocks(uint64_t total, uint32_t block_bytes)
{
	uint32_t n = EDGE_BLOCKS;

	while (n > 1 && (2 * (uint64_t)n * block_bytes > DESK_BUFFER_BYTES || n > total))
		n /= 2;
	return n;
}

static int raw_io(struct desk *d, bool write, uint64_t lba, uint32_t blocks, void *data)
{
	struct scsi_exchange x;

	if (write)
		scsi_build_write(&x, lba, blocks, d->t->logical_block_bytes, data, 0);
	else
		scsi_build_read(&x, lba, blocks, d->t->logical_block_bytes, data, 0);
	return desk_exchange(d, &x);
}

static void blame(struct edge *e, const char *what, const char *how)
{
	if (!*e->why)
		snprintf(e->why, sizeof e->why, "%s: %s", what, how);
}

/* A request that reaches past the end must be refused with ILLEGAL REQUEST, 21h. */
static int expect_refusal(
	struct desk *d, struct edge *e, bool write, uint64_t lba, uint32_t blocks, const char *what)
{
	char sense[SCSI_SENSE_TEXT_MAX];
	int rc = raw_io(d, write, lba, blocks, d->buf);

	e->tried++;
	if (rc == DESK_REFUSED && d->host_failed) {
		d->host_errors++;
		return 0;
	}
	if (desk_is_error_answer(rc) || rc == -EINVAL) {
		blame(e, what, "the transport failed instead of a refusal");
		return 0;
	}
	if (rc < 0)
		return rc;
	if (!rc)
		blame(e, what, "accepted");
	else if (!d->last_sense.valid || d->last_sense.key != SENSE_ILLEGAL_REQUEST ||
		 d->last_sense.code >> 8 != 0x21)
		blame(e, what, scsi_sense_format(sense, &d->last_sense));
	return 0;
}

static int read_edges(struct desk *d, struct edge *e, unsigned char *first, unsigned char *last)
{
	int rc = raw_io(d, false, 0, e->blocks, first);

	if (!rc)
		rc = raw_io(d, false, e->total - e->blocks, e->blocks, last);
	if (rc == DESK_REFUSED)
		blame(e, "reading the first and last blocks", "refused");
	return rc < 0 ? rc : 0;
}

static int try_writes(struct desk *d, struct edge *e)
{
	int rc;

	memcpy(d->buf, e->last + (size_t)(e->blocks - 1) * e->bytes, e->bytes);
	rc = raw_io(d, true, e->total - 1, 1, d->buf);
	if (rc == DESK_REFUSED)
		blame(e, "a write of the last block", "refused");
	if (rc < 0)
		return rc;
	memset(d->buf, 0xC3, 2 * (size_t)e->bytes);
	rc = expect_refusal(d, e, true, e->total - 1, 2, "a write across the end");
	memset(d->buf, 0xC3, 2 * (size_t)e->bytes);
	if (!rc)
		rc = expect_refusal(d, e, true, e->total, 1, "a write past the end");
	return rc;
}

static int try_edges(struct desk *d, struct edge *e)
{
	int rc = desk_settle(d);

	if (!rc)
		rc = read_edges(d, e, e->first, e->last);
	if (!rc)
		rc = expect_refusal(d, e, false, e->total - 1, 2, "a read across the end");
	if (!rc)
		rc = expect_refusal(d, e, false, e->total, 1, "a read past the end");
	if (!rc && e->total < UINT32_MAX)
		rc = expect_refusal(d, e, false, UINT32_MAX, 1, "a read of block FFFFFFFFh");
	if (!rc && d->plan->whole_target)
		rc = try_writes(d, e);
	if (!rc)
		rc = desk_settle(d);
	return rc;
}

static int compare_edges(struct desk *d, struct edge *e)
{
	size_t n = (size_t)e->blocks * e->bytes;
	int rc = read_edges(d, e, d->buf, d->buf + n);

	if (!rc && (memcmp(d->buf, e->first, n) != 0 || memcmp(d->buf + n, e->last, n) != 0))
		blame(e, "a refused request", "changed the first or last blocks");
	return rc;
}

/* What an accepted request may have changed at the edges: put back, and nothing more expected of it, so that later
 * lines do not blame the device for it again. */
static int mend_edges(struct desk *d, const struct edge *e)
{
	size_t n = (size_t)e->blocks * e->bytes;
	int rc = raw_io(d, true, 0, e->blocks, e->first);

	if (rc >= 0)
		rc = raw_io(d, true, e->total - e->blocks, e->blocks, e->last);
	for (uint64_t i = 0; i < d->blocks; i++) {
		uint64_t at = d->plan->area_start + i * d->block;

		if (at < n || at + n >= d->t->size_bytes)
			d->generation[i] = 0;
	}
	return rc < 0 ? rc : desk_settle(d);
}

int probe_past_end(struct desk *d)
{
	static const char mend[] = "check block number plus count against the capacity, without "
				   "overflow, before any data moves: ILLEGAL REQUEST, 21/00";
	struct edge e = { .bytes = d->t->logical_block_bytes,
		.total = d->t->size_bytes / d->t->logical_block_bytes };
	int rc = 0;

	if (!d->scsi)
		return desk_report_no_scsi(d, PROMISE_ID_PAST_END);
	e.blocks = desk_edge_blocks(e.total, e.bytes);
	e.first = buffer_new(2 * (size_t)e.blocks * e.bytes, d->t->memory_align_bytes);
	if (!e.first)
		return -ENOMEM;
	e.last = e.first + (size_t)e.blocks * e.bytes;
	rc = try_edges(d, &e);
	if (!rc)
		rc = compare_edges(d, &e);
	if (!rc && *e.why && d->plan->whole_target)
		rc = mend_edges(d, &e);
	free(e.first);
	if (rc < 0 || desk_stopped(d))
		return rc;
	return desk_report(d, PROMISE_ID_PAST_END, *e.why ? PROMISE_BROKEN : PROMISE_KEPT, e.tried,
		mend, "%s; %s",
		*e.why ? e.why
		       : "the last block can be reached; across and past it refused with 21h",
		d->plan->whole_target ? "reads and writes tried"
				      : "reads only (writes need consent for the whole target)");
}

/* Lengths that are easily forgotten: none, one, and odd numbers of blocks at odd places. */
int probe_odd_length(struct desk *d)
{
	static const char mend[] =
		"treat a transfer length of 0 as success without data (SBC-3), and "
		"count blocks, not buffers";
	struct desk_check c = { 0 };
	uint64_t at = d->quiet_base;
	bool zero_refused = false;
	char text[200];
	int rc = 0;

	for (uint32_t n = 1; n <= 15 && at + n * d->unit <= d->plan->area_bytes && rc >= 0;
		n += 2) {
		rc = desk_write(d, at, n * d->unit, DESK_PLAIN);
		at += n * d->unit;
	}
	for (int write = 0; write < 2 && d->scsi && rc >= 0; write++) {
		rc = raw_io(d, write,
			(d->plan->area_start + d->quiet_base) / d->t->logical_block_bytes, 0,
			d->buf);
		zero_refused |= rc == DESK_REFUSED;
	}
	if (rc >= 0)
		rc = desk_spill(d);
	if (!rc)
		rc = desk_check(d, d->quiet_base, at - d->quiet_base, &c);
	if (rc < 0 || desk_stopped(d))
		return rc;
	return desk_report(d, PROMISE_ID_ODD_LENGTH,
		zero_refused ? PROMISE_BROKEN : desk_judge_order(&c), desk_tested(&c), mend, "%s%s",
		desk_check_format(text, sizeof text, &c),
		!d->scsi       ? "; length 0 not asked: no SCSI command path"
		: zero_refused ? "; a READ or WRITE of 0 blocks is refused"
			       : "; READ and WRITE of 0 blocks answered GOOD");
}

static void ask(struct desk *d, const char *what)
{
	if (d->hooks->ask)
		d->hooks->ask(d->hooks->context, what);
}

/* Writes and flushes until something fails, then waits until the target is back. */
static int wait_for_failure(struct desk *d)
{
	uint64_t end = medium_now_ns(d->m) + d->plan->provoke_ns, errors = desk_told(d);
	struct scsi_exchange x;
	int rc = desk_leave_marks(d);

	if (rc < 0)
		return rc;
	medium_expect_change(d->m);
	ask(d, "make the card fail now: pull it out of the gadget (not "
	       "the cable), wait for the next "
	       "message, then put it back");
	while (rc >= 0 && desk_told(d) == errors && medium_now_ns(d->m) < end && !desk_stopped(d)) {
		rc = desk_write_next(d, d->request, DESK_PLAIN);
		if (rc >= 0 && d->write_commands % 8 == 0)
			rc = desk_sync(d);
	}
	if (rc >= 0 && desk_told(d) == errors)
		rc = medium_confirm(d->m);
	if (rc < 0 || desk_told(d) == errors)
		return rc < 0 ? rc : 0;
	ask(d, "an error came; put the card back");
	end = medium_now_ns(d->m) + d->plan->provoke_ns;
	do {
		desk_idle(d, 200000000);
		scsi_build_test_unit_ready(&x);
		rc = desk_exchange(d, &x);
	} while (rc == DESK_REFUSED && medium_now_ns(d->m) < end && !desk_stopped(d));
	if (rc >= 0)
		rc = medium_confirm(d->m);
	return rc < 0 ? rc : desk_settle(d);
}

static const char error_mend[] =
	"remember a failed background write and end the next command, or the flush, with "
	"CHECK CONDITION, sense 71h, MEDIUM ERROR 0C/00 and the block";

static int report_no_error(struct desk *d)
{
	if (d->t->virtual_clock)
		return desk_report(d, PROMISE_ID_BACKGROUND_ERROR,
			desk_unasked(d, PROMISE_ID_BACKGROUND_ERROR), 0, "",
			"no write failed; a model fails where its description has a bad range");
	if (d->plan->provoke)
		return desk_report(d, PROMISE_ID_BACKGROUND_ERROR, PROMISE_NOT_SHOWN, 0, "",
			"no write failed while it was waited for");
	return desk_report(d, PROMISE_ID_BACKGROUND_ERROR,
		desk_unasked(d, PROMISE_ID_BACKGROUND_ERROR), 0, "",
		"no write failed; --provoke waits while you make one fail");
}

/* That there is no card says nothing of the writes before. And what else is missing may have failed without a word. */
static enum promise_verdict judge_errors(const struct desk *d, const struct desk_check *c)
{
	if (c->wrong > c->unreadable)
		return PROMISE_BROKEN;
	return d->errors_reported && !c->wrong && !d->wrong_blocks ? PROMISE_KEPT
								   : PROMISE_NOT_SHOWN;
}

static int report_errors(struct desk *d, const struct desk_check *c)
{
	char text[200], absent[160] = "";

	if (d->absent_reported)
		snprintf(absent, sizeof absent,
			"; %llu commands more were answered that there is no card (02/3A/00), "
			"which "
			"is no report of a failed write",
			(unsigned long long)d->absent_reported);
	return desk_report(d, PROMISE_ID_BACKGROUND_ERROR, judge_errors(d, c), d->errors_reported,
		error_mend,
		"%llu errors reported, %llu of them deferred%s%s%s; %s (%llu blocks written since "
		"the last clean flush before an error were not judged)",
		(unsigned long long)d->errors_reported, (unsigned long long)d->deferred_reported,
		d->errors_reported ? ", the first: " : "", d->first_error, absent,
		c->wrong ? desk_check_format(text, sizeof text, c)
		: d->wrong_blocks
			? "other blocks are wrong, which no error excuses: see their lines"
			: "nothing else is missing",
		(unsigned long long)d->blocks_excused);
}

int probe_background_error(struct desk *d)
{
	struct desk_check c = { 0 };
	int rc = 0;

	if (!d->scsi && !d->plan->provoke)
		return report_no_error(d);
	if (!d->scsi)
		return desk_report_no_scsi(d, PROMISE_ID_BACKGROUND_ERROR);
	if (d->plan->provoke && !d->silent_places && !desk_told(d) && !d->t->virtual_clock) {
		rc = wait_for_failure(d);
		if (!rc && desk_told(d))
			rc = desk_check(d, 0, d->plan->area_bytes, &c);
	}
	if (rc < 0 || desk_stopped(d))
		return rc;
	desk_pass_over_errors(d);
	if (d->silent_places)
		return desk_report(d, PROMISE_ID_BACKGROUND_ERROR, PROMISE_BROKEN, d->silent_places,
			error_mend,
			"%llu blocks stay as they were whatever is written to them; every write "
			"and flush was answered GOOD",
			(unsigned long long)d->silent_places);
	return desk_told(d) ? report_errors(d, &c) : report_no_error(d);
}

/* Of all that was read and written up to now. */
int probe_transfers(struct desk *d)
{
	static const char mend[] =
		"move everything that was asked for, or end the command with CHECK CONDITION: GOOD "
		"with a residue tells the host that the rest was not to be had";
	uint64_t shorts = d->short_reads + d->short_writes;

	return desk_report(d, PROMISE_ID_TRANSFER_LENGTH, shorts ? PROMISE_BROKEN : PROMISE_KEPT,
		d->transfers, mend, "%llu of %llu reads and writes moved less than was asked%s%s",
		(unsigned long long)shorts, (unsigned long long)d->transfers,
		shorts ? ": the first, " : "", d->first_short);
}
