/* Findings as sentences: what, how much, what to do. */
#include <math.h>
#include <stdarg.h>
#include <stdio.h>

#include "analysis/stages.h"
#include "base/size.h"
#include "findings/explain_advice.h"

/* Figures as text; each needs memory of its own within one sentence. */
#define RATE(value) rate_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define SIZE(value) size_format((char[SIZE_TEXT_MAX]){ 0 }, value)

/* From this share on, a request is all fixed cost as far as a line can tell. */
#define FIXED_ALL 0.95

static void say(const struct advice_visitor *v, bool caution, const char *fmt, ...)
	__attribute__((format(printf, 3, 4)));

static void say(const struct advice_visitor *v, bool caution, const char *fmt, ...)
{
	char sentence[900];
	va_list args;

	va_start(args, fmt);
	vsnprintf(sentence, sizeof sentence, fmt, args);
	va_end(args);
	v->advice(v->context, caution, sentence);
}

static double percent(double now, double before)
{
	return (now / before - 1) * 100;
}

/* ---- can the data carry it? ---- */

static void advise_doubts(const struct explained *x, const struct advice_visitor *v)
{
	const struct cost_line *l = &x->line;

	if (!l->known) {
		say(v, true,
			"%zu request size%s cannot tell fixed cost from streaming rate: sweep at "
			"least %d sizes, the largest %.0f times the smallest or more.",
			x->point_count, x->point_count == 1 ? "" : "s", COST_SIZES_MIN,
			COST_SPAN_MIN);
		return;
	}
	if (l->doubts & COST_TOO_NARROW)
		say(v, true,
			"The sizes lie within a factor of %.0f: too narrow to tell fixed cost from "
			"streaming rate with confidence. Sweep a wider range.",
			COST_SPAN_MIN);
	if (l->doubts & COST_RATE_UNSURE)
		say(v, true,
			"The streaming rate is not determined by these passes (its 95 %% interval "
			"spans a factor of 2 or more): add larger sizes, more passes or a quieter "
			"machine.");
	if (l->doubts & COST_FIXED_UNSURE)
		say(v, true,
			"A fixed cost cannot be told from none: its 95 %% interval reaches 0. "
			"Smaller sizes or more passes would show it.");
}

static void advise_knee(const struct explained *x, const struct advice_visitor *v)
{
	const struct cost_line *l = &x->line;
	const struct cost_knee *k = &l->knee;

	if (!l->known)
		return;
	if (k->found && isinf(k->rate_below))
		say(v, false,
			"Up to %s a request takes the same time whatever its size; above, %s more. "
			"So something works in units of about %s: the card's write unit or a "
			"buffer of the firmware. Requests of that size, aligned to it, waste "
			"nothing.",
			SIZE((uint64_t)k->at_bytes), RATE(k->rate_above),
			SIZE((uint64_t)k->at_bytes));
	else if (k->found)
		say(v, false,
			"The line bends at about %s: %s below, %s above (known to the next "
			"measured sizes only). Look for a buffer, a transfer limit or a card write "
			"unit of that size.",
			SIZE((uint64_t)k->at_bytes), RATE(k->rate_below), RATE(k->rate_above));
	else if (l->doubts & COST_BENT)
		say(v, true,
			"One fixed cost and one rate do not describe this target: the line is off "
			"by %.0f %% at %s, and no single bend mends it. Rely on the measured "
			"points.",
			l->worst * 100, SIZE(l->worst_bytes));
}

/* ---- what limits ---- */

