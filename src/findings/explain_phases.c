/* What the phases of requests add to an explanation. */
#include "findings/explain_phases.h"

#include <math.h>

#include "base/size.h"
#include "findings/explain.h"
#include "findings/explain_codes.h"
#include "findings/phase_tables.h"

#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)
#define SIZE(value) size_format((char[SIZE_TEXT_MAX]){ 0 }, value)

enum { SIZES_MAX = 64 };

/* From this share of the time on a part is said, and the link, which nothing in the gadget shortens. */
#define SAID_SHARE CULPRIT_SHARE
#define LINK_SHARE 0.8
/* Below half of the share that the rates seemed to show, they were misread. */
#define AGAINST 0.5
/* One of several names of a cost goes where the phases have less than so much of it; else it is of both kinds. */
#define GOES 0.3
/* Of the mean: where half of the requests take no more than that, it speaks of some of them (ours). */
#define UNEVEN 0.5
/* How far a share that was seen may be off, of itself (ours). */
#define SEEN_SLACK 0.1
/* A given rate is right to within 5 %. */
#define GIVEN_SLACK 0.06
/* Frames that a phase may last only because the bus waits for one: until the next begins, and until it is over. */
#define WAIT_FRAMES 2
/* Commands that are taken in less than so much of a frame do not wait for any. */
#define NO_WAIT 0.5

/* A link that is only known by its ceiling may be slower: then more of the data's time is its own, and working on data while
 * they move could save up to half of that time; less if the card alone needs more than that. */
static void widen_gain(struct phase_parts *p, double card)
{
	double data = p->list[PART_FETCH].seconds + p->list[PART_LINK].seconds;
	double work = fmax(data / 2, card > 0 ? p->bytes / card : 0);

	if (p->gain > 0)
		p->gain = fmax(p->gain, data - work);
	p->gain_likely = false;
}

/* Where times are whole frames all phases wait for them; else they may where no command was taken in less. */
static double wait_of(
	const struct phase_size *sizes, size_t count, const struct usb_link *usb, bool seen)
{
	double least = INFINITY;

	if (!usb || !(usb->frame_s > 0))
		return 0;
	for (size_t i = 0; i < count; i++)
		least = fmin(least, sizes[i].command);
	return seen || least > NO_WAIT * usb->frame_s ? WAIT_FRAMES * usb->frame_s : 0;
}

struct phase_parts explain_phases_of(
	const struct points *table, const struct explained *x, double link, double card)
{
	struct phase_size sizes[SIZES_MAX] = { 0 };
	struct phase_parts p;
	bool given = link > 0, write = table->count && table->list[0].direction == RUN_WRITE;
	size_t n = 0;

	for (size_t i = 0; i < table->count && n < SIZES_MAX; i++) {
		struct phases_of_point of = phases_of_point(&table->list[i]);

		if (!of.passes || of.commands > 1.005)
			continue;
		sizes[n++] = (struct phase_size){ .bytes = (double)table->list[i].request_bytes,
			.command = of.seconds[RUN_PHASE_COMMAND],
			.data = of.seconds[RUN_PHASE_DATA],
			.status = of.seconds[RUN_PHASE_STATUS],
			.host = of.seconds[RUN_PHASE_HOST] };
	}
	if (!(link > 0) && table->count)
		link = table->list[0].link_ceiling_bps;
	p = phase_parts_of(sizes, n, write, (double)x->judged_bytes, link > 0 ? 1 / link : 0,
		card > 0 ? 1 / card : 0, wait_of(sizes, n, x->usb, x->frames == FRAMES_SEEN));
	if (!given && !write)
		widen_gain(&p, card);
	return p;
}

static const struct {
	const char *name, *does;
} parts[] = {
	[PART_FETCH] = { "fetch", "the gadget sends the data later than the link could: it fetches "
				  "them first, or does not keep up with the link" },
	[PART_REFUSE] = { "refuse",
		"the gadget takes the data more slowly than the link could bring them: it is not "
		"ready for them or its buffer is full, it stores piece by piece, or it does not "
		"keep up with the link" },
	[PART_STORE] = { "store",
		"all of the data have passed and the gadget has not answered yet" },
	[PART_NOT_READY] = { "not-ready",
		"the command waits until the gadget takes it: it is still at work on what came "
		"before, or slow to begin, or the bus is slow to bring it" },
	[PART_HOST] = { "host", "the host is at work itself, which nothing in the gadget "
				"shortens" },
	[PART_LINK] = { "link", "the data are on the link" },
};

