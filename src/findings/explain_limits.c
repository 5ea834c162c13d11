/* What limits, in sentences: one for all tables of a direction that come to the same. */
#include "findings/explain_limits.h"

#include <math.h>
#include <string.h>

#include "base/number.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/explain_codes.h"
#include "findings/explain_trust.h"

/* Figures as text; each needs memory of its own within one sentence. */
#define RATE(value) rate_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define SIZE(value) size_format((char[SIZE_TEXT_MAX]){ 0 }, value)

/* Rates that differ by less are one rate. */
#define SAME_RATE 1.02
/* Shares that differ by less are those of one cost with several names, or of one cause in two tables. */
#define ONE_SHARE 0.1
/* A range of shares that is no wider is one share. */
#define POINT_SHARE 0.02
/* Of the time: link or card with less leave something to gain without a faster one. */
#define ONLY_BASE 0.75
/* Tables whose requests take the same time to within that are told in one sentence. */
#define SAME_TIME 1.15
/* Frames show by so many sizes up to this (ours). */
enum { FRAMES_SIZE_MAX = 8192, FRAMES_SIZES_MIN = 4 };

/* Tables of one direction that come to the same. */
struct group {
	const struct explained *first;
	bool sequential, random, whole; /* whole: all tables of the direction */
	bool queued; /* the number in flight must be said */
	double gain; /* to be sorted by */
};

/* ---- groups ---- */

static bool same_causes(const struct culprits *a, const struct culprits *b)
{
	if (a->count != b->count)
		return false;
	for (size_t i = 0; i < a->count; i++)
		if (!culprits_have(b, a->list[i].cause))
			return false;
	return a->count != 1 || fabs(a->list[0].share_high - b->list[0].share_high) < ONE_SHARE;
}

static bool come_to_the_same(const struct explained *a, const struct explained *b)
{
	const struct culprits *x = &a->culprits, *y = &b->culprits;

	if (a->direction != b->direction || a->in_flight != b->in_flight || x->doubt != y->doubt)
		return false;
	if (x->doubt)
		return true;
	return a->judged_bytes == b->judged_bytes && x->seconds < SAME_TIME * y->seconds &&
	       y->seconds < SAME_TIME * x->seconds && same_causes(x, y);
}

static bool is_base(enum cause c)
{
	return c == CAUSE_LINK || c == CAUSE_CARD;
}

/* Most to gain first, then what only link or card can mend, then what is not shown. */
static double gain_of(const struct explained *x)
{
	const struct culprits *c = &x->culprits;

	if (c->doubt)
		return -2;
	return is_base(c->list[0].cause) ? -1 : c->list[0].share_high;
}

static struct group *find_group(struct group *list, size_t count, const struct explained *x)
{
	for (size_t i = 0; i < count; i++)
		if (come_to_the_same(list[i].first, x))
			return &list[i];
	return NULL;
}

static void sort_groups(struct group *list, size_t count)
{
	for (size_t i = 1; i < count; i++) {
		struct group one = list[i];
		size_t at = i;

		for (; at && list[at - 1].gain < one.gain; at--)
			list[at] = list[at - 1];
		list[at] = one;
	}
}

static void note_what_to_say(struct group *g, const struct explanation *e)
{
	g->whole = true;
	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];

		if (x->direction != g->first->direction)
			continue;
		g->whole &= come_to_the_same(g->first, x);
		g->queued |= x->in_flight != 1;
	}
}

static size_t make_groups(struct group *list, const struct explanation *e, unsigned directions)
{
	size_t count = 0;

	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];
		struct group *g = find_group(list, count, x);

		if (!(directions & 1u << x->direction))
			continue;
		if (!g) {
			g = &list[count++];
			*g = (struct group){ .first = x, .gain = gain_of(x) };
		}
		g->sequential |= x->order == RUN_SEQUENTIAL;
		g->random |= x->order == RUN_RANDOM;
	}
	for (size_t i = 0; i < count; i++)
		note_what_to_say(&list[i], e);
	sort_groups(list, count);
	return count;
}

/* ---- words for causes ---- */

static const char *side(const struct explained *x)
{
	return x->direction == RUN_WRITE ? "write" : "read";
}