static void advise_flat(const struct explained *x, const struct advice_visitor *v)
{
	const struct diagnosis *d = &x->diagnosis;

	if (d->findings & FINDING_FLAT)
		say(v, false,
			"The rate hardly grows with request size and stays at %s, where link and "
			"card even one after the other give %s: the firmware seems to handle one "
			"sector at a time. Whole-request transfers with multi-block card commands "
			"would gain up to %+.0f %%.",
			RATE(d->largest.measured), RATE(d->flat_reference),
			percent(d->flat_reference, d->largest.measured));
	if (d->findings & FINDING_FLAT_OR_CARD)
		say(v, false,
			"The rate hardly grows with request size and stays at %s, far below the "
			"link's %s: the firmware handles one sector at a time, or moves a request "
			"over the link and to the card one after the other, or the card itself is "
			"that slow. Measure the card alone on the device and give it as --card-%s; "
			"then this says which.",
			RATE(d->largest.measured), RATE(d->flat_reference),
			x->direction == RUN_WRITE ? "write" : "read");
}

static void advise_fixed(const struct explained *x, const struct advice_visitor *v)
{
	const struct diagnosis *d = &x->diagnosis;
	double usual_s = (double)d->usual.bytes / d->usual.measured, fixed_s = x->line.fixed_s;

	if (!(d->findings & FINDING_FIXED_DOMINATES))
		return;
	/* A line need not meet its smallest point: the fixed cost may come out above the whole request. */
	if (fixed_s >= FIXED_ALL * usual_s)
		say(v, false,
			"At %s a request takes %s, and the line's fixed cost is %s: its size "
			"hardly "
			"counts there. The work per request is what to cut, or get the host to "
			"send "
			"larger requests. Half the fixed cost would give about %s there.",
			SIZE(d->usual.bytes), TIME(usual_s), TIME(fixed_s),
			RATE((double)d->usual.bytes / (usual_s - fmin(fixed_s, usual_s) / 2)));
	else
		say(v, false,
			"At %s, %s of %s is fixed cost (%.0f %%): the work per request is what to "
			"cut, or get the host to send larger requests. Half the fixed cost would "
			"give %s there.",
			SIZE(d->usual.bytes), TIME(fixed_s), TIME(usual_s), d->fixed_share * 100,
			RATE((double)d->usual.bytes / (usual_s - fixed_s / 2)));
}

static void advise_link(const struct explained *x, const struct advice_visitor *v)
{
	const struct diagnosis *d = &x->diagnosis;
	const struct stage_budget *u = &d->usual, *l = &d->largest;
	const struct stage_budget *at = u->measured >= 0.9 * u->packed ? u : l;

	if (d->findings & FINDING_AT_LINK)
		say(v, false,
			"At %s the rate is %.0f %% of the most this link can carry (%s, %s): the "
			"firmware has little left to gain at this size; only a faster link would.",
			SIZE(at->bytes), 100 * at->measured / at->packed, RATE(at->packed),
			x->usb->name);
	if (d->findings & FINDING_FRAME_BOUND)
		say(v, true,
			"At %s the rate is within %.1f %% of %s, where a host tops out that serves "
			"one phase of a command a frame (command, data, status): this limit may be "
			"the host's scheduling and not the card. Larger requests separate the two: "
			"at %s that bound is %s and %s was measured.",
			SIZE(u->bytes), fabs(percent(u->measured, u->phased)), RATE(u->phased),
			SIZE(l->bytes), RATE(l->phased), RATE(l->measured));
}

static void advise_slower(const struct stage_budget *b, const struct advice_visitor *v)
{
	say(v, false,
		"At %s each request takes %s longer than link and card one after the other: "
		"neither explains it. Look for firmware work per request or per sector, waiting, "
		"or single-sector commands.",
		SIZE(b->bytes), TIME(b->unexplained_s));
}

static void advise_overlap(
	const struct stage_budget *b, bool frame_bound, const struct advice_visitor *v)
{
	double card_share = b->in_turn / b->card;

	say(v, false,
		"At %s link and card work %s: %.0f %% of the time is the card's share, %.0f %% the "
		"link's. Overlapping them would give up to %s (%+.0f %%); after that the %s is "
		"what limits.",
		SIZE(b->bytes), stage_verdict_name(b->verdict), card_share * 100,
		(1 - card_share) * 100, RATE(b->overlapped), percent(b->overlapped, b->measured),
		b->link < b->card ? "link" : "card");
	if (frame_bound)
		say(v, true,
			"That stage budget holds only if the host's scheduling is not the limit, "
			"see above.");
}