const char *phase_part_name(enum phase_part part)
{
	return parts[part].name;
}

/* ", 0.5 ms of it whatever the size" */
static const char *growth_words(struct pool *p, const struct phase_amount *a, double bytes)
{
	double grows = a->per_byte * bytes;

	if (!a->line_known || !(a->seconds > 0))
		return "";
	if (grows < 0.2 * a->seconds)
		return ", whatever the size";
	if (a->fixed < 0.2 * a->seconds)
		return pool_printf(p, ", %s for each 512 B", TIME(a->per_byte * 512));
	return pool_printf(p, ", %s of it whatever the size and %s for each 512 B", TIME(a->fixed),
		TIME(a->per_byte * 512));
}

/* The phases of a write end with its answer, whatever is still to be stored then. */
static bool is_answer_only(const struct explained *x)
{
	return x->direction == RUN_WRITE && (!x->shown || x->behind > EXPLAIN_BEHIND);
}

/* How much of a part may be the bus's alone. */
static double wait_in(const struct phase_parts *p, enum phase_part part)
{
	return part == PART_HOST || part == PART_LINK ? 0 : fmin(p->wait, p->list[part].seconds);
}

static const char *wait_words(struct pool *p, const struct explained *x, enum phase_part part)
{
	double wait = wait_in(&x->phases, part);
	const char *what = x->frames == FRAMES_SEEN ? "is" : "may be";

	if (!(wait > 0))
		return "";
	if (wait < x->phases.list[part].seconds)
		return pool_printf(
			p, ". Up to %s of it %s the wait for frames of the bus", TIME(wait), what);
	return ". All of it may be the wait for frames of the bus";
}

static const char *gain_words(struct pool *p, const struct phase_parts *x)
{
	if (x->gain < SAID_SHARE / 2 * x->seconds)
		return "";
	return pool_printf(p,
		". If it starts on that only then, doing it while data move would save up to %s, "
		"at most %.0f %% more rate%s",
		TIME(x->gain), 100 * (x->seconds / (x->seconds - x->gain) - 1),
		x->gain_likely   ? " (it is as long as the card's own work, which speaks for it)"
		: !(x->card > 0) ? " (the card's rate would help to tell)"
				 : "");
}

/* Beyond a ceiling that nobody measured. */
static const char *slow_link_words(const struct explained *x, enum phase_part part)
{
	if (part != PART_FETCH && part != PART_REFUSE)
		return "";
	return x->bus_shared ? ", or other devices had the bus, which moved data on it meanwhile"
	       : !x->link_known && x->frames != FRAMES_SEEN
		       ? ", or the link is slower than its ceiling"
		       : "";
}

/* In the middle one of the requests. */
static double typical_of(const struct explained *x, enum phase_part part)
{
	const double *typical = x->phases_typical;

	switch (part) {
	case PART_FETCH:
	case PART_REFUSE:
		return fmax(0, typical[RUN_PHASE_DATA] - x->phases.list[PART_LINK].seconds);
	case PART_STORE:
		return typical[RUN_PHASE_STATUS];
	case PART_NOT_READY:
		return typical[RUN_PHASE_COMMAND];
	case PART_HOST:
		return typical[RUN_PHASE_HOST];
	default:
		return x->phases.list[part].seconds;
	}
}

/* A mean that most requests are far from: whatever it is does not happen to each of them. */
static const char *uneven_words(struct pool *p, const struct explained *x, enum phase_part part)
{
	double typical = typical_of(x, part), all = 0;

	for (int i = 0; i < RUN_PHASE_COUNT; i++)
		all += x->phases_typical[i];
	/* Not in the record. */
	if (!(all > 0) || typical > UNEVEN * x->phases.list[part].seconds)
		return "";
	return pool_printf(p,
		". That is the mean: half of the requests wait %s at most, and some far longer",
		typical > 0 ? TIME(typical) : "not at all");
}

static void add_where(struct finding *one, const struct explained *x)
{
	finding_figure(one, "direction", value_word(run_direction_name(x->direction)));
	finding_figure(one, "order", value_word(run_order_name(x->order)));
	finding_figure(one, "request_bytes", value_bytes((uint64_t)x->phases.bytes));
}