static const char *const names[CAUSE_COUNT] = {
	[CAUSE_LINK] = "the link",
	[CAUSE_CARD] = "the card",
	[CAUSE_IN_TURN] = "link and card taking turns",
	[CAUSE_REQUEST_COST] = "work per request (firmware or card)",
	[CAUSE_SECTOR_COST] = "work per sector",
	[CAUSE_HOST_GAP] = "the host's pause between requests",
	[CAUSE_FRAMES] = "waiting for frames of the bus",
	[CAUSE_PROGRAM_UNIT] = "work in whole units for less (card or firmware)",
	[CAUSE_STALLS] = "stalls",
	[CAUSE_BACKLOG] = "waiting for writes acknowledged earlier",
	[CAUSE_UNKNOWN] = "not known",
};

static void add_names(struct text *t, const struct culprit *list, size_t count)
{
	for (size_t i = 0; i < count; i++)
		text_addf(t, "%s%s", !i ? "" : i + 1 < count ? ", " : " or ", names[list[i].cause]);
}

static void add_amount(struct text *t, const struct culprit *c, double seconds)
{
	if (c->share_high - c->share_low < POINT_SHARE)
		text_adds(t, TIME((c->share_low + c->share_high) / 2 * seconds));
	else
		text_addf(
			t, "%s to %s", TIME(c->share_low * seconds), TIME(c->share_high * seconds));
}

/* One alone is said with its amount, where that means something. */
static void add_alone(struct text *t, const struct explained *x, const struct culprit *c)
{
	double seconds = x->culprits.seconds, blocks = (double)x->judged_bytes / x->block_bytes;

	if (c->cause == CAUSE_REQUEST_COST) {
		add_amount(t, c, seconds);
		text_adds(t, " of work per request (firmware or card)");
	} else if (c->cause == CAUSE_SECTOR_COST) {
		add_amount(t, c, seconds / blocks);
		text_adds(t, " of work per sector");
	} else if (c->cause == CAUSE_HOST_GAP) {
		text_adds(t, "a pause of the host between requests, ");
		add_amount(t, c, seconds);
	} else {
		text_adds(t, names[c->cause]);
	}
}

/* ---- what to do next ---- */

enum way {
	WAY_LINK,
	WAY_CARD_READ,
	WAY_CARD_WRITE,
	WAY_QUEUE,
	WAY_LARGER,
	WAY_UNITS,
	WAY_FRAMES,
	WAY_FRAMES_IDLE,
	WAY_BUILD,
	WAY_SMALLER,
	WAYS
};

static const char *const ways[WAYS] = {
	[WAY_LINK] = "give the link's rate as --link (measured, not assumed: sweep a firmware that "
		     "answers without touching the card)",
	[WAY_CARD_READ] = "measure the card alone on the device and give --card-read",
	[WAY_CARD_WRITE] = "measure the card alone on the device and give --card-write",
	[WAY_QUEUE] = "sweep with --in-flight 2: what stays is not the host's",
	[WAY_LARGER] = "sweep larger requests, which hide the host's pause",
	[WAY_UNITS] = "sweep larger requests, in doubling sizes: from the card's unit on its time "
		      "grows with them",
	[WAY_FRAMES] =
		"sweep 512..8Ki, one in flight: frames make every request take a whole number "
		"of them",
	[WAY_FRAMES_IDLE] = "sweep again on an idle computer: frames make every request take a "
			    "whole number of them",
	[WAY_BUILD] = "try a build that hands whole requests to the card, or one that overlaps "
		      "link and card",
	[WAY_SMALLER] = "sweep smaller requests",
};

static bool has(const struct explained *x, enum cause c)
{
	return culprits_have(&x->culprits, c);
}

/* Small requests, one after the other: all that shows frames but for quiet. */
static bool frames_were_looked_for(const struct explained *x)
{
	size_t small = 0;

	for (size_t i = 0; i < x->point_count; i++)
		small += x->points[i].request_bytes <= FRAMES_SIZE_MAX;
	return x->in_flight == 1 && small >= FRAMES_SIZES_MIN;
}

