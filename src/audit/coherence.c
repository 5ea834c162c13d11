/* Is what is read what was written last: at once, in between, over one another, and after all of it is on the card? */
#include <stdio.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/random.h"

enum { ROUNDS = 8, RUN = 16, MIXED_OPERATIONS = 400, PLACES = 48 };

static const char mend_order[] = "keep waiting writes to one block in order, or replace the older "
				 "one in the buffer";

/* The part of the area that bursts leave alone. */
static uint64_t zone_bytes(const struct probe_context *pc)
{
	return pc->plan->area_bytes - pc->quiet_base;
}

static int write_zone(struct probe_context *pc, uint64_t at, uint32_t length)
{
	int rc = context_write(pc, pc->quiet_base + at, length, PROBE_PLAIN);

	return rc < 0 ? rc : 0;
}

static int check_zone(struct probe_context *pc, uint64_t at, uint64_t length, struct probe_check *c)
{
	return context_check(pc, pc->quiet_base + at, length, c);
}

static int report(struct probe_context *pc, enum promise_id id, const char *mend,
	const struct probe_check *c, const char *when)
{
	char text[200];

	if (context_stopped(pc))
		return 0;
	return context_report(pc, id, context_judge_order(c), context_tested(c), mend, "%s, %s",
		probe_check_format(text, sizeof text, c), when);
}

/* Runs of fresh writes, each read back the moment its last write was acknowledged, newest first. Every other one in requests
 * of several blocks: a buffer may show best in short ones, and some faults strike long ones alone. */
static int read_after_write(struct probe_context *pc)
{
	struct probe_check c = { 0 };
	uint32_t several = pc->bulk < 8 * pc->unit ? pc->bulk : 8 * pc->unit;
	uint32_t best = pc->request < several ? pc->request : several;
	int rc = 0;

	for (uint32_t i = 0; i < ROUNDS && !rc && !context_stopped(pc); i++) {
		uint32_t one = i % 2 ? several : best, run = one * RUN;
		uint64_t base = (uint64_t)i * run % (zone_bytes(pc) - run + 1);

		base -= base % pc->unit;
		rc = context_settle(pc);
		for (uint32_t k = 0; k < RUN && !rc; k++)
			rc = write_zone(pc, base + (uint64_t)k * one, one);
		for (uint32_t k = RUN; k-- > 0 && !rc;)
			rc = check_zone(pc, base + (uint64_t)k * one, one, &c);
	}
	return rc ? rc
		  : report(pc, PROMISE_ID_READ_AFTER_WRITE,
			    "serve reads of blocks that still wait in the buffer from the buffer, "
			    "or empty it first",
			    &c, "read back at once");
}

/* Did a line before say that the newest write does not win? */
static bool order_is_broken(const struct probe_context *pc)
{
	for (size_t i = 0; i < pc->out->count; i++) {
		const struct promise *p = &pc->out->list[i];

		if (p->verdict == PROMISE_BROKEN &&
			(!strcmp(p->name, promise_row(PROMISE_ID_OVERLAP)->name) ||
				!strcmp(p->name, promise_row(PROMISE_ID_PARTIAL_OVERLAP)->name)))
			return true;
	}
	return false;
}

/* Two writes to one place wait together by chance here: where others of them came out in the wrong order, that none did says
 * little. */
static int report_interleaved(struct probe_context *pc, const struct probe_check *c)
{
	static const char when[] = "reads and writes in turn";
	static const char mend[] =
		"for each block of a read, look for the newest copy that waits in the buffer";
	char text[200];

	if (context_stopped(pc) || context_judge_order(c) != PROMISE_KEPT || !order_is_broken(pc))
		return report(pc, PROMISE_ID_INTERLEAVED, mend, c, when);
	return context_report(pc, PROMISE_ID_INTERLEAVED, PROMISE_NOT_SHOWN, context_tested(c),
		mend, "%s, %s; but overlapping writes did come out in the wrong order",
		probe_check_format(text, sizeof text, c), when);
}

