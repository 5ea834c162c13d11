/* Is everything there that was acknowledged and flushed? Many small writes in seeded order, then the whole area. */
#include <stdio.h>

#include "analysis/interval.h"
#include "audit/probe_context.h"
#include "audit/probes.h"
#include "base/random.h"

enum { SMALL = 4096 };

static uint32_t small_request(const struct probe_context *pc)
{
	return SMALL > pc->unit ? SMALL : pc->unit;
}

/* Every place once, in an order of this round; *done counts on. */
static int write_round(struct probe_context *pc, uint32_t round, uint64_t end_ns, uint64_t *done)
{
	uint32_t request = small_request(pc);
	uint64_t places = pc->plan->area_bytes / request;
	struct permutation order;

	permutation_init(&order, places, pc->plan->seed + round);
	for (uint64_t i = 0; i < places && *done < pc->plan->many_writes && !context_stopped(pc);
		i++) {
		int rc = context_write(
			pc, permutation_at(&order, i) * request, request, PROBE_PLAIN);

		if (rc < 0)
			return rc;
		++*done;
		if (medium_now_ns(pc->m) > end_ns)
			break;
	}
	return 0;
}

/* Small writes of which the first block is still to be judged: acknowledged, excused by no error, and not written over. */
static uint64_t count_judgeable(const struct probe_context *pc, uint32_t first, uint32_t end)
{
	uint64_t step = small_request(pc) / pc->block, n = 0;

	for (uint64_t i = 0; i < pc->blocks; i += step)
		n += pc->generation[i] >= first && pc->generation[i] < end;
	return n;
}

struct many {
	uint64_t done, judgeable; /* small writes */
	struct probe_check check;
};

/* Round after round, each looked at before the next one writes over what it lost. */
static int write_many(struct probe_context *pc, struct many *m)
{
	uint64_t now = medium_now_ns(pc->m);
	uint64_t end = pc->plan->many_limit_ns > UINT64_MAX - now ? UINT64_MAX
								  : now + pc->plan->many_limit_ns;
	int rc = 0;

	for (uint32_t round = 0; m->done < pc->plan->many_writes && !rc && !context_stopped(pc);
		round++) {
		uint32_t first = pc->next_generation, last;

		if (round && medium_now_ns(pc->m) > end)
			break;
		rc = write_round(pc, round, end, &m->done);
		last = pc->next_generation;
		if (!rc)
			rc = context_spill(pc);
		m->judgeable += count_judgeable(pc, first, last);
		if (!rc)
			rc = context_check(pc, 0, pc->plan->area_bytes, &m->check);
	}
	return rc;
}

/* A lost write is gone once; a bad place loses whatever is written there. */
static int find_silent_places(struct probe_context *pc, const struct probe_check *c)
{
	size_t n = c->wrong < 16 ? (size_t)c->wrong : 16;

	for (size_t i = 0; i < n && !context_stopped(pc); i++) {
		uint64_t at = c->wrong_at[i] / pc->unit * pc->unit, errors = context_told(pc);
		struct probe_check again = { 0 };
		int rc = 0;

		for (int k = 0; k < 2 && rc >= 0; k++) {
			rc = context_write(pc, at, pc->unit, PROBE_PLAIN);
			rc = rc < 0 ? rc : context_settle(pc);
			rc = rc < 0 ? rc : context_check(pc, at, pc->unit, &again);
		}
		if (rc < 0)
			return rc;
		/* What cannot be read back may hold what was written. */
		if (again.wrong - again.unreadable < 2 || errors != context_told(pc))
			continue;
		pc->silent_places++;
		for (uint32_t b = 0; b < pc->unit / pc->block; b++)
			pc->window[at / pc->block + b] = PROBE_BAD_PLACE;
	}
	return 0;
}

/* "0 of 8192 blocks wrong after 3000 small writes ...": the bound rests on writes that could be judged, and on no more. */
static int report(struct probe_context *pc, const struct many *m)
{
	static const char mend[] =
		"look for writes that are dropped, cut short or stored elsewhere on "
		"their way from the buffer; 'blkassay verify' shows the pattern";
	const struct probe_check *c = &m->check;
	uint64_t blocks = m->judgeable * (small_request(pc) / pc->block),
		 tested = context_tested(c);
	char text[200], share[120] = "";

	if (c->wrong)
		snprintf(share, sizeof share, "; share of blocks that are wrong: %.2g",
			(double)c->wrong / (double)c->judged);
	else if (m->judgeable)
		snprintf(share, sizeof share,
			"; with 95 %% confidence the share of lost writes is under %.2g",
			interval_upper_of_none(m->judgeable, 0.95));
	return context_report(pc, PROMISE_ID_STORED, c->wrong ? PROMISE_BROKEN : PROMISE_KEPT,
		tested < blocks || c->wrong ? tested : blocks, context_mend(c, mend),
		"%s after %llu small writes and a flush, read back from the card%s",
		probe_check_format(text, sizeof text, c), (unsigned long long)m->done, share);
}

int probe_stored(struct probe_context *pc)
{
	struct many m = { 0 };
	int rc = write_many(pc, &m);

	if (rc < 0 || context_stopped(pc))
		return rc;
	rc = report(pc, &m);
	return rc || !m.check.wrong ? rc : find_silent_places(pc, &m.check);
}