/* Bits of enum way that would tell apart what is named together. */
static unsigned ways_of(const struct explained *x)
{
	bool write = x->direction == RUN_WRITE, both = x->link_known && x->card_known;
	bool bytes = has(x, CAUSE_LINK) || has(x, CAUSE_CARD) || has(x, CAUSE_IN_TURN) ||
		     has(x, CAUSE_SECTOR_COST);
	bool unit = write && has(x, CAUSE_PROGRAM_UNIT), fixed = has(x, CAUSE_REQUEST_COST);
	bool gap = has(x, CAUSE_HOST_GAP), turn = has(x, CAUSE_IN_TURN);
	bool frames = has(x, CAUSE_FRAMES), looked = frames_were_looked_for(x);
	bool list[WAYS] = {
		[WAY_LINK] = bytes && !x->link_known,
		[WAY_CARD_READ] = bytes && !x->card_known && !write,
		[WAY_CARD_WRITE] = (bytes || unit) && !x->card_known && write,
		[WAY_QUEUE] = gap && x->in_flight == 1,
		[WAY_LARGER] = gap && x->in_flight > 1,
		[WAY_UNITS] = fixed && has(x, CAUSE_PROGRAM_UNIT),
		[WAY_FRAMES] = frames && !looked,
		[WAY_FRAMES_IDLE] = frames && looked,
		[WAY_BUILD] = turn && has(x, CAUSE_SECTOR_COST) && both,
		[WAY_SMALLER] = turn && fixed && x->points[0].request_bytes > 1024,
	};
	unsigned bits = 0;

	for (int i = 0; i < WAYS; i++)
		bits |= list[i] ? 1u << i : 0;
	return bits;
}

/* Where one remedy was already told it is not told again. */
struct told {
	unsigned ways, causes;
};

static void add_ways(struct text *t, const struct explained *x, struct told *told)
{
	unsigned new = ways_of(x) & ~told->ways;
	bool any = false;

	for (int i = 0; i < WAYS; i++) {
		if (!(new >> i & 1))
			continue;
		text_addf(t, "%s%s", any ? "; " : " Next, to tell them apart: ", ways[i]);
		any = true;
	}
	if (any)
		text_adds(t, ".");
	else if (has(x, CAUSE_LINK) && has(x, CAUSE_CARD) && x->culprits.count == 2 &&
		 x->link_known && x->card_known && x->culprits.list[0].share_low >= ONLY_BASE)
		text_adds(t, " They are too close: only speeding up both would gain much.");
	told->ways |= new;
}

static void add_stall_figures(struct text *t, const struct explained *x)
{
	const struct stalls *s = &x->stalls;

	if (s->count < 2)
		text_addf(t, " There was one, of %s: how often they come is not known.",
			TIME(s->seconds));
	else
		text_addf(t, " They took %s of all passes (%.0f of them, about every %s).",
			TIME(s->seconds), s->count, SIZE(number_whole(s->bytes / s->count)));
	if (s->not_by_byte)
		text_adds(t, " They do not come by the byte, as a card's housekeeping does: the "
			     "host may be what stopped. Next: sweep on an idle computer.");
	else
		text_adds(t, " Mostly that is the card's own housekeeping, not the firmware's "
			     "work. Next: a buffer that hides them.");
}

/* Costs too small to be named one by one may be much all together. */
static void add_base(struct text *t, const struct explained *x, const char *stage)
{
	double least = x->culprits.list[0].share_low;

	if (least >= ONLY_BASE)
		text_addf(t, " Only a faster %s would give much more.", stage);
	else
		text_addf(t,
			" The rest are smaller costs: without all of them the rate would be up to "
			"%.0f %% higher.",
			(1 / fmax(least, 0.01) - 1) * 100);
}

