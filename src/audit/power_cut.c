/* Power cuts, where the target is a model that can be cut by itself; on hardware that is the work of `cut`. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/random.h"

struct cut_result {
	struct probe_check flushed; /* must be there */
	uint64_t answers; /* that a cut came right after, with blocks to judge */
	/* blocks not flushed: all, those still old, those neither */
	uint64_t acknowledged, old, torn;
};

static uint64_t run_bytes(const struct probe_context *pc)
{
	uint64_t zone = pc->plan->area_bytes - pc->quiet_base, n = pc->known.burst_bytes;

	return (n < zone ? n : zone) / pc->request * pc->request;
}

static int write_run(struct probe_context *pc, uint64_t bytes)
{
	int rc = 0;

	for (uint64_t at = 0; at < bytes && rc >= 0; at += pc->request)
		rc = context_write(pc, pc->quiet_base + at, pc->request, PROBE_PLAIN);
	return rc < 0 ? rc : 0;
}

/* The last request is as short as can be: a long one may fill the buffer, which is emptied then. */
static int write_run_to_a_short_one(struct probe_context *pc)
{
	uint64_t last = run_bytes(pc) - pc->request;
	int rc = write_run(pc, last);

	rc = rc < 0 ? rc : context_write(pc, pc->quiet_base + last, pc->unit, PROBE_PLAIN);
	return rc < 0 ? rc : 0;
}

static int cut_power(struct probe_context *pc)
{
	return medium_replug(pc->m, true);
}

int probe_cut_after(struct probe_context *pc, bool short_end,
	int (*flush)(struct probe_context *pc), struct probe_check *flushed)
{
	int rc = short_end ? write_run_to_a_short_one(pc) : write_run(pc, run_bytes(pc));

	if (!rc)
		rc = flush(pc);
	if (rc >= 0)
		rc = cut_power(pc);
	return rc < 0 ? rc : context_check(pc, pc->quiet_base, run_bytes(pc), flushed);
}

/* One block after a cut: the new data, the old, or neither. */
static int sort_block(
	struct probe_context *pc, uint64_t offset, uint32_t before, struct cut_result *r)
{
	uint64_t i = offset / pc->block;
	struct verdict v;
	int rc = context_read(pc, offset / pc->unit * pc->unit, pc->unit);
	const unsigned char *data = pc->buf + offset % pc->unit;

	if (rc < 0)
		return rc;
	if (!pc->generation[i] || !before || pc->generation[i] == before)
		return 0;
	r->acknowledged++;
	if (judge_block(pc->judge, data, pc->plan->area_start + offset, pc->generation[i], &v) ==
		DAMAGE_NONE)
		return 0;
	if (judge_block(pc->judge, data, pc->plan->area_start + offset, before, &v) ==
		DAMAGE_NONE) {
		r->old++;
		pc->generation[i] = before;
	} else {
		r->torn++;
		pc->generation[i] = 0;
	}
	return 0;
}

/* wait_ns: from the last answer to the cut. */
static int cut_in_between(struct probe_context *pc, uint64_t wait_ns, struct cut_result *r)
{
	uint64_t first = pc->quiet_base / pc->block, n = run_bytes(pc) / pc->block, last;
	uint32_t *before;
	int rc = write_run(pc, run_bytes(pc));

	rc = rc < 0 ? rc : context_settle(pc);
	before = calloc((size_t)n + 1, sizeof *before);
	if (rc < 0 || !before) {
		free(before);
		return rc < 0 ? rc : -ENOMEM;
	}
	memcpy(before, pc->generation + first, (size_t)n * sizeof *before);
	rc = wait_ns ? write_run(pc, run_bytes(pc)) : write_run_to_a_short_one(pc);
	if (wait_ns)
		medium_idle_ns(pc->m, wait_ns);
	if (!rc)
		rc = cut_power(pc);
	/* Whether the short one was taken whole. */
	last = (run_bytes(pc) - pc->request) / pc->block;
	r->answers += !rc && !wait_ns && pc->generation[first + last] &&
		      pc->generation[first + last] != before[last];
	for (uint64_t i = 0; i < n && !rc; i++)
		rc = sort_block(pc, pc->quiet_base + i * pc->block, before[i], r);
	free(before);
	return rc;
}

static int report(struct probe_context *pc, const struct cut_result *r)
{
	bool lost = !pc->known.claims_cache && r->old;
	bool broken = r->flushed.wrong || r->torn || lost;
	/* A flush that takes no time for what there is to store may do nothing, and what it covered was stored in its own
	 * time: as 'cut' has it. */
	bool shown = broken || !pc->known.claims_cache || pc->known.flush_kept;
	char text[200];

	pc->known.behind_proven = r->old || r->torn; /* all of it was answered */
	pc->known.cut_answers = r->answers;
	return context_report(pc, PROMISE_ID_POWER_CUT,
		broken  ? PROMISE_BROKEN
		: shown ? PROMISE_KEPT
			: PROMISE_NOT_SHOWN,
		context_tested(&r->flushed),
		r->flushed.wrong ? "store everything before a flush is answered"
		: r->torn ? "write whole sectors only; stop the card's command, not its data, "
			    "when power fails"
			  : "claim the cache (WCE 1), or store each write before it is answered",
		"%d modelled cuts: flushed: %s; not flushed: %llu blocks, %llu old, %llu torn%s%s",
		2 * PROBE_CUTS + 1, probe_check_format(text, sizeof text, &r->flushed),
		(unsigned long long)r->acknowledged, (unsigned long long)r->old,
		(unsigned long long)r->torn,
		lost ? "; a device that claims write through may not lose any" : "",
		shown ? "" : "; but no flush was seen to store anything");
}

int probe_power_cut(struct probe_context *pc)
{
	struct random random = { pc->plan->seed ^ 0xC07 };
	struct cut_result r = { 0 };
	int rc = 0;

	if (!pc->t->virtual_clock)
		return context_report(pc, PROMISE_ID_POWER_CUT,
			context_unasked(pc, PROMISE_ID_POWER_CUT), 0, "",
			"power was not cut: that is what 'blkassay cut' does");
	rc = context_settle(pc);
	/* First of all what has been written so far: a flushed write may be forgotten now and then. */
	if (!rc)
		rc = cut_power(pc);
	if (!rc)
		rc = context_check(pc, 0, pc->plan->area_bytes, &r.flushed);
	for (int i = 0; i < PROBE_CUTS && !rc && !context_stopped(pc); i++) {
		rc = probe_cut_after(pc, i % 2, context_sync, &r.flushed);
		/* Every other one right at the answer, when a buffer that drains fast still holds something. */
		if (!rc)
			rc = cut_in_between(pc, i % 2 ? 0 : random_below(&random, 2000000), &r);
	}
	return rc < 0 || context_stopped(pc) ? rc : report(pc, &r);
}