static void say(struct findings *f, const struct explained *x, enum phase_part part)
{
	const struct phase_parts *p = &x->phases;
	const struct phase_amount *a = &p->list[part];
	bool gains = !x->phases_apart &&
		     part == (x->direction == RUN_WRITE ? PART_STORE : PART_FETCH) &&
		     !is_answer_only(x);
	struct finding *one = finding_add(f, &explain_codes[EXPLAIN_PHASE],
		"By its phases: for %s of the %s of a %s %s of %s, %s%s%s%s%s%s.%s%s",
		TIME(a->seconds), TIME(p->seconds), run_order_name(x->order),
		run_direction_name(x->direction), SIZE((uint64_t)p->bytes), parts[part].does,
		slow_link_words(x, part), growth_words(f->pool, a, p->bytes),
		uneven_words(f->pool, x, part), wait_words(f->pool, x, part),
		gains ? gain_words(f->pool, p) : "",
		!is_answer_only(x) ? ""
		: x->shown         ? " That is until it is acknowledged; storing takes longer."
				   : " That is until it is acknowledged.",
		x->phases_stalled ? " Stalls are in these times."
		: x->phases_apart
			? " By the rates a request takes another time, as not all passes show "
			  "their phases: nothing more is concluded from these."
			: "");

	add_where(one, x);
	finding_figure(one, "part", value_code(parts[part].name));
	finding_figure(one, "seconds", value_seconds(a->seconds));
	finding_figure(one, "share", value_share(a->share));
	finding_figure(one, "fixed_seconds", value_if(a->line_known, value_seconds(a->fixed)));
	finding_figure(one, "seconds_per_byte", value_if(a->line_known, value_number(a->per_byte)));
	finding_figure(one, "gain_seconds", value_if(gains && p->gain > 0, value_seconds(p->gain)));
	finding_figure(one, "frames_seconds",
		value_if(wait_in(p, part) > 0, value_seconds(wait_in(p, part))));
}

/* All that the gadget does beside the data on the link, as a line over the size; line_known: it is one. */
static struct phase_amount gadget_work(const struct phase_parts *p, bool write)
{
	const enum phase_part work[] = { PART_NOT_READY, write ? PART_REFUSE : PART_FETCH,
		PART_STORE };
	struct phase_amount sum = { .line_known = p->link_known };

	for (size_t i = 0; i < sizeof work / sizeof *work; i++) {
		sum.line_known &= p->list[work[i]].line_known;
		sum.fixed += p->list[work[i]].fixed;
		sum.per_byte += p->list[work[i]].per_byte;
	}
	return sum;
}

/* Time of a request that the phases leave to this cause, in s; < 0: they do not tell. */
static double time_of(const struct explained *x, enum cause cause)
{
	const struct phase_parts *p = &x->phases;
	struct phase_amount work = gadget_work(p, x->direction == RUN_WRITE);

	switch (cause) {
	case CAUSE_HOST_GAP:
		return p->list[PART_HOST].seconds;
	case CAUSE_REQUEST_COST:
		return work.line_known ? work.fixed : -1;
	case CAUSE_IN_TURN:
	case CAUSE_SECTOR_COST:
		return work.line_known ? work.per_byte * p->bytes : -1;
	case CAUSE_LINK:
		/* Its ceiling says no more than that it needs at least so much; but it needs no more than the data took. */
		return x->link_known && p->link_known ? p->list[PART_LINK].seconds
						      : p->data.seconds;
	default:
		return -1;
	}
}

/* Below what part of its share by the rates a cause goes. */
static double limit_of(const struct explained *x, enum cause cause)
{
	if (cause != CAUSE_LINK)
		return GOES;
	return x->link_known ? AGAINST : CULPRIT_NEAR;
}

static bool is_refuted(const struct explained *x, const struct culprit *c, double limit)
{
	double seconds = time_of(x, c->cause);

	return seconds >= 0 && seconds < limit * c->share_low * x->phases.seconds;
}

static void set_shares(const struct explained *x, struct culprit *c, double low, double high)
{
	c->share_low = low;
	c->share_high = high;
	c->seconds_low = x->culprits.seconds * (1 - high);
	c->seconds_high = x->culprits.seconds * (1 - low);
}

/* What the phases show of a cost is what can be saved of it, though by the rates it could be all that a request has whatever
 * its size. */
static void keep_to_what_was_seen(const struct explained *x, struct culprit *c)
{
	double seconds = time_of(x, c->cause), share = seconds / x->phases.seconds, low;

	if (!(seconds > 0) || (c->cause != CAUSE_HOST_GAP && c->cause != CAUSE_REQUEST_COST))
		return;
	low = fmin(c->share_low, (1 - SEEN_SLACK) * share);
	set_shares(x, c, low, fmax(low, fmin(c->share_high, (1 + SEEN_SLACK) * share)));
}