static void add_remedy(struct text *t, const struct explained *x, enum cause cause)
{
	const struct growth *g = &x->growths.list[0];

	switch (cause) {
	case CAUSE_LINK:
		add_base(t, x, "link");
		break;
	case CAUSE_CARD:
		add_base(t, x, "card");
		break;
	case CAUSE_IN_TURN:
		text_adds(t,
			" Next: let the card work on one buffer while the link fills or empties "
			"another.");
		break;
	case CAUSE_REQUEST_COST:
		text_adds(t, " Next: find what the firmware does once per request, or get the host "
			     "to send larger ones.");
		break;
	case CAUSE_SECTOR_COST:
		text_adds(t,
			" Next: hand whole requests to the card with multi-block commands, not "
			"one sector at a time, and spare the firmware work for each byte.");
		break;
	case CAUSE_HOST_GAP:
		text_adds(t,
			" Next: more requests in flight, or larger ones; no firmware can mend it.");
		break;
	case CAUSE_FRAMES:
		text_addf(t,
			" Command, data and status wait for a frame of %s each. Next: larger "
			"requests, or a host that serves several phases a frame.",
			TIME(x->usb->frame_s));
		break;
	case CAUSE_PROGRAM_UNIT:
		if (g->kind == GROWTH_UNIT)
			text_addf(t,
				" Requests take what whole units of %s do: the card programs so "
				"much at once, or the firmware works in buffers of that size. "
				"Next: gather smaller requests to that size, aligned to it.",
				SIZE((uint64_t)g->at_bytes));
		break;
	case CAUSE_STALLS:
		add_stall_figures(t, x);
		break;
	case CAUSE_BACKLOG:
		text_addf(t,
			" Writes of this run were still being stored when these reads began: %s in "
			"all passes. Next: sweep reads alone (--direction read).",
			TIME(x->stalls.seconds));
		break;
	default:
		break;
	}
}

static void add_next_step(struct text *t, const struct explained *x, struct told *told)
{
	const struct culprits *c = &x->culprits;

	if (c->count > 1) {
		add_ways(t, x, told);
		return;
	}
	if (!(told->causes >> c->list[0].cause & 1))
		add_remedy(t, x, c->list[0].cause);
	told->causes |= 1u << c->list[0].cause;
}

/* ---- what limits ---- */

static void add_subject(struct text *t, const struct group *g)
{
	const struct explained *x = g->first;

	text_adds(t, "What limits ");
	if (!g->whole)
		text_adds(t, g->sequential && g->random ? "sequential and random "
			     : g->random                ? "random "
							: "sequential ");
	text_addf(t, "%ss", side(x));
	if (g->queued && !(g->whole && x->in_flight == 1))
		text_addf(t, " with %u in flight", x->in_flight);
	text_adds(t, ": ");
}

static void add_share(struct text *t, double low, double high)
{
	if (high - low < POINT_SHARE)
		text_addf(t, "%.0f %%", (low + high) * 50);
	else
		text_addf(t, "%.0f to %.0f %%", low * 100, high * 100);
}

/* From the least to the most. */
struct range {
	double low, high;
};

static struct range shares_of(const struct culprit *list, size_t count)
{
	struct range r = { 1, 0 };

	for (size_t i = 0; i < count; i++) {
		r.low = fmin(r.low, list[i].share_low);
		r.high = fmax(r.high, list[i].share_high);
	}
	r.high = fmin(1, r.high);
	return r;
}

/* Rates without whichever it is; 0: link or card is among them. */
static struct range gain_range(const struct explained *x)
{
	const struct culprits *c = &x->culprits;
	double bytes = (double)x->judged_bytes, fast = INFINITY, slow = 0;

	for (size_t i = 0; i < c->count; i++) {
		if (is_base(c->list[i].cause))
			return (struct range){ 0, 0 };
		fast = fmin(fast, c->list[i].seconds_low);
		slow = fmax(slow, c->list[i].seconds_high);
	}
	fast = fmax(fast, 1e-9);
	slow = fmax(slow, fast);
	if (slow / fast < SAME_RATE)
		fast = slow = (fast + slow) / 2;
	return (struct range){ bytes / slow, bytes / fast };
}

static void add_gain(struct text *t, const struct explained *x)
{
	struct range rate = gain_range(x);
	double now = (double)x->judged_bytes / x->culprits.seconds;

	if (!(rate.low > 0))
		return;
	text_addf(t, " Without %s %s %ss would reach %s", x->culprits.count > 1 ? "that" : "it",
		SIZE(x->judged_bytes), side(x), RATE(rate.low));
	if (rate.high > rate.low)
		text_addf(t, " to %s", RATE(rate.high));
	text_addf(t, " (now %s).", RATE(now));
}

static void add_rest(struct text *t, const struct culprits *c)
{
	if (c->next_count) {
		text_adds(t, " After that comes ");
		add_names(t, c->next, c->next_count);
		text_adds(t, ", ");
		add_share(t, c->next[0].share_low, c->next[0].share_high);
		text_adds(t, ".");
	}
	if (c->perhaps_known)
		text_addf(t, " Possibly also: %s, up to %.0f %%.", names[c->perhaps.cause],
			fmin(1, c->perhaps.share_high) * 100);
}