static void advise_stages(const struct explained *x, const struct advice_visitor *v)
{
	const struct diagnosis *d = &x->diagnosis;
	const struct stage_budget *u = &d->usual;

	switch (u->verdict) {
	case STAGES_SLOWER:
		if (!(d->findings & FINDING_FLAT)) /* that has said it */
			advise_slower(u, v);
		break;
	case STAGES_IN_TURN:
	case STAGES_PARTLY:
		advise_overlap(u, d->findings & FINDING_FRAME_BOUND, v);
		break;
	case STAGES_OVERLAPPED:
		say(v, false,
			"At %s link and card work overlapped: %s of at most %s. To go faster, the "
			"%s must.%s",
			SIZE(u->bytes), RATE(u->measured), RATE(u->overlapped),
			u->link < u->card ? "link" : "card",
			x->direction == RUN_READ ? ""
						 : " Or the writes are acknowledged before they "
						   "are stored: 'audit' and 'verify' tell.");
		break;
	case STAGES_FASTER:
		say(v, true,
			"At %s the rate of %s is above the slower stage's %s: the %s is faster "
			"than stated%s. Measure it.",
			SIZE(u->bytes), RATE(u->measured), RATE(u->overlapped),
			u->link < u->card ? "link" : "card",
			u->card < u->link ? " (or a cache answers)" : "");
		break;
	case STAGES_UNKNOWN:
		break;
	}
}

static void advise_link_rate(const struct explained *x, const struct advice_visitor *v)
{
	const struct diagnosis *d = &x->diagnosis;
	const struct stage_budget *u = &d->usual;

	if (d->findings & FINDING_LINK_ASSUMED)
		say(v, true,
			"The link's %s is a ceiling, not a measurement, and the stage budget hangs "
			"on it: it must be measured, not assumed. Build a firmware that answers "
			"without touching the card, sweep it, and give its rate as --link.",
			RATE(u->link));
	if (d->findings & FINDING_LINK_DECIDES)
		say(v, true,
			"The verdict on the stages hangs on the link rate: with %s they look %s, "
			"with the link's ceiling of %s %s%s. The link must be measured, not "
			"assumed: sweep a firmware that answers without touching the card, and "
			"give its rate as --link.",
			RATE(u->link), stage_verdict_name(u->verdict), RATE(x->usb->ceiling),
			u->verdict_at_ceiling == u->verdict ? "still " : "",
			stage_verdict_name(u->verdict_at_ceiling));
	if (d->findings & FINDING_CARD_IS_CEILING)
		say(v, true,
			"The card's %s is only what its bus can carry; a real card is slower. "
			"Measure it on the device and give it as --card-%s.",
			RATE(u->card), x->direction == RUN_WRITE ? "write" : "read");
}

static void advise_behind(const struct explained *x, const struct advice_visitor *v)
{
	if (x->diagnosis.findings & FINDING_BEHIND)
		say(v, true,
			"Writes are acknowledged %.0f %% faster than they are stored (at %s; the "
			"closing flush took %s): the target writes behind. About %.0f KiB were not "
			"yet "
			"stored after the last answer. See what 'audit' and 'verify' say about it.",
			(x->behind - 1) * 100, SIZE(x->behind_at), TIME(x->behind_flush_s),
			x->behind_bytes / 1024);
}

void explain_advice_visit(const struct explained *x, const struct advice_visitor *v)
{
	advise_doubts(x, v);
	advise_knee(x, v);
	advise_flat(x, v);
	advise_fixed(x, v);
	advise_link(x, v);
	advise_stages(x, v);
	advise_link_rate(x, v);
	advise_behind(x, v);
}
