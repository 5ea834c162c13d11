/* An explanation as sentences: what limits, by how much, how to tell more, what to do. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/explain_advice.h"

/* Figures as text; each needs memory of its own within one sentence. */
#define RATE(value) rate_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define SIZE(value) size_format((char[SIZE_TEXT_MAX]){ 0 }, value)

/* Rates that differ by less are one rate. */
#define SAME_RATE 1.02
/* Shares that differ by less are those of one cost with several names. */
#define ONE_SHARE 0.1
/* With more names than this the first thing to do is to find out. */
enum { REMEDIES_MAX = 2 };

struct speaker {
	const struct explained *x;
	const struct advice_visitor *v;
	struct text t;
};

static void emit(struct speaker *s, bool caution)
{
	if (s->t.length && !s->t.failed)
		s->v->advice(s->v->context, caution, s->t.bytes);
	text_reset(&s->t);
}

static void say(struct speaker *s, bool caution, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));

static void say(struct speaker *s, bool caution, const char *fmt, ...)
{
	char sentence[900];
	va_list args;

	va_start(args, fmt);
	vsnprintf(sentence, sizeof sentence, fmt, args);
	va_end(args);
	text_adds(&s->t, sentence);
	emit(s, caution);
}

static const char *side(const struct explained *x)
{
	return x->direction == RUN_WRITE ? "write" : "read";
}

/* ---- what limits ---- */

static const char *const causes[CAUSE_COUNT] = {
	[CAUSE_LINK] = "the link",
	[CAUSE_CARD] = "the card",
	[CAUSE_IN_TURN] = "link and card taking turns",
	[CAUSE_REQUEST_COST] = "work for each request, by firmware or card",
	[CAUSE_SECTOR_COST] = "work for each sector",
	[CAUSE_HOST_GAP] = "the host's pause between requests",
	[CAUSE_FRAMES] = "waiting for frames of the bus",
	[CAUSE_PROGRAM_UNIT] = "the card writing whole units for less",
	[CAUSE_STALLS] = "stalls",
	[CAUSE_BACKLOG] = "waiting for writes acknowledged earlier",
	[CAUSE_UNKNOWN] = "not known",
};

static void add_causes(struct text *t, const struct culprit *list, size_t count)
{
	for (size_t i = 0; i < count; i++)
		text_addf(t, "%s%s",
			!i              ? ""
			: i + 1 < count ? ", "
					: " or ",
			causes[list[i].cause]);
}

static void add_share(struct text *t, double low, double high)
{
	if (high - low < 0.02)
		text_addf(t, "%.0f %%", (low + high) * 50);
	else
		text_addf(t, "%.0f to %.0f %%", low * 100, high * 100);
}

static void add_subject(struct speaker *s)
{
	const struct explained *x = s->x;

	text_addf(&s->t, "What limits %s %ss of %s", run_order_name(x->order),
		run_direction_name(x->direction), SIZE(x->judged_bytes));
	if (x->in_flight > 1)
		text_addf(&s->t, " with %u in flight", x->in_flight);
	text_adds(&s->t, ": ");
}

static bool is_base(enum cause c)
{
	return c == CAUSE_LINK || c == CAUSE_CARD;
}

/* What all of them could save, from the least to the most. */
static void add_gain(struct speaker *s)
{
	const struct explained *x = s->x;
	const struct culprits *c = &x->culprits;
	double bytes = (double)x->judged_bytes, fast = INFINITY, slow = 0;

	for (size_t i = 0; i < c->count; i++) {
		if (is_base(c->list[i].cause))
			return;
		fast = fmin(fast, c->list[i].seconds_low);
		slow = fmax(slow, c->list[i].seconds_high);
	}
	fast = fmax(fast, 1e-9);
	slow = fmax(slow, fast);
	text_addf(&s->t, " Without %s they would reach ", c->count > 1 ? "that" : "it");
	if (slow / fast < SAME_RATE)
		text_adds(&s->t, RATE(2 * bytes / (fast + slow)));
	else
		text_addf(&s->t, "%s to %s", RATE(bytes / slow), RATE(bytes / fast));
	text_addf(&s->t, ", now %s.", RATE(bytes / c->seconds));
}