/* "an 8 KiB read", "a 4 KiB read" */
static const char *article(const char *number)
{
	bool vowel = *number == '8' || !strncmp(number, "11 ", 3) || !strncmp(number, "18 ", 3);

	return vowel ? "an" : "a";
}

static void add_limit(struct text *t, struct pool *pool, const struct group *g, struct told *told)
{
	const struct explained *x = g->first;
	const struct culprits *c = &x->culprits;
	struct range share = shares_of(c->list, c->count);
	const char *trust = explain_trust_words(pool, x);

	add_subject(t, g);
	if (c->count == 1)
		add_alone(t, x, &c->list[0]);
	else
		add_names(t, c->list, c->count);
	/* Shares of different causes make no range. */
	if (c->count == 1 || share.high - share.low < ONE_SHARE) {
		text_adds(t, ", ");
		add_share(t, share.low, share.high);
		text_addf(t, " of %s %s %s", article(SIZE(x->judged_bytes)), SIZE(x->judged_bytes),
			side(x));
	}
	if (*trust)
		text_addf(t, ", %s", trust);
	text_adds(t, c->count > 1 ? "; these figures can't tell which." : ".");
	add_next_step(t, x, told);
	add_gain(t, x);
	if (c->pause_may_hide)
		text_adds(t, " The lower of these if requests in flight now hide a pause of the "
			     "host, which would then show.");
	add_rest(t, c);
}

/* ---- what is not shown ---- */

static const char *why_word(enum culprit_doubt doubt)
{
	switch (doubt) {
	case CULPRIT_LINK_BEATEN:
		return "link-beaten";
	case CULPRIT_CARD_BEATEN:
		return "card-beaten";
	case CULPRIT_TOO_FEW:
		return "too-few-sizes";
	case CULPRIT_NOT_STORED:
		return "not-stored";
	case CULPRIT_IMPOSSIBLE:
		return "impossible-rate";
	case CULPRIT_PHASES_AGAINST:
		return "phases-against";
	default:
		return "no-shape";
	}
}

static void add_link_beaten(struct text *t, const struct explained *x)
{
	const char *rate = RATE(x->diagnosis.usual.link);

	if (x->link_known)
		text_addf(t,
			"not shown, as requests of this run take less time per byte than the "
			"link's %s allows. Next: correct that rate, or find the cache that "
			"answers.",
			rate);
	else /* the table's, not somebody's */
		text_addf(t,
			"not shown, as by these figures requests take less time per byte than any "
			"such link allows (%s): a cache answers some of them, or passes differ too "
			"much for their times to be told by size. Next: make more or longer passes "
			"on an idle computer.",
			rate);
}

static void add_no_shape(struct text *t, const struct explained *x)
{
	const struct growth *g = &x->growths.list[0];

	bool given = x->link_known || x->card_known;

	if (g->kind != GROWTH_UNKNOWN && x->growths.fits && !x->growths.partial &&
		!x->growths.strained)
		text_addf(t,
			"not shown, as no known cause makes their time follow request size as it "
			"does%s. Next: %smore sizes and more passes.",
			given ? ", with the rates as given" : "",
			given ? "correct these rates; " : "");
	else
		text_addf(t,
			"not shown, as their time follows request size in no known way (the "
			"closest is off by %.0f %%). Next: more sizes and more passes.",
			g->worst * 100);
}

