/* How far an explanation's figures carry: each doubt said once, of the table where it is largest. */
#include "findings/explain_doubts.h"

#include <math.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/explain_codes.h"
#include "findings/explain_view.h"
#include "findings/points.h"

/* Figures as text; each needs memory of its own within one sentence. */
#define RATE(value) rate_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define SIZE(value) size_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define AMOUNT(value) size_format_decimal((char[SIZE_TEXT_MAX]){ 0 }, value)

/* Names listed before the rest are only counted. */
enum { NAMES_MAX = 2 };

/* of: " of random reads", of the tables it holds for; "" when these are all. */
struct doubt {
	enum explain_code code;
	/* > 0: it holds, the more the worse */
	double (*weight)(const struct explained *x);
	void (*say)(struct text *t, const struct explained *worst, const char *of);
};

static const char *side(const struct explained *x)
{
	return x->direction == RUN_WRITE ? "write" : "read";
}

/* ---- rates that can't be ---- */

static double link_beaten(const struct explained *x)
{
	return x->diagnosis.link_beaten ? x->diagnosis.fastest : 0;
}

static void say_link_beaten(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t, "Rates%s reach %s, more than the link's %s: %s.", of,
		RATE(x->diagnosis.fastest), RATE(x->diagnosis.usual.link),
		x->link_known ? "--link is too low" : "something on the host answers");
}

static double link_impossible(const struct explained *x)
{
	return x->diagnosis.link_impossible ? x->diagnosis.usual.link : 0;
}

static void say_link_impossible(struct text *t, const struct explained *x, const char *of)
{
	(void)of;
	text_addf(t,
		"The link's %s as given is more than a %s link carries, %s: it was measured on "
		"another link, or not at all.",
		RATE(x->diagnosis.usual.link), x->usb->name, RATE(x->usb->ceiling));
}

static double card_impossible(const struct explained *x)
{
	return x->diagnosis.card_impossible ? x->diagnosis.usual.card : 0;
}

static void say_card_impossible(struct text *t, const struct explained *x, const char *of)
{
	(void)of;
	text_addf(t,
		"The card's %s as given with --card-%s is more than its bus carries: one of the "
		"two is wrong.",
		RATE(x->diagnosis.usual.card), side(x));
}

static double card_beaten(const struct explained *x)
{
	return x->diagnosis.card_beaten ? x->diagnosis.fastest : 0;
}

static void say_card_beaten(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t, "Rates%s reach %s, more than the card's %s: %s, or a cache or buffer answers.",
		of, RATE(x->diagnosis.fastest), RATE(x->diagnosis.usual.card),
		x->card_known ? "the stated rate is too low" : "it is on another bus");
}

static double card_is_bus(const struct explained *x)
{
	return x->diagnosis.usual.card > 0 && x->diagnosis.usual.card_is_ceiling;
}

static void say_card_is_bus(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"The card's %s%s is only what its bus can carry; a real card is slower. Measure it "
		"on the device and give it as --card-%s.",
		RATE(x->diagnosis.usual.card), *of ? " for some" : "", side(x));
}

/* ---- the line ---- */

static double few_sizes(const struct explained *x)
{
	return x->line.known ? 0 : 1 / (double)x->point_count;
}

static void say_few_sizes(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"%zu request size%s%s cannot tell fixed cost from streaming rate: sweep at least "
		"%d sizes, the largest %.0f times the smallest or more.",
		x->point_count, x->point_count == 1 ? "" : "s", of, COST_SIZES_MIN, COST_SPAN_MIN);
}

static double doubted(const struct explained *x, enum cost_doubt doubt)
{
	return x->line.known && x->line.doubts & doubt;
}

static double narrow(const struct explained *x)
{
	return doubted(x, COST_TOO_NARROW);
}

static void say_narrow(struct text *t, const struct explained *x, const char *of)
{
	(void)x;
	text_addf(t,
		"The sizes%s lie within a factor of %.0f: too narrow to tell fixed cost from "
		"streaming rate with confidence. Sweep a wider range.",
		of, COST_SPAN_MIN);
}

