/* Counts over cuts. */
#include "findings/cut_totals.h"

#include <string.h>

#include "analysis/interval.h"

void cut_totals_add(struct cut_totals *t, const struct recheck_result *r)
{
	enum recheck_conclusion c = recheck_conclude(r);

	t->rechecked++;
	t->broken += c == RECHECK_BROKEN;
	t->not_shown += c == RECHECK_NOT_SHOWN;
	if (c != RECHECK_NOT_SHOWN) {
		t->promises += r->promises;
		t->promises_broken += r->promises_broken;
		t->lossy += r->forgotten != 0;
		t->flush_pairs += r->flushes.telling;
		t->flush_pairs_grew += r->flushes.grew;
		t->throughs += r->throughs;
		t->through_cuts += r->through_last && r->through_alone_known && r->through_alone;
	}
	t->by_answer |= r->acknowledged_counts;
	t->answer_cuts += r->acknowledged_counts && c != RECHECK_NOT_SHOWN;
	for (int d = 0; d < RECHECK_DUTIES; d++) {
		t->blocks[d] += r->blocks[d];
		t->broken_blocks[d] += r->broken[d];
	}
	t->in_flight_old += r->in_flight_old;
	t->in_flight_new += r->in_flight_new;
	t->forgotten += r->forgotten;
	t->disordered += !r->order_kept;
}

void cut_totals(struct cut_totals *out, const struct cut_record *r)
{
	*out = (struct cut_totals){ .cuts = r->count };
	for (size_t i = 0; i < r->count; i++)
		if (r->cycles[i].rechecks)
			cut_totals_add(out, &r->cycles[i].verdict);
}

bool cut_totals_flushes_grow(const struct cut_totals *t)
{
	return interval_share(t->flush_pairs_grew, t->flush_pairs, 0.98).low > 0.5;
}

enum cut_lack cut_totals_lack(const struct cut_totals *t)
{
	/* What claims a cache in some of them shows in those what a flush is worth, and nothing of an answer. */
	if (t->by_answer && t->answer_cuts < CUT_ANSWERS_LEAST)
		return CUT_LACKS_ANSWERS;
	if (t->by_answer && t->answer_cuts == cut_totals_tested(t))
		return CUT_LACKS_NOTHING;
	if (!t->lossy)
		return CUT_LACKS_LOSS;
	if (!cut_totals_flushes_grow(t))
		return CUT_LACKS_FLUSHES;
	return t->throughs && t->through_cuts < CUT_FUA_LEAST ? CUT_LACKS_FUA : CUT_LACKS_NOTHING;
}

enum recheck_conclusion cut_totals_conclude(const struct cut_totals *t)
{
	if (t->broken)
		return RECHECK_BROKEN;
	if (!cut_totals_tested(t))
		return RECHECK_NOT_SHOWN;
	return cut_totals_lack(t) == CUT_LACKS_NOTHING ? RECHECK_KEPT : RECHECK_NOT_SHOWN;
}

bool cut_is_unseen(const struct cut_cycle *c)
{
	return c->ready && !c->rechecks &&
	       (!*c->stop || !strcmp(c->stop, cut_ending_name(CUT_GONE)) ||
		       !strcmp(c->stop, cut_ending_name(CUT_TIME_UP)));
}