static void add_not_shown(struct text *t, const struct group *g)
{
	const struct explained *x = g->first;
	const struct stage_budget *u = &x->diagnosis.usual;

	add_subject(t, g);
	switch (x->culprits.doubt) {
	case CULPRIT_LINK_BEATEN:
		add_link_beaten(t, x);
		break;
	case CULPRIT_CARD_BEATEN:
		text_addf(t,
			"not shown, as they take less time per byte than the card's %s allows. "
			"Next: correct that rate; or %s.",
			RATE(u->card),
			x->direction == RUN_WRITE ? "they are acknowledged before the card has them"
						  : "a cache answers");
		break;
	case CULPRIT_NOT_STORED:
		text_adds(t,
			"not shown, as nothing shows when these writes are stored: the figures "
			"are those of acknowledging. Next: see what 'report' says about that.");
		break;
	case CULPRIT_TOO_FEW:
		text_adds(t, "not shown, as so few request sizes leave nothing to check a cause "
			     "against. Next: sweep five or more, doubling.");
		break;
	case CULPRIT_IMPOSSIBLE:
		text_adds(t, "not shown, as it would rest on a rate that cannot be. Next: correct "
			     "that rate.");
		break;
	case CULPRIT_PHASES_AGAINST:
		text_adds(t, "not shown, as their phases contradict what the rates seem to say. "
			     "Next: rely on the phases.");
		break;
	case CULPRIT_NO_SHAPE:
		add_no_shape(t, x);
		break;
	}
}

/* ---- findings ---- */

static const char *orders_of(const struct group *g)
{
	return g->sequential && g->random ? "sequential+random"
	       : g->random                ? "random"
					  : "sequential";
}

static void add_where(struct finding *one, const struct group *g)
{
	const struct explained *x = g->first;

	finding_figure(one, "direction", value_word(run_direction_name(x->direction)));
	finding_figure(one, "orders", value_words(orders_of(g)));
	finding_figure(one, "in_flight", value_count(x->in_flight));
	finding_figure(one, "request_bytes", value_bytes(x->judged_bytes));
}

static void add_figures(struct finding *one, struct pool *pool, const struct group *g)
{
	const struct explained *x = g->first;
	const struct culprits *c = &x->culprits;
	struct range share = shares_of(c->list, c->count), rate = gain_range(x);
	struct range next = shares_of(c->next, c->next_count);
	bool gains = rate.low > 0;

	add_where(one, g);
	finding_figure(one, "culprits", value_words(explain_codes_of(pool, c->list, c->count)));
	finding_figure(one, "share_low", value_share(share.low));
	finding_figure(one, "share_high", value_share(share.high));
	finding_figure(one, "seconds", value_seconds(c->seconds));
	finding_figure(
		one, "now_bytes_per_second", value_rate((double)x->judged_bytes / c->seconds));
	finding_figure(one, "without_low_bytes_per_second", value_if(gains, value_rate(rate.low)));
	finding_figure(
		one, "without_high_bytes_per_second", value_if(gains, value_rate(rate.high)));
	finding_figure(one, "rests_on", value_words(explain_trust_codes(pool, x)));
	finding_figure(
		one, "next_culprits", value_words(explain_codes_of(pool, c->next, c->next_count)));
	finding_figure(one, "next_share_low", value_if(c->next_count, value_share(next.low)));
	finding_figure(one, "next_share_high", value_if(c->next_count, value_share(next.high)));
}

static void add_group(struct findings *f, const struct group *g, struct told *told)
{
	const struct culprits *c = &g->first->culprits;
	enum explain_code code = c->doubt       ? EXPLAIN_NOT_SHOWN
				 : c->count > 1 ? EXPLAIN_ONE_OF
						: EXPLAIN_LIMITED;
	struct finding *one;
	struct text t;

	text_init(&t);
	if (c->doubt)
		add_not_shown(&t, g);
	else
		add_limit(&t, f->pool, g, told);
	one = finding_add(f, &explain_codes[code], "%s", t.bytes ? t.bytes : "");
	f->pool->failed |= t.failed;
	text_release(&t);
	if (!c->doubt) {
		add_figures(one, f->pool, g);
		return;
	}
	add_where(one, g);
	finding_figure(one, "why", value_code(why_word(c->doubt)));
}

void explain_limits_add(struct findings *f, const struct explanation *e, unsigned directions)
{
	struct group *list = pool_alloc(f->pool, e->count, sizeof *list);
	struct told told = { 0 };
	size_t count = list ? make_groups(list, e, directions) : 0;

	for (size_t i = 0; i < count; i++)
		add_group(f, &list[i], &told);
}

const char *explain_codes_of(struct pool *p, const struct culprit *list, size_t count)
{
	const char *codes = "";

	for (size_t i = 0; i < count; i++)
		codes = pool_printf(p, "%s%s%s", codes, i ? "+" : "", cause_code(list[i].cause));
	return codes;
}
