/* Is everything there that was acknowledged and flushed? Many small writes in seeded order, then the whole area. */
#include <stdio.h>

#include "analysis/interval.h"
#include "audit/desk.h"
#include "audit/probes.h"
#include "base/random.h"

enum { SMALL = 4096 };

static uint32_t small_request(const struct desk *d)
{
	return SMALL > d->unit ? SMALL : d->unit;
}

/* Every place once, in an order of this round; *done counts on. */
static int write_round(struct desk *d, uint32_t round, uint64_t end_ns, uint64_t *done)
{
	uint32_t request = small_request(d);
	uint64_t places = d->plan->area_bytes / request;
	struct permutation order;

	permutation_init(&order, places, d->plan->seed + round);
	for (uint64_t i = 0; i < places && *done < d->plan->many_writes && !desk_stopped(d); i++) {
		int rc = desk_write(d, permutation_at(&order, i) * request, request, DESK_PLAIN);

		if (rc < 0)
			return rc;
		++*done;
		if (medium_now_ns(d->m) > end_ns)
			break;
	}
	return 0;
}

/* Small writes of which the first block is still to be judged: acknowledged, excused by no error, and not written over. */
static uint64_t count_judgeable(const struct desk *d, uint32_t first, uint32_t end)
{
	uint64_t step = small_request(d) / d->block, n = 0;

	for (uint64_t i = 0; i < d->blocks; i += step)
		n += d->generation[i] >= first && d->generation[i] < end;
	return n;
}

struct many {
	uint64_t done, judgeable; /* small writes */
	struct desk_check check;
};

/* Round after round, each looked at before the next one writes over what it lost. */
static int write_many(struct desk *d, struct many *m)
{
	uint64_t now = medium_now_ns(d->m);
	uint64_t end = d->plan->many_limit_ns > UINT64_MAX - now ? UINT64_MAX
								 : now + d->plan->many_limit_ns;
	int rc = 0;

	for (uint32_t round = 0; m->done < d->plan->many_writes && !rc && !desk_stopped(d);
		round++) {
		uint32_t first = d->next_generation, last;

		if (round && medium_now_ns(d->m) > end)
			break;
		rc = write_round(d, round, end, &m->done);
		last = d->next_generation;
		if (!rc)
			rc = desk_spill(d);
		m->judgeable += count_judgeable(d, first, last);
		if (!rc)
			rc = desk_check(d, 0, d->plan->area_bytes, &m->check);
	}
	return rc;
}

/* A lost write is gone once; a bad place loses whatever is written there. */
static int find_silent_places(struct desk *d, const struct desk_check *c)
{
	size_t n = c->wrong < 16 ? (size_t)c->wrong : 16;

	for (size_t i = 0; i < n && !desk_stopped(d); i++) {
		uint64_t at = c->wrong_at[i] / d->unit * d->unit, errors = desk_told(d);
		struct desk_check again = { 0 };
		int rc = 0;

		for (int k = 0; k < 2 && rc >= 0; k++) {
			rc = desk_write(d, at, d->unit, DESK_PLAIN);
			rc = rc < 0 ? rc : desk_settle(d);
			rc = rc < 0 ? rc : desk_check(d, at, d->unit, &again);
		}
		if (rc < 0)
			return rc;
		/* What cannot be read back may hold what was written. */
		if (again.wrong - again.unreadable < 2 || errors != desk_told(d))
			continue;
		d->silent_places++;
		for (uint32_t b = 0; b < d->unit / d->block; b++)
			d->window[at / d->block + b] = DESK_BAD_PLACE;
	}
	return 0;
}

/* "0 of 8192 blocks wrong after 3000 small writes ...": the bound rests on writes that could be judged, and on no more. */
static int report(struct desk *d, const struct many *m)
{
	static const char mend[] =
		"look for writes that are dropped, cut short or stored elsewhere on "
		"their way from the buffer; 'blkassay verify' shows the pattern";
	const struct desk_check *c = &m->check;
	uint64_t blocks = m->judgeable * (small_request(d) / d->block), tested = desk_tested(c);
	char text[200], share[120] = "";

	if (c->wrong)
		snprintf(share, sizeof share, "; blocks wrong, share: %.2g",
			(double)c->wrong / (double)c->judged);
	else if (m->judgeable)
		snprintf(share, sizeof share,
			"; with 95 %% confidence the share of lost writes is under %.2g",
			interval_upper_of_none(m->judgeable, 0.95));
	return desk_report(d, PROMISE_ID_STORED, c->wrong ? PROMISE_BROKEN : PROMISE_KEPT,
		tested < blocks || c->wrong ? tested : blocks, desk_mend(c, mend),
		"%s after %llu small writes and a flush, read back from the card%s",
		desk_check_format(text, sizeof text, c), (unsigned long long)m->done, share);
}

int probe_stored(struct desk *d)
{
	struct many m = { 0 };
	int rc = write_many(d, &m);

	if (rc < 0 || desk_stopped(d))
		return rc;
	rc = report(d, &m);
	return rc || !m.check.wrong ? rc : find_silent_places(d, &m.check);
}