/* ---- link and card in turn ---- */

static struct culprit *named(struct culprits *c, enum cause cause)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->list[i].cause == cause)
			return &c->list[i];
	return NULL;
}

/* Work for each byte after the data that takes what the card alone does: it is the card's, which has waited for all of them. */
static bool turns_are_seen(const struct explained *x)
{
	const struct phase_parts *p = &x->phases;
	const struct phase_amount *store = &p->list[PART_STORE];
	/* What stops growing is the end of work that went on while data came. */
	double work = fmin(store->per_byte, store->last_per_byte), data = p->data.per_byte;

	return x->direction == RUN_WRITE && p->card > 0 && store->line_known &&
	       p->data.line_known && fabs(work / p->card - 1) <= GIVEN_SLACK &&
	       fmin(work, data) >= PHASES_TURN_SHARE * (work + data);
}

/* What the two phases take beyond card and link, which may be slower than given. */
static double sectors_at_most(const struct explained *x)
{
	const struct phase_parts *p = &x->phases;
	double work = p->list[PART_STORE].per_byte - (1 - GIVEN_SLACK) * p->card;
	double data = p->data.per_byte - (1 - GIVEN_SLACK) * p->link;

	return p->bytes * (fmax(work, 0) + fmax(data, 0)) / p->seconds;
}

static void leave_out(struct explained *x, struct culprit *one)
{
	struct culprits *c = &x->culprits;

	x->ruled_out |= 1u << one->cause;
	*one = c->list[--c->count];
}

/* A link that alone would be what limits would have to be busy for nearly all of that time. */
static void leave_out_link(struct explained *x)
{
	struct culprit *link = named(&x->culprits, CAUSE_LINK);

	if (link && !x->link_known && x->phases.data.share < CULPRIT_NEAR * link->share_high)
		leave_out(x, link);
}

static void leave_out_sectors(struct explained *x, double turns)
{
	struct culprits *c = &x->culprits;
	struct culprit *sectors = named(c, CAUSE_SECTOR_COST);
	double most;

	if (!sectors)
		return;
	most = fmin(sectors->share_high, sectors_at_most(x));
	set_shares(x, sectors, fmin(sectors->share_low, most), most);
	if (most >= CULPRIT_NEAR * turns)
		return;
	if (most >= CULPRIT_SHARE && !c->perhaps_known) {
		c->perhaps = *sectors;
		c->perhaps_known = true;
	}
	leave_out(x, sectors);
}

/* Where the phases show that link and card take turns, little is left for work per sector, and overlapping them saves what the
 * shorter of the two phases takes, all but the first block's. */
static void rest_on_turns(struct explained *x)
{
	const struct phase_parts *p = &x->phases;
	struct culprit *turns = named(&x->culprits, CAUSE_IN_TURN);
	double saved = (p->bytes - x->block_bytes) *
		       fmin(p->list[PART_STORE].per_byte, p->data.per_byte) / p->seconds;
	double least;

	if (!turns || !turns_are_seen(x))
		return;
	set_shares(x, turns, turns->share_low, fmax(turns->share_high, saved));
	least = turns->share_low;
	leave_out_link(x);
	leave_out_sectors(x, least);
}

/* Fixed work on the data of writes may as well be the card that programs a whole unit, whatever the size. */
static void admit_unit(struct explained *x)
{
	const struct phase_parts *p = &x->phases;
	struct culprits *c = &x->culprits;

	if (x->direction != RUN_WRITE || c->count != 1 || c->list[0].cause != CAUSE_REQUEST_COST ||
		p->list[PART_STORE].fixed + p->list[PART_REFUSE].fixed <
			AGAINST * c->list[0].share_low * p->seconds)
		return;
	c->list[1] = c->list[0];
	c->list[c->count++].cause = CAUSE_PROGRAM_UNIT;
}

/* Bits of the causes that go; one stays. */
static unsigned keep_what_is_seen(const struct explained *x, struct culprit *list, size_t *count)
{
	size_t kept = 0, left = *count;
	unsigned gone = 0;

	for (size_t i = 0; i < *count; i++) {
		if (left > 1 && is_refuted(x, &list[i], limit_of(x, list[i].cause))) {
			gone |= 1u << list[i].cause;
			left--;
			continue;
		}
		list[kept] = list[i];
		keep_to_what_was_seen(x, &list[kept++]);
	}
	*count = kept;
	return gone;
}