static void add_next(struct speaker *s)
{
	const struct culprits *c = &s->x->culprits;

	if (c->next_count) {
		text_adds(&s->t, " Next: ");
		add_causes(&s->t, c->next, c->next_count);
		text_adds(&s->t, ", ");
		add_share(&s->t, c->next[0].share_low, c->next[0].share_high);
		text_adds(&s->t, ".");
	}
	if (c->perhaps_known)
		text_addf(&s->t, " Perhaps as well: %s, up to %.0f %%.", causes[c->perhaps.cause],
			c->perhaps.share_high * 100);
}

static void say_limit(struct speaker *s)
{
	const struct culprits *c = &s->x->culprits;
	double low = 1, high = 0;

	add_subject(s);
	add_causes(&s->t, c->list, c->count);
	for (size_t i = 0; i < c->count; i++) {
		low = fmin(low, c->list[i].share_low);
		high = fmax(high, c->list[i].share_high);
	}
	if (c->count > 1)
		text_adds(&s->t, " (these figures can't tell which)");
	/* Shares of different causes make no range. */
	if (c->count == 1 || high - low < ONE_SHARE) {
		text_adds(&s->t, ", ");
		add_share(&s->t, low, fmin(1, high));
		text_adds(&s->t, " of the time");
	}
	text_adds(&s->t, ".");
	if (c->count == 1 && is_base(c->list[0].cause))
		text_addf(&s->t, " Only a faster %s would give much more.",
			c->list[0].cause == CAUSE_LINK ? "link" : "card");
	add_gain(s);
	add_next(s);
	emit(s, false);
}

static void say_unknown(struct speaker *s)
{
	const struct explained *x = s->x;
	const struct stage_budget *u = &x->diagnosis.usual;
	const struct growth *g = &x->growths.list[0];

	add_subject(s);
	switch (x->culprits.doubt) {
	case CULPRIT_LINK_BEATEN:
		text_addf(&s->t,
			"not shown, for they take less time for each byte than the link's %s "
			"allows: that rate is wrong, or a cache answers.",
			RATE(u->link));
		break;
	case CULPRIT_CARD_BEATEN:
		text_addf(&s->t,
			"not shown, for they take less time for each byte than the card's %s "
			"allows: that rate is wrong%s.",
			RATE(u->card),
			x->direction == RUN_WRITE
				? ", or they are acknowledged before the card has them"
				: ", or a cache answers");
		break;
	case CULPRIT_TOO_FEW:
		text_adds(&s->t, "not shown: it takes several request sizes to tell.");
		break;
	case CULPRIT_NO_SHAPE:
		text_addf(&s->t,
			"not shown, for their time follows request size in no way that is known "
			"here (the nearest is off by %.0f %%). More sizes and more passes may show "
			"it.",
			g->worst * 100);
		break;
	}
	emit(s, true);
}

/* ---- how to tell more ---- */

static bool has(const struct speaker *s, enum cause c)
{
	return culprits_have(&s->x->culprits, c);
}

static void add_way(struct speaker *s, size_t *count, const char *way)
{
	text_addf(&s->t, "%s%s", (*count)++ ? "; " : "To tell them apart: ", way);
}

static void add_rates_wanted(struct speaker *s, size_t *count)
{
	const struct explained *x = s->x;
	bool bytes = has(s, CAUSE_LINK) || has(s, CAUSE_CARD) || has(s, CAUSE_IN_TURN) ||
		     has(s, CAUSE_SECTOR_COST);
	bool unit = x->direction == RUN_WRITE && has(s, CAUSE_PROGRAM_UNIT);
	char way[200];

	if (bytes && !x->link_known)
		add_way(s, count,
			"give the link's rate as --link (it must be measured, not assumed: sweep a "
			"firmware that answers without touching the card)");
	if ((bytes || unit) && !x->card_known) {
		snprintf(way, sizeof way, "measure the card alone on the device and give --card-%s",
			side(x));
		add_way(s, count, way);
	}
}

