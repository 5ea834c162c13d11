/* Is what is read what was written last: at once, in between, over one another, and after all of it is on the card? */
#include <stdio.h>

#include "audit/desk.h"
#include "audit/probes.h"
#include "base/random.h"

enum { ROUNDS = 8, RUN = 16, MIXED_OPERATIONS = 400, PLACES = 48 };

static const char mend_order[] = "keep waiting writes to one block in order, or replace the older "
				 "one in the buffer";

/* The part of the area that bursts leave alone. */
static uint64_t zone_bytes(const struct desk *d)
{
	return d->plan->area_bytes - d->quiet_base;
}

static int write_zone(struct desk *d, uint64_t at, uint32_t length)
{
	int rc = desk_write(d, d->quiet_base + at, length, DESK_PLAIN);

	return rc < 0 ? rc : 0;
}

static int check_zone(struct desk *d, uint64_t at, uint64_t length, struct desk_check *c)
{
	return desk_check(d, d->quiet_base + at, length, c);
}

static int report(struct desk *d, enum promise_id id, const char *mend, const struct desk_check *c,
	const char *when)
{
	char text[200];

	if (desk_stopped(d))
		return 0;
	return desk_report(d, id, desk_judge_order(c), desk_tested(c), mend, "%s, %s",
		desk_check_format(text, sizeof text, c), when);
}

/* Runs of fresh writes, each read back the moment its last write was acknowledged, newest first. */
static int read_after_write(struct desk *d)
{
	struct desk_check c = { 0 };
	uint32_t one = d->request < 8 * d->unit ? d->request : 8 * d->unit, run = one * RUN;
	int rc = 0;

	for (uint32_t i = 0; i < ROUNDS && !rc && !desk_stopped(d); i++) {
		uint64_t base = (uint64_t)i * run % (zone_bytes(d) - run + 1);

		base -= base % d->unit;
		rc = desk_settle(d);
		for (uint32_t k = 0; k < RUN && !rc; k++)
			rc = write_zone(d, base + (uint64_t)k * one, one);
		for (uint32_t k = RUN; k-- > 0 && !rc;)
			rc = check_zone(d, base + (uint64_t)k * one, one, &c);
	}
	return rc ? rc
		  : report(d, PROMISE_ID_READ_AFTER_WRITE,
			    "serve reads of blocks that still wait in the buffer from the buffer, "
			    "or "
			    "empty it first",
			    &c, "read back at once");
}

/* Seeded reads and writes of 1 to 8 units at places that meet again and again. */
static int interleaved(struct desk *d)
{
	struct random r = { d->plan->seed ^ 0x1E };
	struct desk_check c = { 0 };
	uint64_t units = zone_bytes(d) / d->unit;
	int rc = 0;

	if (units > 256)
		units = 256;
	for (int i = 0; i < MIXED_OPERATIONS && !rc && !desk_stopped(d); i++) {
		uint64_t n = 1 + random_below(&r, 8);
		uint64_t at = random_below(&r, units - n + 1) * d->unit;

		if (random_below(&r, 2))
			rc = write_zone(d, at, (uint32_t)(n * d->unit));
		else
			rc = check_zone(d, at, n * d->unit, &c);
	}
	return rc ? rc
		  : report(d, PROMISE_ID_INTERLEAVED,
			    "look for the newest waiting copy of each block of a read", &c,
			    "reads and writes in turn");
}

/* The same blocks three times in a row, short enough that a small buffer holds several; judged when all is on the
 * card. */
static int overlap(struct desk *d)
{
	struct desk_check c = { 0 };
	uint64_t step = 4 * (uint64_t)d->unit, places = zone_bytes(d) / step;
	int rc = desk_settle(d);

	if (places > 4 * PLACES)
		places = 4 * PLACES;
	for (uint64_t p = 0; p < places && !rc && !desk_stopped(d); p++)
		for (int k = 0; k < 3 && !rc; k++)
			rc = write_zone(d, p * step, (p % 2 ? 4 : 1) * d->unit);
	if (!rc)
		rc = desk_spill(d);
	if (!rc)
		rc = check_zone(d, 0, places * step, &c);
	return rc ? rc
		  : report(d, PROMISE_ID_OVERLAP, mend_order, &c,
			    "each written three times in a row");
}

/* Writes that cover parts of one another, moving on by a random step. */
static int partial_overlap(struct desk *d)
{
	struct random r = { d->plan->seed ^ 0x0F };
	struct desk_check c = { 0 };
	uint64_t units = zone_bytes(d) / d->unit, at = 0;
	int rc = desk_settle(d);

	for (int i = 0; i < 4 * PLACES && !rc && at + 8 <= units && !desk_stopped(d); i++) {
		uint64_t n = 2 + random_below(&r, 7);

		rc = write_zone(d, at * d->unit, (uint32_t)(n * d->unit));
		/* One step back for two on: each block is met more than once. */
		at = i % 3 == 2 && at ? at - random_below(&r, at < 4 ? at : 4)
				      : at + 1 + random_below(&r, n);
	}
	if (!rc)
		rc = desk_spill(d);
	if (!rc)
		rc = check_zone(d, 0, (at + 8 < units ? at + 8 : units) * d->unit, &c);
	return rc ? rc
		  : report(d, PROMISE_ID_PARTIAL_OVERLAP, mend_order, &c,
			    "written in overlapping steps");
}

/* One stream of odd lengths that passes the full buffer again and again: requests that only half fit. */
static int straddle(struct desk *d)
{
	struct random r = { d->plan->seed ^ 0x57 };
	struct desk_check c = { 0 };
	uint64_t want = d->known.burst_bytes * 2, all = zone_bytes(d), at = 0;
	int rc = desk_settle(d);

	if (want > all)
		want = all;
	while (at + 16 * (uint64_t)d->unit <= want && !rc && !desk_stopped(d)) {
		uint32_t n = d->unit * (uint32_t)(1 + random_below(&r, 15));

		rc = write_zone(d, at, n);
		at += n;
	}
	if (!rc)
		rc = desk_spill(d);
	if (!rc)
		rc = check_zone(d, 0, at, &c);
	return rc ? rc
		  : report(d, PROMISE_ID_STRADDLE,
			    "take the rest of a request when the buffer has room again, block by "
			    "block in order",
			    &c, "in requests of 1 to 15 blocks through a full buffer");
}

int probe_coherence(struct desk *d)
{
	int (*const parts[])(struct desk *) = { read_after_write, interleaved, overlap,
		partial_overlap, straddle };
	int rc = 0;

	for (size_t i = 0; i < sizeof parts / sizeof *parts && !rc && !desk_stopped(d); i++)
		rc = parts[i](d);
	return rc;
}