static double rate_unsure(const struct explained *x)
{
	return doubted(x, COST_RATE_UNSURE);
}

static void say_rate_unsure(struct text *t, const struct explained *x, const char *of)
{
	(void)x;
	text_addf(t,
		"The streaming rate%s is not determined by these passes (its 95 %% interval spans "
		"a factor of 2 or more): add larger sizes, more passes or a quieter machine.",
		of);
}

static double fixed_unsure(const struct explained *x)
{
	return doubted(x, COST_FIXED_UNSURE);
}

static void say_fixed_unsure(struct text *t, const struct explained *x, const char *of)
{
	(void)x;
	text_addf(t,
		"A fixed cost%s cannot be told from none: its 95 %% interval reaches 0. Smaller "
		"sizes or more passes would show it.",
		of);
}

static double has_shape(const struct explained *x, enum growth_kind kind)
{
	return x->growths.fits && x->growths.list[0].kind == kind;
}

static double pieces(const struct explained *x)
{
	return has_shape(x, GROWTH_COARSE);
}

static void say_pieces(struct text *t, const struct explained *x, const char *of)
{
	const struct growth *g = &x->growths.list[0];

	text_addf(t,
		"Requests%s grow by %s up to about %s, and by %s beyond: link and card overlap in "
		"pieces of that size, and smaller pieces would let small requests gain too.",
		of, RATE(1 / g->slope_below), AMOUNT(g->at_bytes), RATE(1 / g->slope));
}

static double bends(const struct explained *x)
{
	return has_shape(x, GROWTH_TURNED);
}

static void say_bends(struct text *t, const struct explained *x, const char *of)
{
	const struct growth *g = &x->growths.list[0];

	text_addf(t,
		"The line%s bends at about %s: %s below, %s above. From there on something else "
		"sets the pace.",
		of, AMOUNT(g->at_bytes), RATE(1 / g->slope_below), RATE(1 / g->slope));
}

static double misfit(const struct explained *x)
{
	enum growth_kind kind = x->growths.list[0].kind;
	bool told = x->growths.fits && (kind == GROWTH_COARSE || kind == GROWTH_TURNED);

	return doubted(x, COST_BENT) > 0 && !told && kind != GROWTH_UNIT ? x->line.worst : 0;
}

static void say_misfit(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"One fixed cost and one rate do not describe the times%s: the line is off by %.0f "
		"%% at %s, more than the passes' scatter explains. Rely on the measured points.",
		of, x->line.worst * 100, SIZE(x->line.worst_bytes));
}

/* ---- time ---- */

static double drift(const struct explained *x)
{
	return x->wander.trends ? fabs(x->wander.change) + 1e-9 : 0;
}

static void say_drift(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"The passes%s drifted: requests took %.0f %% %s at the end of the run than at its "
		"beginning. The intervals don't cover what comes later.",
		of, fabs(x->wander.change) * 100, x->wander.change > 0 ? "longer" : "less");
}

static double clings(const struct explained *x)
{
	return x->wander.clings && !x->wander.trends;
}

static void say_clings(struct text *t, const struct explained *x, const char *of)
{
	(void)x;
	text_addf(t,
		"Consecutive passes%s are more alike than others: the rate drifts slowly by "
		"itself, and the intervals are wider for it. Several runs tell more than longer "
		"ones.",
		of);
}

/* ---- storing ---- */

static double behind(const struct explained *x)
{
	return x->behind > EXPLAIN_BEHIND ? x->behind : 0;
}

static void say_behind(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"Writes are acknowledged %.0f %% faster than they are stored%s (at %s; %s %s): the "
		"target writes behind. About %.0f KiB were not yet stored after the last answer. "
		"See what 'audit' and 'verify' say about it.",
		(x->behind - 1) * 100, *of ? " in places" : "", SIZE(x->behind_at),
		x->behind_flushed ? "the closing flush took" : "storing went on for",
		TIME(x->behind_flush_s), x->behind_bytes / 1024);
}

static double split(const struct explained *x)
{
	double k = x->points[x->point_count - 1].pieces;

	return k > 1.01 ? k : 0;
}