/* Seeded reads and writes of 1 to 8 units at places that meet again and again. */
static int interleaved(struct probe_context *pc)
{
	struct random r = { pc->plan->seed ^ 0x1E };
	struct probe_check c = { 0 };
	uint64_t units = zone_bytes(pc) / pc->unit;
	int rc = 0;

	if (units > 256)
		units = 256;
	for (int i = 0; i < MIXED_OPERATIONS && !rc && !context_stopped(pc); i++) {
		uint64_t n = 1 + random_below(&r, 8);
		uint64_t at = random_below(&r, units - n + 1) * pc->unit;

		if (random_below(&r, 2))
			rc = write_zone(pc, at, (uint32_t)(n * pc->unit));
		else
			rc = check_zone(pc, at, n * pc->unit, &c);
	}
	return rc ? rc : report_interleaved(pc, &c);
}

/* The same blocks three times in a row, short enough that a small buffer holds several; judged when all is on the
 * card. */
static int overlap(struct probe_context *pc)
{
	struct probe_check c = { 0 };
	uint64_t step = 4 * (uint64_t)pc->unit, places = zone_bytes(pc) / step;
	int rc = context_settle(pc);

	if (places > 4 * PLACES)
		places = 4 * PLACES;
	for (uint64_t p = 0; p < places && !rc && !context_stopped(pc); p++)
		for (int k = 0; k < 3 && !rc; k++)
			rc = write_zone(pc, p * step, (p % 2 ? 4 : 1) * pc->unit);
	if (!rc)
		rc = context_spill(pc);
	if (!rc)
		rc = check_zone(pc, 0, places * step, &c);
	return rc ? rc
		  : report(pc, PROMISE_ID_OVERLAP, mend_order, &c,
			    "each written three times in a row");
}

/* Writes that cover parts of one another, moving on by a random step. */
static int partial_overlap(struct probe_context *pc)
{
	struct random r = { pc->plan->seed ^ 0x0F };
	struct probe_check c = { 0 };
	uint64_t units = zone_bytes(pc) / pc->unit, at = 0;
	int rc = context_settle(pc);

	for (int i = 0; i < 4 * PLACES && !rc && at + 8 <= units && !context_stopped(pc); i++) {
		uint64_t n = 2 + random_below(&r, 7);

		rc = write_zone(pc, at * pc->unit, (uint32_t)(n * pc->unit));
		/* One step back for two on: each block is met more than once. */
		at = i % 3 == 2 && at ? at - random_below(&r, at < 4 ? at : 4)
				      : at + 1 + random_below(&r, n);
	}
	if (!rc)
		rc = context_spill(pc);
	if (!rc)
		rc = check_zone(pc, 0, (at + 8 < units ? at + 8 : units) * pc->unit, &c);
	return rc ? rc
		  : report(pc, PROMISE_ID_PARTIAL_OVERLAP, mend_order, &c,
			    "written in overlapping steps");
}

/* One stream of odd lengths that passes the full buffer again and again: requests that only half fit. */
static int straddle(struct probe_context *pc)
{
	struct random r = { pc->plan->seed ^ 0x57 };
	struct probe_check c = { 0 };
	uint64_t want = pc->known.burst_bytes * 2, all = zone_bytes(pc), at = 0;
	int rc = context_settle(pc);

	if (want > all)
		want = all;
	while (at + 16 * (uint64_t)pc->unit <= want && !rc && !context_stopped(pc)) {
		uint32_t n = pc->unit * (uint32_t)(1 + random_below(&r, 15));

		rc = write_zone(pc, at, n);
		at += n;
	}
	if (!rc)
		rc = context_spill(pc);
	if (!rc)
		rc = check_zone(pc, 0, at, &c);
	return rc ? rc
		  : report(pc, PROMISE_ID_STRADDLE,
			    "take the rest of a request when the buffer has room again, block by "
			    "block in order",
			    &c, "in requests of 1 to 15 blocks through a full buffer");
}

int probe_coherence(struct probe_context *pc)
{
	int (*const parts[])(struct probe_context *) = { read_after_write, overlap, partial_overlap,
		straddle, interleaved };
	int rc = 0;

	for (size_t i = 0; i < sizeof parts / sizeof *parts && !rc && !context_stopped(pc); i++)
		rc = parts[i](pc);
	return rc;
}
