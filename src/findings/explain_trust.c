/* What is named rests on rates that somebody gave. */
#include "findings/explain_trust.h"

#include "base/pool.h"
#include "base/size.h"
#include "findings/explain_phases.h"

#define RATE(value) rate_format((char[SIZE_TEXT_MAX]){ 0 }, value)

/* What the phases were set against goes with it. */
static void forget(struct explained *x, enum explain_given rate)
{
	if (rate == EXPLAIN_GIVEN_LINK) {
		x->link_known = x->phases.link_known = false;
		x->phases.link = 0;
	} else {
		x->card_known = false;
		x->phases.card = 0;
	}
}

bool explain_needs(
	const struct explained *x, const struct culprit_input *without, enum explain_given rate)
{
	struct explained other = *x;

	if (x->culprits.doubt)
		return false;
	forget(&other, rate);
	culprits_find(&other.culprits, without);
	explain_phases_rule_out(&other);
	for (size_t i = 0; i < other.culprits.count; i++)
		if (!culprits_have(&x->culprits, other.culprits.list[i].cause))
			return true;
	return false;
}

static bool rests_on(const struct explained *x, enum explain_given rate)
{
	return x->rests_on >> rate & 1;
}

static bool rests_on_the_impossible(const struct explained *x)
{
	return (rests_on(x, EXPLAIN_GIVEN_LINK) && x->diagnosis.link_impossible) ||
	       (rests_on(x, EXPLAIN_GIVEN_CARD) && x->diagnosis.card_impossible);
}

bool explain_refutes_link(const struct explained *x)
{
	return x->link_known && (x->diagnosis.link_beaten || x->phases.link_beaten ||
					x->culprits.doubt == CULPRIT_LINK_BEATEN);
}

void explain_distrust(struct explained *x, bool link_refuted)
{
	struct culprits *c = &x->culprits;

	if (c->doubt)
		return;
	x->phases_against = explain_phases_contradict(x);
	x->against = c->list[0].cause;
	if (rests_on(x, EXPLAIN_GIVEN_LINK) && link_refuted)
		culprits_give_up(c, CULPRIT_LINK_BEATEN);
	else if (rests_on(x, EXPLAIN_GIVEN_CARD) && x->diagnosis.card_beaten)
		culprits_give_up(c, CULPRIT_CARD_BEATEN);
	else if (rests_on_the_impossible(x))
		culprits_give_up(c, CULPRIT_IMPOSSIBLE);
	else if (x->phases_against)
		culprits_give_up(c, CULPRIT_PHASES_AGAINST);
	if (c->doubt)
		x->rests_on = 0;
}

const char *explain_trust_words(struct pool *p, const struct explained *x)
{
	bool link = rests_on(x, EXPLAIN_GIVEN_LINK), card = rests_on(x, EXPLAIN_GIVEN_CARD);
	const struct stage_budget *u = &x->diagnosis.usual;
	const char *words = "";

	if (link)
		words = pool_printf(p, "the link really carries %s", RATE(u->link));
	if (card)
		words = pool_printf(p, "%s%s %s %s", words,
			link ? " and the card" : "the card really",
			x->direction == RUN_WRITE ? "writes" : "reads", RATE(u->card));
	return *words ? pool_printf(p, "if %s", words) : "";
}

const char *explain_trust_codes(struct pool *p, const struct explained *x)
{
	bool link = rests_on(x, EXPLAIN_GIVEN_LINK), card = rests_on(x, EXPLAIN_GIVEN_CARD);

	return pool_printf(p, "%s%s%s", link ? "link" : "", link && card ? "+" : "",
		!card                       ? ""
		: x->direction == RUN_WRITE ? "card-write"
					    : "card-read");
}