/* Phases of a write end with its answer: what is stored behind it goes on through the host's pause and the next request, and they
 * rule out nothing of it. Nor do those of other requests than the rates are of. */
static bool judge_rates(const struct explained *x)
{
	return x->phases.known && !x->buffered && !x->phases_stalled && !x->phases_apart &&
	       !is_answer_only(x) && x->phases.bytes == (double)x->judged_bytes;
}

void explain_phases_rule_out(struct explained *x)
{
	struct culprits *c = &x->culprits;

	if (c->doubt || !judge_rates(x))
		return;
	if (c->next_count > 1)
		keep_what_is_seen(x, c->next, &c->next_count);
	if (c->count < 2)
		return;
	x->ruled_out = keep_what_is_seen(x, c->list, &c->count);
	rest_on_turns(x);
	if (x->ruled_out)
		admit_unit(x);
}

bool explain_phases_contradict(const struct explained *x)
{
	const struct culprits *c = &x->culprits;

	return !c->doubt && c->count == 1 && judge_rates(x) && is_refuted(x, &c->list[0], AGAINST);
}

static const char *against_words(enum cause cause)
{
	return cause == CAUSE_HOST_GAP       ? "are the host's"
	       : cause == CAUSE_LINK         ? "are the link's"
	       : cause == CAUSE_REQUEST_COST ? "are work of the gadget that stays whatever the size"
					     : "are work of the gadget that grows with the size";
}

static void add_contradiction(struct findings *f, const struct explained *x)
{
	double seconds = fmax(0, time_of(x, x->against));
	struct finding *one;

	if (!x->phases_against)
		return;
	one = finding_add(f, &explain_codes[EXPLAIN_PHASE_AGAINST],
		"The phases do not bear out what the rates of %s %ss seem to say: only %s of the "
		"%s of a request of %s %s. Rely on the phases.",
		run_order_name(x->order), run_direction_name(x->direction), TIME(seconds),
		TIME(x->phases.seconds), SIZE((uint64_t)x->phases.bytes),
		against_words(x->against));
	add_where(one, x);
	finding_figure(one, "part",
		value_code(x->against == CAUSE_HOST_GAP ? parts[PART_HOST].name
							: cause_code(x->against)));
	finding_figure(one, "seconds", value_seconds(seconds));
}

static const char *ruled_words(struct pool *p, unsigned causes)
{
	static const struct {
		enum cause cause;
		const char *words;
	} names[] = { { CAUSE_HOST_GAP, "the host's pause" }, { CAUSE_LINK, "the link" },
		{ CAUSE_IN_TURN, "link and card in turn" },
		{ CAUSE_REQUEST_COST, "work per request" },
		{ CAUSE_SECTOR_COST, "work per sector" } };
	const char *words = "";
	unsigned left = causes;

	for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
		unsigned bit = 1u << names[i].cause;

		if (!(causes & bit))
			continue;
		left &= ~bit;
		words = pool_printf(p, "%s%s%s", words,
			!*words ? ""
			: left  ? ", "
				: " and ",
			names[i].words);
	}
	return words;
}

static const char *ruled_codes(struct pool *p, unsigned causes)
{
	const char *codes = "";

	for (int i = 0; i < CAUSE_COUNT; i++)
		if (causes & 1u << i)
			codes = pool_printf(
				p, "%s%s%s", codes, *codes ? "+" : "", cause_code((enum cause)i));
	return codes;
}

/* The phases of the other order rule out the same: then one sentence tells of both. */
static bool is_ruled_alike(const struct explanation *e, const struct explained *x)
{
	for (size_t i = 0; i < e->count; i++) {
		const struct explained *other = &e->tables[i];

		if (other->direction == x->direction && other->order != x->order &&
			other->in_flight == x->in_flight && other->phases.known &&
			other->ruled_out == x->ruled_out)
			return true;
	}
	return false;
}

static void add_ruled_out(
	struct findings *f, const struct explanation *e, const struct explained *x)
{
	struct finding *one;

	if (!x->ruled_out)
		return;
	one = finding_add(f, &explain_codes[EXPLAIN_PHASE_RULES_OUT],
		"What limits %s %ss rests on their phases too: by the rates alone it could also be "
		"%s, which the phases rule out.",
		is_ruled_alike(e, x) ? "sequential and random" : run_order_name(x->order),
		run_direction_name(x->direction), ruled_words(f->pool, x->ruled_out));
	add_where(one, x);
	finding_figure(one, "causes", value_words(ruled_codes(f->pool, x->ruled_out)));
}