static void say_split(struct text *t, const struct explained *x, const char *of)
{
	const struct cost_point *c = &x->points[x->point_count - 1];

	(void)of;
	text_addf(t,
		"The kernel splits large requests: one of %s reaches the device as %.3g pieces. "
		"Each piece pays the fixed cost; the lines are fitted to the pieces.",
		SIZE(c->request_bytes), c->pieces);
}

static double left_out(const struct explained *x)
{
	return (double)x->left_out;
}

static void say_left_out(struct text *t, const struct explained *x, const char *of)
{
	text_addf(t,
		"Passes that do not count (cut, disturbed, with errors) are left out%s: %zu of "
		"%zu.",
		*of ? of : "", x->left_out, x->left_out + x->passes);
}

static const struct doubt doubts[] = {
	{ EXPLAIN_LINK_BEATEN, link_beaten, say_link_beaten },
	{ EXPLAIN_LINK_IMPOSSIBLE, link_impossible, say_link_impossible },
	{ EXPLAIN_CARD_IMPOSSIBLE, card_impossible, say_card_impossible },
	{ EXPLAIN_CARD_BEATEN, card_beaten, say_card_beaten },
	{ EXPLAIN_CARD_IS_BUS, card_is_bus, say_card_is_bus },
	{ EXPLAIN_WRITES_BEHIND, behind, say_behind },
	{ EXPLAIN_PIECES, pieces, say_pieces },
	{ EXPLAIN_BENDS, bends, say_bends },
	{ EXPLAIN_MISFIT, misfit, say_misfit },
	{ EXPLAIN_FEW_SIZES, few_sizes, say_few_sizes },
	{ EXPLAIN_NARROW, narrow, say_narrow },
	{ EXPLAIN_RATE_UNSURE, rate_unsure, say_rate_unsure },
	{ EXPLAIN_FIXED_UNSURE, fixed_unsure, say_fixed_unsure },
	{ EXPLAIN_DRIFT, drift, say_drift },
	{ EXPLAIN_CLINGS, clings, say_clings },
	{ EXPLAIN_LEFT_OUT, left_out, say_left_out },
	{ EXPLAIN_SPLIT, split, say_split },
};

/* Tables that a doubt holds for. */
struct held {
	const struct explained *worst;
	size_t count, all;
	const char *of; /* the first few of them, named */
	const char *list; /* all of them, with '+' between */
};

static void take(struct held *h, struct pool *p, const struct doubt *d, const struct explained *x)
{
	const char *name = points_series_words(p, x->order, x->direction, x->in_flight);

	h->all++;
	if (!(d->weight(x) > 0))
		return;
	if (!h->worst || d->weight(x) > d->weight(h->worst))
		h->worst = x;
	if (h->count < NAMES_MAX)
		h->of = pool_printf(p, "%s%s%s", h->of, h->count ? " and " : " of ", name);
	h->list = pool_printf(p, "%s%s%s", h->list, h->count ? "+" : "", name);
	h->count++;
}

static void add_doubt(struct findings *f, const struct doubt *d, const struct held *h)
{
	const char *of = h->count == h->all ? "" : h->of;
	struct finding *one;
	struct text t;

	if (*of && h->count > NAMES_MAX)
		of = pool_printf(f->pool, "%s and %zu more", of, h->count - NAMES_MAX);
	text_init(&t);
	d->say(&t, h->worst, of);
	one = finding_add(f, &explain_codes[d->code], "%s", t.bytes ? t.bytes : "");
	finding_figure(one, "of", value_words(h->list));
	f->pool->failed |= t.failed;
	text_release(&t);
}

void explain_doubts_add(struct findings *f, const struct explanation *e, unsigned directions)
{
	for (size_t d = 0; d < sizeof doubts / sizeof *doubts; d++) {
		struct held h = { .of = "", .list = "" };

		for (size_t i = 0; i < e->count; i++)
			if (directions & 1u << e->tables[i].direction)
				take(&h, f->pool, &doubts[d], &e->tables[i]);
		if (h.worst)
			add_doubt(f, &doubts[d], &h);
	}
}
