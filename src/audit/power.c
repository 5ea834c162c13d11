/* Power cuts, where the target is a model that can be cut by itself; on hardware that is the work of `cut`. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "audit/desk.h"
#include "audit/probes.h"
#include "base/random.h"

enum { CUTS = 8 };

struct cut_result {
	struct desk_check flushed; /* must be there */
	uint64_t acknowledged, old,
		torn; /* blocks not flushed: all, those still old, those neither */
};

static uint64_t run_bytes(const struct desk *d)
{
	uint64_t zone = d->plan->area_bytes - d->quiet_base, n = d->known.burst_bytes;

	return (n < zone ? n : zone) / d->request * d->request;
}

static int write_run(struct desk *d)
{
	int rc = 0;

	for (uint64_t at = 0; at < run_bytes(d) && rc >= 0; at += d->request)
		rc = desk_write(d, d->quiet_base + at, d->request, DESK_PLAIN);
	return rc < 0 ? rc : 0;
}

static int cut_power(struct desk *d)
{
	return medium_replug(d->m, true);
}

static int cut_after_flush(struct desk *d, struct cut_result *r)
{
	int rc = write_run(d);

	if (!rc)
		rc = desk_sync(d);
	if (rc >= 0)
		rc = cut_power(d);
	return rc < 0 ? rc : desk_check(d, d->quiet_base, run_bytes(d), &r->flushed);
}

/* One block after a cut: the new data, the old, or neither. */
static int sort_block(struct desk *d, uint64_t offset, uint32_t before, struct cut_result *r)
{
	uint64_t i = offset / d->block;
	struct verdict v;
	int rc = desk_read(d, offset / d->unit * d->unit, d->unit);
	const unsigned char *data = d->buf + offset % d->unit;

	if (rc < 0)
		return rc;
	if (!d->generation[i] || !before)
		return 0;
	r->acknowledged++;
	if (judge_block(d->judge, data, d->plan->area_start + offset, d->generation[i], &v) ==
		DAMAGE_NONE)
		return 0;
	if (judge_block(d->judge, data, d->plan->area_start + offset, before, &v) == DAMAGE_NONE) {
		r->old++;
		d->generation[i] = before;
	} else {
		r->torn++;
		d->generation[i] = 0;
	}
	return 0;
}

static int cut_in_between(struct desk *d, struct random *random, struct cut_result *r)
{
	uint64_t first = d->quiet_base / d->block, n = run_bytes(d) / d->block;
	uint32_t *before;
	int rc = write_run(d);

	rc = rc < 0 ? rc : desk_settle(d);
	before = calloc((size_t)n + 1, sizeof *before);
	if (rc < 0 || !before) {
		free(before);
		return rc < 0 ? rc : -ENOMEM;
	}
	memcpy(before, d->generation + first, (size_t)n * sizeof *before);
	rc = write_run(d);
	medium_idle_ns(d->m, random_below(random, 2000000));
	if (!rc)
		rc = cut_power(d);
	for (uint64_t i = 0; i < n && !rc; i++)
		rc = sort_block(d, d->quiet_base + i * d->block, before[i], r);
	free(before);
	return rc;
}

static int report(struct desk *d, const struct cut_result *r)
{
	bool lost = !d->known.claims_cache && r->old;
	char text[200];

	d->known.behind_proven = r->old > 0;
	return desk_report(d, PROMISE_ID_POWER_CUT,
		r->flushed.wrong || r->torn || lost ? PROMISE_BROKEN : PROMISE_KEPT,
		desk_tested(&r->flushed),
		r->flushed.wrong ? "store everything before a flush is answered"
		: r->torn ? "write whole sectors only; stop the card's command, not its data, "
			    "when power fails"
			  : "claim the cache (WCE 1), or store each write before it is answered",
		"%d modelled cuts: flushed: %s; not flushed: %llu blocks, %llu old, %llu torn%s",
		2 * CUTS + 1, desk_check_format(text, sizeof text, &r->flushed),
		(unsigned long long)r->acknowledged, (unsigned long long)r->old,
		(unsigned long long)r->torn,
		lost ? "; a device that claims write through may not lose any" : "");
}

int probe_power_cut(struct desk *d)
{
	struct random random = { d->plan->seed ^ 0xC07 };
	struct cut_result r = { 0 };
	int rc = 0;

	if (!d->t->virtual_clock)
		return desk_report(d, PROMISE_ID_POWER_CUT, desk_unasked(d, PROMISE_ID_POWER_CUT),
			0, "", "power was not cut: that is what 'blkassay cut' does");
	rc = desk_settle(d);
	/* First of all what has been written so far: a flushed write may be forgotten now and then. */
	if (!rc)
		rc = cut_power(d);
	if (!rc)
		rc = desk_check(d, 0, d->plan->area_bytes, &r.flushed);
	for (int i = 0; i < CUTS && !rc && !desk_stopped(d); i++) {
		rc = cut_after_flush(d, &r);
		if (!rc)
			rc = cut_in_between(d, &random, &r);
	}
	return rc < 0 || desk_stopped(d) ? rc : report(d, &r);
}
