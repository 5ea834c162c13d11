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

/* Round after round, each looked at before the next one writes over what it lost. */
static int write_many(struct desk *d, uint64_t *done, struct desk_check *c)
{
	uint64_t now = medium_now_ns(d->m);
	uint64_t end = d->plan->many_limit_ns > UINT64_MAX - now ? UINT64_MAX
								 : now + d->plan->many_limit_ns;
	int rc = 0;

	*done = 0;
	for (uint32_t round = 0; *done < d->plan->many_writes && !rc && !desk_stopped(d); round++) {
		if (round && medium_now_ns(d->m) > end)
			break;
		rc = write_round(d, round, end, done);
		if (!rc)
			rc = desk_spill(d);
		if (!rc)
			rc = desk_check(d, 0, d->plan->area_bytes, c);
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
		if (again.wrong < 2 || errors != desk_told(d))
			continue;
		d->silent_places++;
		for (uint32_t b = 0; b < d->unit / d->block; b++)
			d->window[at / d->block + b] = DESK_BAD_PLACE;
	}
	return 0;
}

/* "0 of 8192 blocks wrong after 3000 small writes ...": the bound rests on writes that could be judged, and on no more. */
static int report(struct desk *d, const struct desk_check *c, uint64_t writes)
{
	static const char mend[] =
		"look for writes that are dropped, cut short or stored elsewhere on "
		"their way from the buffer; 'blkassay verify' shows the pattern";
	uint64_t blocks = small_request(d) / d->block, seen = desk_tested(c) / blocks;
	char text[200], share[120] = "";

	if (seen > writes)
		seen = writes;
	if (c->wrong)
		snprintf(share, sizeof share, "; blocks wrong, share: %.2g",
			(double)c->wrong / (double)c->judged);
	else if (seen)
		snprintf(share, sizeof share,
			"; with 95 %% confidence the share of lost writes is under %.2g",
			interval_upper_of_none(seen, 0.95));
	return desk_report(d, PROMISE_ID_STORED, c->wrong ? PROMISE_BROKEN : PROMISE_KEPT,
		desk_tested(c), desk_mend(c, mend),
		"%s after %llu small writes and a flush, read back from the card%s",
		desk_check_format(text, sizeof text, c), (unsigned long long)writes, share);
}

int probe_stored(struct desk *d)
{
	struct desk_check c = { 0 };
	uint64_t writes;
	int rc = write_many(d, &writes, &c);

	if (rc < 0 || desk_stopped(d))
		return rc;
	rc = report(d, &c, writes);
	return rc || !c.wrong ? rc : find_silent_places(d, &c);
}
