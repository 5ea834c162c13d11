/* Verdicts on cuts, counted over cycles. */
#include "findings/recheck_totals.h"

#include <stdio.h>

#include "analysis/interval.h"
#include "base/text.h"

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

void recheck_totals_add(struct recheck_totals *t, const struct recheck_result *r)
{
	enum recheck_conclusion c = recheck_conclude(r);

	t->cycles++;
	t->broken_cycles += c == RECHECK_BROKEN;
	t->not_shown_cycles += c == RECHECK_NOT_SHOWN;
	/* A promise counts as tested when something was cut. */
	if (c == RECHECK_NOT_SHOWN)
		return;
	t->promises += r->promises;
	t->promises_broken += r->promises_broken;
	t->untouched += r->blocks[RECHECK_UNTOUCHED];
	t->untouched_broken += r->broken[RECHECK_UNTOUCHED];
	t->in_flight += r->blocks[RECHECK_IN_FLIGHT];
	t->in_flight_broken += r->broken[RECHECK_IN_FLIGHT];
}

const char *recheck_percent(char buf[RECHECK_PERCENT_MAX], double share)
{
	snprintf(buf, RECHECK_PERCENT_MAX, share >= 0.995 ? "%.0f" : "%.2g", share * 100);
	return buf;
}

void recheck_rate_add(struct text *t, uint64_t broken, uint64_t all)
{
	char is[RECHECK_PERCENT_MAX], low[RECHECK_PERCENT_MAX], high[RECHECK_PERCENT_MAX];
	struct share_bounds b;

	if (!all) {
		text_adds(t, "none was tested");
		return;
	}
	if (!broken) {
		text_addf(t, "none of %llu broken: a rate of at most %s %% (95 %%)", ull(all),
			recheck_percent(high, interval_upper_of_none(all, 0.95)));
		return;
	}
	b = interval_share(broken, all, 0.95);
	text_addf(t, "%llu of %llu broken: %s %%, between %s and %s %% (95 %%)", ull(broken),
		ull(all), recheck_percent(is, (double)broken / (double)all),
		recheck_percent(low, b.low), recheck_percent(high, b.high));
}