static void say_how_to_tell(struct speaker *s)
{
	const struct explained *x = s->x;
	bool fixed = has(s, CAUSE_REQUEST_COST), both = x->link_known && x->card_known;
	size_t count = 0;

	if (x->culprits.count < 2)
		return;
	add_rates_wanted(s, &count);
	if (has(s, CAUSE_HOST_GAP) && x->in_flight == 1)
		add_way(s, &count, "sweep with --in-flight 2: what stays is not the host's");
	if (has(s, CAUSE_HOST_GAP) && x->in_flight > 1)
		add_way(s, &count, "sweep larger requests, which hide the host's pause");
	if (fixed && has(s, CAUSE_PROGRAM_UNIT))
		add_way(s, &count,
			"sweep larger requests, in doubling sizes: from the unit on, the card's "
			"time grows with them");
	if (has(s, CAUSE_FRAMES))
		add_way(s, &count,
			"sweep 512..8Ki, one in flight: frames make every request take a whole "
			"number of them");
	if (has(s, CAUSE_IN_TURN) && has(s, CAUSE_SECTOR_COST) && both)
		add_way(s, &count,
			"a build that hands whole requests to the card, or one that overlaps, "
			"tells");
	if (has(s, CAUSE_IN_TURN) && fixed && x->points[0].request_bytes > 1024)
		add_way(s, &count, "sweep smaller requests");
	if (has(s, CAUSE_LINK) && has(s, CAUSE_CARD) && both)
		add_way(s, &count, "they are too near each other: only both together gain much");
	if (count)
		text_adds(&s->t, ".");
	emit(s, true);
}

/* ---- what to do ---- */

static void say_remedy(struct speaker *s, enum cause cause)
{
	const struct explained *x = s->x;
	const struct growth *g = &x->growths.list[0];

	switch (cause) {
	case CAUSE_IN_TURN:
		say(s, false,
			"Overlap: let the card work on one buffer while the link fills or empties "
			"another.");
		break;
	case CAUSE_REQUEST_COST:
		say(s, false,
			"A request costs %s whatever its size: cut the firmware's work for each, "
			"or get the host to send larger ones.",
			TIME(x->culprits.fixed_s));
		break;
	case CAUSE_SECTOR_COST:
		say(s, false,
			"Hand whole requests to the card with multi-block commands instead of one "
			"sector at a time, and spare the firmware work for each byte.");
		break;
	case CAUSE_HOST_GAP:
		say(s, false,
			"More requests in flight, or larger ones, hide the host's pause; firmware "
			"does not.");
		break;
	case CAUSE_FRAMES:
		say(s, false,
			"Command, data and status wait for a frame of %s each: larger requests, or "
			"a host that serves several phases a frame, are what helps.",
			TIME(x->usb->frame_s));
		break;
	case CAUSE_PROGRAM_UNIT:
		if (g->kind == GROWTH_UNIT)
			say(s, false,
				"The card seems to program units of %s: requests of that size, "
				"aligned to it, waste nothing; the firmware can gather smaller "
				"ones.",
				SIZE((uint64_t)g->at_bytes));
		break;
	case CAUSE_STALLS:
		say(s, false,
			"Stalls took %s of all passes (%.0f of them, about every %s): mostly the "
			"card's own housekeeping, which the firmware's work does not cause and a "
			"buffer can hide.",
			TIME(x->stalls.seconds), x->stalls.count,
			SIZE((uint64_t)(x->stalls.bytes / x->stalls.count)));
		break;
	case CAUSE_BACKLOG:
		say(s, false,
			"Writes of this run were still being stored when these reads began: %s in "
			"all passes. Reads alone (--direction read) are faster.",
			TIME(x->stalls.seconds));
		break;
	default:
		break;
	}
}

static void say_remedies(struct speaker *s)
{
	const struct culprits *c = &s->x->culprits;

	for (size_t i = 0; c->count <= REMEDIES_MAX && i < c->count; i++)
		say_remedy(s, c->list[i].cause);
}

/* ---- how far the figures carry ---- */

static void say_beaten(struct speaker *s)
{
	const struct explained *x = s->x;
	const struct diagnosis *d = &x->diagnosis;

	if (d->link_beaten)
		say(s, true, "They reach %s, more than the link's %s: %s.", RATE(d->fastest),
			RATE(d->usual.link),
			x->link_known ? "--link is too low" : "something on the host answers");
	if (d->card_beaten)
		say(s, true,
			"They reach %s, more than the card's %s: %s, or a cache or buffer answers.",
			RATE(d->fastest), RATE(d->usual.card),
			x->card_known ? "the stated rate is too low" : "it is on another bus");
	if (d->usual.card > 0 && d->usual.card_is_ceiling)
		say(s, true,
			"The card's %s is only what its bus can carry; a real card is slower. "
			"Measure it on the device and give it as --card-%s.",
			RATE(d->usual.card), side(x));
}