/* ---- against the card's rate ---- */

/* Work for each byte that does not hide behind the link, in s; < 0: no line shows it. */
static double work_per_byte(const struct explained *x)
{
	const struct phase_amount *list = x->phases.list;
	bool write = x->direction == RUN_WRITE;
	const struct phase_amount *data = &list[write ? PART_REFUSE : PART_FETCH],
				  *after = &list[PART_STORE];

	if (!x->phases.known || !x->phases.link_known || !data->line_known || !after->line_known)
		return -1;
	return data->per_byte + after->per_byte;
}

/* A link that is known by its ceiling alone may be slower. */
static const char *card_words(struct pool *p, double work, double card, bool link_given)
{
	double rest = (work - card) * 512;

	if (work > (1 + GIVEN_SLACK) * card)
		return pool_printf(p,
			". The other %s are work of the firmware for each sector or byte, or the "
			"card is slower in this gadget than where it was measured%s",
			TIME(rest), link_given ? "" : ", or the link is slower than it could be");
	if (work < (1 - GIVEN_SLACK) * card)
		return pool_printf(p,
			": if that is right, the other %s pass while the data are on the link",
			TIME(-rest));
	return ": the two agree, so that work seems to be the card's";
}

/* Rates alone are said to be above the card's elsewhere. */
static void add_card(struct findings *f, const struct explanation *e, const struct explained *x)
{
	double rate = e->known.card[x->direction], work = work_per_byte(x);
	double card = rate > 0 ? 1 / rate : 0, link;
	char words[SIZE_TEXT_MAX];
	struct finding *one;
	bool against;

	if (!(card > 0) || work < 0 || x->buffered || x->phases_stalled || x->phases_apart ||
		is_answer_only(x))
		return;
	link = x->phases.list[PART_LINK].seconds / x->phases.bytes;
	against = work > (1 + GIVEN_SLACK) * card && work - card > GIVEN_SLACK * (work + link);
	if (work + link < card || (!against && work > (1 + GIVEN_SLACK) * card))
		return;
	one = finding_add(f,
		&explain_codes[against ? EXPLAIN_PHASE_CARD_AGAINST : EXPLAIN_PHASE_CARD],
		"By their phases, %s %ss take %s of work for each 512 B beside the link; a card of "
		"%s needs %s%s.",
		run_order_name(x->order), run_direction_name(x->direction), TIME(work * 512),
		rate_format(words, rate), TIME(card * 512),
		card_words(f->pool, work, card, x->link_known));
	finding_figure(one, "direction", value_word(run_direction_name(x->direction)));
	finding_figure(one, "order", value_word(run_order_name(x->order)));
	finding_figure(one, "card_bytes_per_second", value_rate(rate));
	finding_figure(one, "seconds_per_byte", value_number(work));
	finding_figure(one, "card_seconds_per_byte", value_number(card));
}

/* Of what is the bus's wait for frames the rates have told. */
static bool is_said(const struct explained *x, enum phase_part part)
{
	const struct phase_parts *p = &x->phases;
	double wait = x->frames == FRAMES_SEEN ? wait_in(p, part) : 0;

	return p->list[part].seconds - wait >=
	       (part == PART_LINK ? LINK_SHARE : SAID_SHARE) * p->seconds;
}

/* Random requests that say what the sequential ones of that direction have said are not told again. */
static bool told_already(const struct explanation *e, size_t at)
{
	for (size_t i = 0; i < at; i++) {
		bool same = e->tables[i].direction == e->tables[at].direction &&
			    e->tables[i].phases.known;

		for (int k = 0; same && k < PART_COUNT; k++)
			same = is_said(&e->tables[i], (enum phase_part)k) ==
			       is_said(&e->tables[at], (enum phase_part)k);
		if (same)
			return true;
	}
	return false;
}

void explain_phases_add(struct findings *f, const struct explanation *e, unsigned directions)
{
	for (size_t i = 0; i < e->count; i++) {
		const struct explained *x = &e->tables[i];

		if (!x->phases.known || !(directions & 1u << x->direction))
			continue;
		add_ruled_out(f, e, x);
		add_contradiction(f, x);
		if (told_already(e, i))
			continue;
		for (int k = 0; k < PART_COUNT; k++)
			if (is_said(x, (enum phase_part)k))
				say(f, x, (enum phase_part)k);
		add_card(f, e, x);
	}
}