static void say_doubts(struct speaker *s)
{
	const struct explained *x = s->x;
	const struct cost_line *l = &x->line;

	if (!l->known)
		say(s, true,
			"%zu request size%s cannot tell fixed cost from streaming rate: sweep at "
			"least %d sizes, the largest %.0f times the smallest or more.",
			x->point_count, x->point_count == 1 ? "" : "s", COST_SIZES_MIN,
			COST_SPAN_MIN);
	if (l->known && l->doubts & COST_TOO_NARROW)
		say(s, true,
			"The sizes lie within a factor of %.0f: too narrow to tell fixed cost from "
			"streaming rate with confidence. Sweep a wider range.",
			COST_SPAN_MIN);
	if (l->known && l->doubts & COST_RATE_UNSURE)
		say(s, true,
			"The streaming rate is not determined by these passes (its 95 %% interval "
			"spans a factor of 2 or more): add larger sizes, more passes or a quieter "
			"machine.");
	if (l->known && l->doubts & COST_FIXED_UNSURE)
		say(s, true,
			"A fixed cost cannot be told from none: its 95 %% interval reaches 0. "
			"Smaller sizes or more passes would show it.");
}

static void say_bend(struct speaker *s)
{
	const struct explained *x = s->x;
	const struct growth *g = &x->growths.list[0];
	const struct cost_line *l = &x->line;

	if (x->growths.fits && g->kind == GROWTH_COARSE)
		say(s, false,
			"Up to %s a request takes %s for each byte, above %s: link and card "
			"overlap in pieces of that size, and smaller pieces would let small "
			"requests gain too.",
			SIZE((uint64_t)g->at_bytes), TIME(g->slope_below), TIME(g->slope));
	else if (x->growths.fits && g->kind == GROWTH_TURNED)
		say(s, false,
			"The line bends at about %s: %s below, %s above. From there on something "
			"else sets the pace.",
			SIZE((uint64_t)g->at_bytes), RATE(1 / g->slope_below), RATE(1 / g->slope));
	else if (l->known && l->doubts & COST_BENT && g->kind != GROWTH_UNIT)
		say(s, true,
			"One fixed cost and one rate do not describe this target: the line is off "
			"by %.0f %% at %s, more than the passes' scatter explains. Rely on the "
			"measured points.",
			l->worst * 100, SIZE(l->worst_bytes));
}

static void say_wander(struct speaker *s)
{
	const struct wander *w = &s->x->wander;

	if (w->trends)
		say(s, true,
			"The passes drifted: requests took %.0f %% %s at the end of the run than "
			"at "
			"its beginning. The intervals don't cover what comes after it.",
			fabs(w->change) * 100, w->change > 0 ? "longer" : "less");
	else if (w->clings)
		say(s, true,
			"Passes that follow each other resemble each other more than others do: "
			"the rate changes slowly by itself, so the intervals may be too narrow. "
			"Several runs tell more than longer ones.");
}

static void say_behind(struct speaker *s)
{
	const struct explained *x = s->x;

	if (x->behind > EXPLAIN_BEHIND)
		say(s, true,
			"Writes are acknowledged %.0f %% faster than they are stored (at %s; the "
			"closing flush took %s): the target writes behind. About %.0f KiB were not "
			"yet stored after the last answer. See what 'audit' and 'verify' say about "
			"it.",
			(x->behind - 1) * 100, SIZE(x->behind_at), TIME(x->behind_flush_s),
			x->behind_bytes / 1024);
}

void explain_advice_visit(const struct explained *x, const struct advice_visitor *v)
{
	struct speaker s = { .x = x, .v = v };

	text_init(&s.t);
	if (x->culprits.doubt)
		say_unknown(&s);
	else
		say_limit(&s);
	say_how_to_tell(&s);
	say_remedies(&s);
	say_bend(&s);
	say_beaten(&s);
	say_doubts(&s);
	say_wander(&s);
	say_behind(&s);
	text_release(&s.t);
}
