/* Explanations of a table of times, and what they have in common. */
#include "analysis/culprit.h"

#include <math.h>

/* A given rate may be off by 5 %; the rest is for what was measured. */
#define GIVEN_SLACK 0.06
/* Noise that may move less than this share of the time between fixed cost and slope does not matter (ours). */
#define LEANS 0.03
/* Frames that a request may wait for at the most, data aside. */
#define FRAMES_MOST 6.0
/* Of the time: as good as no slope. */
#define TINY 1e-6
/* A unit whose steps are this many standard errors would have been seen. */
#define HIDDEN 3.3
/* Of what its steps say that a byte of a unit takes: so much less may be right. */
#define UNIT_ROUGH 0.2
/* A unit that takes so much of the fixed cost; adds so much of its most to requests of all sizes; makes some of them longer by so much
 * of its own time at the least. Beyond so many blocks it is tried in steps (all ours). */
#define ODD_PART 0.6
#define ODD_ALIKE 0.9
#define ODD_STEP 0.5
#define ODD_EXACT 64
#define ODD_TRIES 40
#define ODD_MOST 16777216.0 /* bytes */
/* So near a size that units have a bend may be theirs. */
#define BEND_NEAR 0.03
/* See is_chance_likely (ours). */
#define CHANCE_SHARE_LEAST 0.28
#define CHANCE_SHARE 0.35
#define CHANCE_OFF 0.02
#define FILL_NEAR 0.2
/* Of the way of a block: less than that does not overlap in blocks. */
#define FILL_LEAST 0.7
/* Of the time: from here on a pause that may hide is said (ours). */
#define HIDES_MIN 0.02
/* Of the time: what is left to be something else is little. */
#define HARDLY_ELSE 0.75
/* Shares below this are not worth a word. */
#define NEXT_MIN 0.05

/* So many sizes check a unit. */
enum { STORIES_MAX = 16, UNIT_SIZES_MIN = 5 };

/* Time per byte that a stage may take. */
struct range {
	double low, high;
	bool known; /* from a rate that was given or measured */
};

/* One explanation of the time per byte. */
struct story {
	bool overlapped;
	double link, card, sector; /* s per byte */
	double partly; /* s per byte lost because stages overlap in part only */
	unsigned assumed; /* values made up to fit */
};

struct search {
	const struct culprit_input *in;
	const struct growth *growth; /* the shape in hand */
	struct culprits *out;
	struct range link, card;
	enum frames_evidence frames; /* as far as the shape in hand goes */
	double piece; /* bytes */
	double seconds; /* of a piece, without stalls */
	double fixed, slope, slope_low, slope_high; /* of the line that holds at this size */
	double fixed_error;
	double gap_s; /* of the host, where other requests do not hide it */
	double pause_s; /* the host's between requests, where it is known though they hide it */
	double hidden_s; /* where it is not: what the shortest of them would hide */
	double excess_s; /* of a program unit */
	bool steps_apart; /* steps of whole units may be the firmware's, which say nothing of the card's rate */
	bool named[CAUSE_COUNT];
	unsigned near[CAUSE_COUNT]; /* explanations in which it is large */
	struct culprit all[CAUSE_COUNT]; /* every cause of every explanation */
	unsigned explanations;
	unsigned seen[CAUSE_COUNT]; /* in how many of them */
	double bare_low[CAUSE_COUNT]; /* share_low if no pause of the host hides behind it */
	double fixed_low, fixed_high; /* share of all costs that a request has whatever its size */
};

/* Where the time of one piece goes in one explanation; what is left is the slower stage's. */
struct parts {
	double of[CAUSE_COUNT]; /* s saved without the cause */
	bool link_is_base, card_is_base;
};

static struct range range_of(const struct stage_known *k)
{
	struct range r = { 0, INFINITY, k->rate > 0 };

	if (k->ceiling > 0)
		r.low = (1 - GIVEN_SLACK) / k->ceiling;
	if (k->rate > 0) {
		r.low = (1 - GIVEN_SLACK) / k->rate;
		r.high = (1 + GIVEN_SLACK) / k->rate;
	}
	return r;
}

static double middle(const struct range *r)
{
	return r->known ? (r->low + r->high) / 2 : r->low / (1 - GIVEN_SLACK);
}

static bool allows(const struct range *r, const struct search *s)
{
	return r->low <= s->slope_high && r->high >= s->slope_low;
}

/* Requests in flight share the host's gap until they are long enough to hide it: below the bend the line has a
 * k-th of the slope that it has above. */
static bool is_gap_shared(const struct growth *g, unsigned in_flight)
{
	double k = in_flight;

	return k > 1 && g->kind == GROWTH_TURNED && fabs(g->slope / g->slope_below / k - 1) < 0.1;
}

/* ---- explanations of the time per byte ---- */

/* Can the other stage hide behind the slope? A buffer lets it work through the fixed cost of a request as well. */
static bool hides(const struct range *other, const struct search *s, bool buffer)
{
	const struct growth *g = s->growth;
	double room = s->slope_high;

	if (buffer)
		room = fmax(room, growth_seconds(g, g->largest_bytes) / g->largest_bytes);
	return other->low <= room;
}

/* Values made up so far, and one more for a buffer that nothing speaks for. */
static unsigned made_up(const struct search *s, const struct range *other, bool assumed)
{
	return assumed + (!hides(other, s, s->in->may_buffer) ? 1u : 0u);
}

static void add_story(struct story *list, size_t *n, struct story story)
{
	if (*n < STORIES_MAX)
		list[(*n)++] = story;
}

/* A link at its ceiling is as good as a known one. */
static bool at_ceiling(const struct search *s)
{
	return !s->link.known && s->link.low > 0 &&
	       s->slope_low <= (1 + GIVEN_SLACK) / (1 - GIVEN_SLACK) * s->link.low;
}

static void tell_slower_stage(const struct search *s, struct story *list, size_t *n)
{
	double b = s->slope;

	if (allows(&s->link, s) && hides(&s->card, s, s->in->write))
		add_story(list, n,
			(struct story){ .overlapped = true,
				.link = b,
				.card = fmin(b, middle(&s->card)),
				.assumed =
					made_up(s, &s->card, !s->link.known && !at_ceiling(s)) });
	if (allows(&s->card, s) && hides(&s->link, s, s->in->write))
		add_story(list, n,
			(struct story){ .overlapped = true,
				.link = fmin(b, middle(&s->link)),
				.card = b,
				.assumed = made_up(s, &s->link, !s->card.known) });
}

static void tell_in_turn(const struct search *s, struct story *list, size_t *n)
{
	struct story t = { .assumed = 1 };
	double b = s->slope, low = s->link.low + s->card.low;

	if (low > s->slope_high || s->link.high + s->card.high < s->slope_low)
		return;
	if (s->link.known && s->card.known) {
		double sum = middle(&s->link) + middle(&s->card);

		t.assumed = 0;
		t.link = middle(&s->link) * b / sum;
		t.card = b - t.link;
	} else if (s->card.known) {
		t.card = fmin(middle(&s->card), b);
		t.link = b - t.card;
	} else if (s->link.known) {
		t.link = fmin(middle(&s->link), b);
		t.card = b - t.link;
	} else {
		/* Halves lose most by taking turns. */
		t.link = fmax(b / 2, s->link.low);
		t.card = fmax(b - t.link, s->card.low);
	}
	add_story(list, n, t);
}

/* The way of a first block into the faster stage: what overlapped stages cost a request at the least. */
static double fill_of(const struct search *s, double faster)
{
	return s->in->block_bytes * faster;
}

/* More than link and card: a cost per sector, or, between the two, stages that overlap in part. */
static void tell_sectors(const struct search *s, struct story *list, size_t *n)
{
	double link = fmin(middle(&s->link), s->slope), card = middle(&s->card), b = s->slope;
	double slower = fmax(link, s->card.known ? card : 0), rest = b - link;
	bool both = s->link.known && s->card.known;
	/* Overlapped stages cost a request that at least; behind a buffer they need not. */
	bool filled = s->fixed + s->fixed_error > FILL_LEAST * fill_of(s, link);

	if (!s->card.known)
		card = fmax(card, b / 4); /* a sector cost of any size would do */
	if (s->card.low <= s->slope_high && s->link.low <= s->slope_high && card < b &&
		(filled || s->in->write))
		add_story(list, n,
			(struct story){ .overlapped = true,
				.link = link,
				.card = card,
				.sector = b - card,
				.assumed = filled || s->in->may_buffer ? 1 : 2 });
	if (!s->card.known)
		card = fmax(s->card.low, rest / 4);
	if (s->link.low + s->card.low <= s->slope_high && link + card < b)
		add_story(list, n,
			(struct story){
				.link = link, .card = card, .sector = rest - card, .assumed = 1 });
	else if (both && slower < b)
		add_story(list, n,
			(struct story){ .overlapped = true,
				.link = link,
				.card = card,
				.partly = b - slower,
				.assumed = 1 });
}

static size_t keep_simplest(struct story *list, size_t n)
{
	unsigned least = UINT32_MAX;
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		least = list[i].assumed < least ? list[i].assumed : least;
	for (size_t i = 0; i < n; i++)
		if (list[i].assumed == least)
			list[kept++] = list[i];
	return kept;
}

static bool in_turn(const struct story *t)
{
	return !t->overlapped;
}

/* A buffer between them: link and card do not wait for one another. */
static size_t drop_in_turn(struct story *list, size_t n)
{
	size_t kept = 0;

	for (size_t i = 0; i < n; i++)
		if (!in_turn(&list[i]) && !(list[i].partly > 0))
			list[kept++] = list[i];
	return kept;
}

/* ---- what an explanation means for this request ---- */

static double store_side(const struct story *t)
{
	return t->card + t->sector;
}

/* Bytes that link and card could not overlap within, at the least: one block must be in before the other stage begins. */
static double overlappable(const struct search *s)
{
	return fmax(0, s->piece - s->in->block_bytes);
}

/* Of the gadget, where k requests in flight hide a pause of the host behind each other: without so much work they are
 * done the sooner, and the pause may show. */
static double saved_beside_pause(const struct search *s, double work, double pause)
{
	double k = s->in->in_flight, now = s->seconds, gadget = fmin(now, k * now - pause);

	if (!(pause > 0) || k < 2)
		return work;
	return fmax(0, fmin(work, now - fmax(gadget - work, (gadget + pause - work) / k)));
}

/* Saved by less work of the gadget? */
static bool is_gadget_work(enum cause cause)
{
	return cause >= CAUSE_IN_TURN && cause < CAUSE_STALLS && cause != CAUSE_HOST_GAP;
}

static double least_frames(const struct search *s)
{
	return s->frames == FRAMES_SEEN ? 3 * s->in->frame_s : 0;
}

/* Where requests wait for frames, what is saved is whole ones: one more or less. */
static double frame_of(const struct search *s, enum cause cause)
{
	bool waits = s->frames == FRAMES_SEEN && is_gadget_work(cause) && cause != CAUSE_FRAMES;

	return waits ? s->in->frame_s : 0;
}

static void note(struct search *s, const struct parts *p, double total, enum cause cause)
{
	struct culprit *c = &s->all[cause];
	double saved = p->of[cause], frame = frame_of(s, cause), least = saved;
	double most = fmax(saved, fmin(saved + frame, total - least_frames(s))) / total;
	double bare = fmax(0, saved - frame) / total;

	if (is_gadget_work(cause))
		least = saved_beside_pause(s, saved, s->hidden_s);
	least = fmax(0, least - frame) / total;
	s->bare_low[cause] = s->seen[cause] ? fmin(s->bare_low[cause], bare) : bare;
	c->cause = cause;
	if (!s->seen[cause]++) {
		c->share_low = least;
		c->share_high = most;
		return;
	}
	c->share_low = fmin(c->share_low, least);
	c->share_high = fmax(c->share_high, most);
}

/* Several names of one cost: which of them it is differs, how much it is hardly. */
static bool is_fixed(int cause)
{
	return cause == CAUSE_REQUEST_COST || cause == CAUSE_HOST_GAP || cause == CAUSE_FRAMES ||
	       cause == CAUSE_PROGRAM_UNIT;
}

static void note_fixed(struct search *s, const struct parts *p, double total)
{
	double share = 0, least;

	for (int c = 0; c < CAUSE_COUNT; c++)
		share += is_fixed(c) ? p->of[c] / total : 0;
	least = saved_beside_pause(s, share * total, s->hidden_s) / total;
	s->fixed_low = s->explanations ? fmin(s->fixed_low, least) : least;
	s->fixed_high = s->explanations ? fmax(s->fixed_high, share) : share;
}

static void weigh_all(struct search *s, struct parts *p, double total)
{
	double most = 0, left = total;

	for (int c = CAUSE_IN_TURN; c < CAUSE_UNKNOWN; c++) {
		most = fmax(most, p->of[c]);
		left -= p->of[c];
	}
	for (int c = CAUSE_IN_TURN; c < CAUSE_UNKNOWN; c++) {
		bool small = most < CULPRIT_SHARE * total;
		double limit = small ? CULPRIT_BESIDE * total : 0;

		if (p->of[c] > 0)
			note(s, p, total, (enum cause)c);
		s->near[c] += !small && p->of[c] >= CULPRIT_SHARE * total &&
			      p->of[c] >= CULPRIT_SURE * most;
		if (p->of[c] > 0 && p->of[c] >= CULPRIT_NEAR * most && p->of[c] >= limit)
			s->named[c] = true;
	}
	note_fixed(s, p, total);
	p->of[CAUSE_LINK] = p->link_is_base ? left : 0;
	p->of[CAUSE_CARD] = p->card_is_base ? left : 0;
	for (int c = CAUSE_LINK; c <= CAUSE_CARD; c++) {
		if (p->of[c] > 0)
			note(s, p, total, (enum cause)c);
		if (p->of[c] > 0 && most < CULPRIT_SHARE * total) {
			s->named[c] = true;
			s->near[c]++;
		}
	}
	s->explanations++;
}

/* Behind a buffer the card works while host, link and firmware take the next request: without what holds the card up they
 * set the pace, and how long they take at the most is known from requests that had nothing to wait for. */
static bool cap_by_front(const struct search *s, struct parts *p, double total)
{
	static const enum cause card_side[] = { CAUSE_SECTOR_COST, CAUSE_PROGRAM_UNIT,
		CAUSE_STALLS };
	double room = fmax(0, total - s->in->front_s / s->in->pieces), off = 0;

	if (!s->in->behind || !(s->in->front_s > 0))
		return false;
	for (size_t i = 0; i < sizeof card_side / sizeof *card_side; i++) {
		off = fmax(off, p->of[card_side[i]] - room);
		p->of[card_side[i]] = fmin(p->of[card_side[i]], room);
	}
	p->link_is_base = true;
	return off > NEXT_MIN * total;
}

static void weigh(struct search *s, struct parts *p)
{
	double stall = s->in->stall_s / s->in->pieces, backlog = s->in->backlog_s / s->in->pieces;
	double total = s->seconds + stall + backlog;
	struct parts capped;

	p->of[CAUSE_STALLS] = stall;
	p->of[CAUSE_BACKLOG] = backlog;
	if (s->gap_s > 0)
		p->of[CAUSE_HOST_GAP] = s->gap_s;
	for (int c = 0; c < CAUSE_COUNT; c++)
		if (is_gadget_work((enum cause)c))
			p->of[c] = saved_beside_pause(s, p->of[c], s->pause_s);
	capped = *p;
	weigh_all(s, p, total);
	if (cap_by_front(s, &capped, total))
		weigh_all(s, &capped, total);
}

static void weigh_request(struct search *s, const struct parts *p, enum cause cause, double request)
{
	struct parts one = *p;

	one.of[cause] += request;
	weigh(s, &one);
}

/* Waiting for frames may take more than that: for data, by what overlap would have saved, or because stages that could
 * overlap don't when one of them moves by whole frames. */
static void weigh_framed(struct search *s, const struct parts *p, const struct story *t,
	double frames, double request)
{
	double frame = s->in->frame_s, more = fmin(request, FRAMES_MOST * frame - frames);
	double lost = t->overlapped && s->frames == FRAMES_SEEN
			      ? overlappable(s) * fmin(t->link, store_side(t))
			      : 0;
	struct parts one = *p;

	for (int most = 0; most < 2; most++) {
		one.of[CAUSE_FRAMES] = frames + most * (frame + lost + fmax(0, more));
		one.of[CAUSE_IN_TURN] = fmax(0, p->of[CAUSE_IN_TURN] - most * frame);
		request -= most * fmax(0, more);
		weigh_request(s, &one, CAUSE_REQUEST_COST, request);
		if (s->in->in_flight == 1 && request > 0)
			weigh_request(s, &one, CAUSE_HOST_GAP, request);
	}
}

/* One for command and one for status would be in the fixed cost. */
static bool frames_may_be(const struct search *s, double fixed)
{
	return s->frames == FRAMES_SEEN ||
	       (s->frames == FRAMES_OPEN && fixed > 1.8 * s->in->frame_s);
}

/* The same, with the cost of a request put down to one cause after the other. Frames: one for command, one for status,
 * and half a frame each for data, card and host. */
static void weigh_fixed_of(
	struct search *s, const struct parts *p, const struct story *t, double fixed)
{
	const struct culprit_input *in = s->in;
	double frame = in->frame_s;

	fixed = fmax(fixed, 0);
	if (frames_may_be(s, fixed)) {
		double frames = fixed < 3.6 * frame ? fixed : 3 * frame;

		weigh_framed(s, p, t, frames, fixed - frames);
	}
	/* Behind a buffer frames may pass unnoticed. */
	if (s->frames == FRAMES_SEEN && !(in->may_buffer && fixed > 4 * frame))
		return;
	weigh_request(s, p, CAUSE_REQUEST_COST, fixed);
	if (in->in_flight == 1)
		weigh_request(s, p, CAUSE_HOST_GAP, fixed);
}

/* What a single block takes beyond the shape of the others: its way through both stages, or a unit that it programs. */
static void weigh_fixed(
	struct search *s, const struct parts *p, const struct story *t, double fixed)
{
	const struct growth *g = s->growth;
	bool apart = s->piece <= g->apart_bytes && g->apart_s > 0;
	struct parts with = *p;

	if (!apart) {
		weigh_fixed_of(s, p, t, fixed);
		return;
	}
	with.of[CAUSE_PROGRAM_UNIT] += g->apart_s;
	weigh_fixed_of(s, &with, t, fixed);
	with.of[CAUSE_PROGRAM_UNIT] = p->of[CAUSE_PROGRAM_UNIT];
	with.of[CAUSE_IN_TURN] += g->apart_s;
	weigh_fixed_of(s, &with, t, fixed);
}

/* Both slower, as far as is known. */
static void set_base(struct parts *p, const struct search *s, const struct story *t)
{
	double link = t->link, card = store_side(t);
	double tie = s->link.known && s->card.known ? 2 * GIVEN_SLACK : 0;

	p->link_is_base = link >= card * (1 - tie);
	p->card_is_base = card >= link * (1 - tie);
	if (!(t->sector > 0) &&
		t->assumed) /* made to fit: the other one is not known to be as slow */
		p->card_is_base = card >= link && !(p->link_is_base && link > card);
}

/* In a request of one sector a cost per sector is one per request, and may be a unit of the card. */
static void weigh_single(struct search *s, const struct parts *p, const struct story *t)
{
	weigh_request(s, p, CAUSE_REQUEST_COST, s->piece * t->sector);
	if (s->in->write)
		weigh_request(s, p, CAUSE_PROGRAM_UNIT, s->piece * t->sector);
}

/* The stage that does not set the pace: as fast as it need be, or nearly as slow as the other. */
static bool is_faster_known(const struct search *s, const struct story *t)
{
	return t->link < store_side(t) ? s->link.known : s->card.known;
}

/* Single sectors cost as much because each programs a whole unit? Then one of them remains when a request is handed on whole. */
static void weigh_units_of_sectors(struct search *s, const struct parts *p, const struct story *t)
{
	double one = t->sector * s->in->block_bytes;
	struct parts remains = *p;

	if (!s->in->write || s->in->behind || t->sector < t->card ||
		s->piece < 2 * s->in->block_bytes)
		return;
	remains.of[CAUSE_SECTOR_COST] = fmax(0, p->of[CAUSE_SECTOR_COST] - one);
	weigh_fixed(s, &remains, t, s->fixed);
}

/* While the link waits for its next frame the card has but one block to work on: overlap in blocks saves no more than that a
 * frame. */
static void weigh_turns_in_frames(struct search *s, const struct parts *p, const struct story *t)
{
	double in_frame = s->in->frame_s * s->in->frame_bytes_per_s;
	struct parts less = *p;

	if (!frames_may_be(s, s->fixed + s->fixed_error) || in_frame < s->in->block_bytes)
		return;
	less.of[CAUSE_IN_TURN] *= s->in->block_bytes / in_frame;
	weigh_fixed(s, &less, t, s->fixed);
}

/* Stages that overlap in pieces as long as the shortest request: the first one's way in, at `each` seconds a byte, looks like a
 * cost of the request. What is more of it than `bare` is work per sector that later hides behind the slower stage. */
static void weigh_first_piece(
	struct search *s, const struct parts *p, const struct story *t, double each, double bare)
{
	double smallest = s->growth->smallest_bytes, fill = each * s->in->block_bytes;
	double first = fmin(s->fixed - least_frames(s), each * smallest);
	struct parts with = *p;

	if (each * smallest - fill < CULPRIT_BESIDE * s->seconds)
		return;
	with.of[CAUSE_IN_TURN] = fmax(0, first - fill);
	with.of[CAUSE_SECTOR_COST] += fmax(0, first - bare * smallest);
	weigh_fixed(s, &with, t, s->fixed - fill - with.of[CAUSE_IN_TURN]);
}

static void weigh_straight(struct search *s, const struct story *t)
{
	struct parts p = { { 0 }, false, false };
	double faster = fmin(t->link, store_side(t)), fill = faster * s->in->block_bytes;

	set_base(&p, s, t);
	p.of[CAUSE_PROGRAM_UNIT] = s->excess_s;
	if (t->sector > 0 && s->piece < 2 * s->in->block_bytes)
		weigh_single(s, &p, t);
	p.of[CAUSE_SECTOR_COST] = s->piece * t->sector;
	if (t->overlapped && t->sector > 0)
		p.of[CAUSE_SECTOR_COST] = s->piece * fmax(0, s->slope - fmax(t->link, t->card));
	weigh_units_of_sectors(s, &p, t);
	if (t->partly > 0)
		p.of[CAUSE_IN_TURN] = overlappable(s) * t->partly;
	if (!t->overlapped) {
		p.of[CAUSE_IN_TURN] = overlappable(s) * faster;
		weigh_fixed(s, &p, t, s->fixed);
		weigh_turns_in_frames(s, &p, t);
		return;
	}
	if (s->in->may_buffer)
		weigh_fixed(s, &p, t, s->fixed);
	/* The first piece's way in is no cost of a request, and may be as long as the shortest request. */
	weigh_fixed(s, &p, t, s->fixed - fill);
	if (!is_faster_known(s, t) && s->slope * s->in->block_bytes > NEXT_MIN * s->seconds)
		weigh_fixed(s, &p, t, s->fixed - s->slope * s->in->block_bytes);
	weigh_first_piece(s, &p, t, faster, faster);
	if (!(t->sector > 0) && faster < s->slope)
		weigh_first_piece(s, &p, t, s->slope, faster);
}

/* A cost per sector of just the faster stage's time looks like taking turns. Where that time is short beside the other's,
 * where the rates don't meet the sum well, or where the fixed cost is just the one that overlapped stages have, it
 * needs no great chance. Where there is less than that it can't be. */
static bool is_chance_likely(const struct search *s, const struct story *list, size_t n)
{
	double sum = middle(&s->link) + middle(&s->card), b = s->slope;

	for (size_t i = 0; i < n; i++) {
		double faster = fmin(list[i].link, list[i].card), fill = fill_of(s, list[i].link);

		if (list[i].overlapped || list[i].assumed)
			continue;
		/* So fast that it makes no difference is no chance either. */
		if (b - faster >= b / (1 + 2 * GIVEN_SLACK) ||
			(s->fixed + s->fixed_error < FILL_LEAST * fill && !s->in->may_buffer))
			return false;
		return faster < CHANCE_SHARE_LEAST * b || fabs(s->fixed / fill - 1) < FILL_NEAR ||
		       (faster < CHANCE_SHARE * b && fabs(b / sum - 1) > CHANCE_OFF);
	}
	return false;
}

/* Shown only with both rates known; refuted only where taking turns would be seen. */
static void note_turns(struct search *s, const struct story *list, size_t n)
{
	double link = middle(&s->link), card = middle(&s->card);

	if (!s->link.known || !s->card.known || s->in->behind ||
		fmin(link, card) < 2 * GIVEN_SLACK * fmax(link, card))
		return;
	s->out->turns = TURNS_REFUTED;
	for (size_t i = 0; i < n; i++)
		if (!list[i].overlapped && !list[i].assumed)
			s->out->turns = TURNS_SHOWN;
}

static void explain_straight(struct search *s)
{
	struct story list[STORIES_MAX];
	size_t n = 0;

	tell_slower_stage(s, list, &n);
	tell_in_turn(s, list, &n);
	tell_sectors(s, list, &n);
	if (s->in->behind)
		n = drop_in_turn(list, n);
	if (!s->in->doubt_in_turn && !is_chance_likely(s, list, n))
		n = keep_simplest(list, n);
	note_turns(s, list, n);
	for (size_t i = 0; i < n; i++)
		weigh_straight(s, &list[i]);
}

/* ---- stages that overlap in coarse pieces ---- */

/* What work per sector takes: all of it within a piece, where stages wait for one another; beyond, what sticks out. */
static double coarse_sectors(const struct search *s, const struct story *t, double chunk)
{
	double beyond = fmax(0, store_side(t) - fmax(t->link, t->card));

	return fmin(s->piece, chunk) * t->sector + fmax(0, s->piece - chunk) * beyond;
}

/* With a stage unknown, what the first bytes of a request take more may as well be work that goes on beside the data later. */
static void weigh_first_bytes(
	struct search *s, const struct parts *p, const struct story *t, double fixed)
{
	struct parts other = *p;

	other.of[CAUSE_SECTOR_COST] += p->of[CAUSE_IN_TURN];
	other.of[CAUSE_IN_TURN] = 0;
	weigh_fixed(s, &other, t, fixed);
}

static void explain_coarse(struct search *s)
{
	const struct growth *g = s->growth;
	double slower = g->slope, faster = g->slope_below - g->slope, chunk = g->at_bytes;
	double fixed = g->fixed_below_s;

	for (int which = 0; which < 2; which++) {
		struct story t = { .overlapped = true,
			.link = which ? faster : slower,
			.card = which ? slower : faster };
		struct parts p = { { 0 }, !which, which };
		double waits = fmax(0, fmin(s->piece, chunk) - s->in->block_bytes) * faster;

		if (t.link < s->link.low * 0.95 || t.link > s->link.high * 1.05 ||
			t.card < s->card.low * 0.95)
			continue;
		if (s->card.known && t.card > s->card.high * 1.05) {
			t.sector = t.card - middle(&s->card);
			t.card -= t.sector;
		}
		p.of[CAUSE_IN_TURN] = waits;
		p.of[CAUSE_SECTOR_COST] = coarse_sectors(s, &t, chunk);
		weigh_fixed(s, &p, &t, fixed);
		if (!s->link.known || !s->card.known)
			weigh_first_bytes(s, &p, &t, fixed);
		if (s->card.known)
			continue;
		/* Nor is the cost of a request told from a unit larger than all of them. */
		if (s->in->write)
			weigh_request(s, &p, CAUSE_PROGRAM_UNIT, fixed);
		/* An unknown card may be any part of its stage; the rest is work per sector. */
		t.sector = t.card - s->card.low;
		t.card = s->card.low;
		p.of[CAUSE_SECTOR_COST] = coarse_sectors(s, &t, chunk);
		weigh_fixed(s, &p, &t, fixed);
	}
}

/* ---- another stage takes over ---- */

static void weigh_turned(
	struct search *s, const struct parts *p, const struct story *t, double fixed, bool below)
{
	weigh_fixed(s, p, t, fixed);
	if (below && s->in->in_flight > 1)
		weigh_request(s, p, CAUSE_HOST_GAP, fixed);
	if (below && s->in->write)
		weigh_request(s, p, CAUSE_PROGRAM_UNIT, fixed);
}

/* Two stages beside each other, each with a fixed cost of its own: whichever takes longer. Or several requests in flight
 * that hide the host's gap once they are long enough. */
static void explain_turned(struct search *s)
{
	const struct growth *g = s->growth;
	bool below = s->piece < g->at_bytes;
	double other = below ? g->fixed_s + g->slope * s->piece
			     : g->fixed_below_s + g->slope_below * s->piece;
	double bare = s->slope * s->piece, other_slope = below ? g->slope : g->slope_below;
	double fixed = fmin(s->fixed, s->seconds - fmax(bare, other));
	/* The other stage's fixed cost may be of the same kind. */
	double both = fmin(s->fixed, s->seconds - fmax(bare, other_slope * s->piece));

	for (int which = 0; which < 2; which++) {
		const struct range *own = which ? &s->card : &s->link;
		const struct range *others = which ? &s->link : &s->card;
		struct story t = { .overlapped = true,
			.link = which ? 0 : s->slope,
			.card = which ? s->slope : 0 };
		/* Where the other one is nearly as slow, neither alone is what limits. */
		bool close = other > (1 - CULPRIT_BESIDE) * s->seconds;
		struct parts p = { { 0 }, !which || close, which || close };

		if (s->slope_high < own->low || (s->slope_low > own->high && !which))
			continue;
		if (other_slope < 0.95 * others->low ||
			(which && other_slope > 1.05 * others->high))
			continue;
		if (s->slope_low > own->high) {
			t.sector = s->slope - middle(own);
			p.of[CAUSE_SECTOR_COST] =
				fmax(0, fmin(overlappable(s) * t.sector, s->seconds - other));
		}
		weigh_turned(s, &p, &t, fixed, below);
		if (both - fixed > CULPRIT_BESIDE * s->seconds)
			weigh_turned(s, &p, &t, both, below);
	}
}

/* Or they are too short for that at all sizes: then the slope is a k-th of the true one everywhere. */
static void explain_large_gap(struct search *s)
{
	const struct growth *g = s->growth;
	double k = s->in->in_flight;
	struct search kept = *s;

	/* The largest size may begin to hide it: one point makes no bend. */
	if (k < 2 || (k - 1) * s->slope * g->largest_bytes > 1.5 * s->fixed)
		return;
	s->slope *= k;
	s->slope_low *= k;
	s->slope_high *= k;
	s->fixed = 0;
	s->gap_s = s->seconds - s->slope * s->piece - s->excess_s;
	s->pause_s = k * kept.fixed;
	s->hidden_s = 0;
	explain_straight(s);
	s->slope = kept.slope;
	s->slope_low = kept.slope_low;
	s->slope_high = kept.slope_high;
	s->fixed = kept.fixed;
	s->gap_s = s->pause_s = 0;
	s->hidden_s = kept.hidden_s;
}

static void explain_shared_gap(struct search *s)
{
	const struct growth *g = s->growth;
	double hidden = s->hidden_s;

	s->fixed = g->fixed_s;
	s->slope = g->slope;
	s->slope_low = fmax(0, s->slope - 2 * g->slope_se);
	s->slope_high = s->slope + 2 * g->slope_se;
	s->gap_s = fmax(0, s->seconds - s->fixed - s->slope * s->piece);
	s->pause_s = fmax(0, s->in->in_flight * g->fixed_below_s - g->fixed_s);
	s->hidden_s = 0;
	explain_straight(s);
	s->gap_s = s->pause_s = 0;
	s->hidden_s = hidden;
}

/* What is read, or taken in, in whole units takes that long for anything shorter. Cells of three bits make units of three times a
 * power of two (common practice, no source). */
static bool bends_at_unit(const struct growth *g)
{
	double bend = log2(g->at_bytes / 512), part = bend - floor(bend);
	double wide = (g->fixed_se + g->fixed_below_se + g->slope_se * g->at_bytes) /
		      (g->slope - g->slope_below);
	double near = log2(1 + BEND_NEAR + 2 * wide / g->at_bytes);

	return part < near || part > 1 - near || fabs(part - log2(1.5)) < near;
}

/* ---- the whole ---- */

/* Behind a buffer such steps may be something else's, and say nothing sure of the card. */
static bool steps_tell_card(const struct search *s)
{
	return s->growth->kind == GROWTH_UNIT && !(s->in->card.rate > 0) && !s->in->may_buffer;
}

static void set_line(struct search *s)
{
	const struct growth *g = s->growth;
	bool below = g->at_bytes > 0 && s->piece < g->at_bytes && g->kind != GROWTH_UNIT;
	double error = 2 * (below ? g->slope_below_se : g->slope_se);

	s->seconds = growth_seconds(g, s->piece);
	s->fixed = below ? g->fixed_below_s : g->fixed_s;
	s->slope = below ? g->slope_below : g->slope;
	s->slope_low = fmax(0, s->slope - error);
	s->slope_high = s->slope + error;
	s->fixed_error = 2 * (below ? g->fixed_below_se : g->fixed_se);
	s->hidden_s = (s->in->in_flight - 1.0) * growth_seconds(g, g->smallest_bytes);
	s->excess_s =
		g->kind == GROWTH_UNIT ? fmax(0, s->seconds - s->fixed - s->slope * s->piece) : 0;
	s->link = range_of(&s->in->link);
	s->card = range_of(&s->in->card);
	if (steps_tell_card(s) && !s->steps_apart)
		s->card = (struct range){ 0.85 * g->unit_slope, 1.15 * g->unit_slope, true };
}

/* The fixed cost this much larger, the slope so much smaller that this request takes the same. */
static void lean(struct search *s, double more_s)
{
	more_s = fmax(more_s, -fmax(0, s->fixed));
	s->fixed += more_s;
	s->slope -= more_s / s->piece;
	s->slope_low -= more_s / s->piece;
	s->slope_high -= more_s / s->piece;
}

static void explain_line(struct search *s)
{
	if (s->growth->kind == GROWTH_COARSE)
		explain_coarse(s);
	else if (is_gap_shared(s->growth, s->in->in_flight)) {
		if (bends_at_unit(s->growth))
			explain_turned(s);
		explain_shared_gap(s);
	} else if (s->growth->kind == GROWTH_TURNED)
		explain_turned(s);
	else {
		explain_straight(s);
		explain_large_gap(s);
	}
}

/* The same line with a unit in it that these sizes don't show, in a card of `cost` s per byte. */
static void explain_hidden_at(struct search *s, const struct growth_hidden *h, double cost)
{
	double excess = growth_unit_excess((uint64_t)(s->piece + 0.5), 0, (uint64_t)h->unit_bytes);

	set_line(s);
	if (!(cost > 0) || cost * excess < CULPRIT_BESIDE * s->seconds)
		return;
	s->card = (struct range){ 0.94 * cost, 1.06 * cost, true };
	s->excess_s = fmin(cost * excess, s->seconds);
	s->fixed = fmax(0, s->fixed - cost * h->fixed_bytes);
	s->slope -= cost * h->slope;
	s->slope_low -= cost * h->slope;
	s->slope_high -= cost * h->slope;
	explain_straight(s);
}

/* As much of the fixed cost as it can be; and as little as the card's rate, or the link's, leaves, as the rest may be other
 * work. */
static void explain_hidden(struct search *s, const struct growth_hidden *h)
{
	struct range known = range_of(&s->in->card), link = range_of(&s->in->link);
	double most, least = known.low;

	set_line(s);
	most = (s->fixed + s->fixed_error - least_frames(s)) / h->fixed_bytes;
	if (known.low > most)
		return;
	if (h->told > 0)
		most = fmin(most, HIDDEN / h->told);
	most = fmin(most, known.high);
	if (most < known.low)
		return;
	explain_hidden_at(s, h, most);
	if (h->slope < 0)
		least = fmax(least, (s->slope_high - link.low) / h->slope);
	if (least < most)
		explain_hidden_at(s, h, least);
}

/* In sizes that divide it a unit of U adds U less the request, so one of 3 U or 5 U looks like one of U and a fixed cost. What a
 * byte of it takes is known roughly. */
static void explain_multiple(struct search *s)
{
	const struct growth *g = s->growth;
	struct range card = range_of(&s->in->card);
	double low = (1 - UNIT_ROUGH) * g->unit_slope, more = 2 * g->at_bytes;
	double room = s->fixed + s->fixed_error - least_frames(s), times, extra;

	if (g->kind != GROWTH_UNIT || !g->multiple_alike)
		return;
	if (card.known)
		low = fmin(low, card.low);
	times = floor(room / (more * low));
	if (times < 1)
		return;
	extra = fmin(times * more * g->unit_slope, fmax(0, s->fixed));
	s->excess_s += extra;
	s->fixed -= extra;
	explain_straight(s);
}

/* Would such a unit hide in the fixed cost: does it add about the same to requests of all sizes? */
static bool is_hidden(const struct search *s, uint64_t unit)
{
	const struct growth_set *set = s->in->growths;
	double most = (double)unit - s->in->block_bytes;

	for (size_t i = 0; i < set->point_count; i++)
		if (set->points[i].pieces < 1.01 &&
			growth_unit_excess(set->points[i].bytes, 0, unit) < ODD_ALIKE * most)
			return false;
	return true;
}

/* Some requests of a size touch one unit more than others do, and take as much longer, at `each` s a byte: do they not? */
static bool is_spread_missing(const struct search *s, uint64_t unit, double each)
{
	const struct growth_set *set = s->in->growths;

	for (size_t i = 0; i < set->point_count; i++) {
		const struct growth_point *p = &set->points[i];
		bool exact = (double)unit <= ODD_EXACT * s->in->block_bytes ||
			     s->in->in_flight * (double)p->bytes < 2 * (double)unit;

		if (p->pieces < 1.01 && exact && p->spread_s < ODD_STEP * (double)unit * each &&
			growth_unit_spread(p->bytes, s->in->in_flight, unit) > 0)
			return true;
	}
	return false;
}

/* A unit that makes up all of the fixed cost, or more than half of it. */
static bool may_be_odd_unit(const struct search *s, double fixed, const struct range *card)
{
	uint64_t block = (uint64_t)s->in->block_bytes, low, high, step;

	if (!(fixed / card->low < ODD_MOST))
		return false;
	low = (uint64_t)(ODD_PART * fixed / card->high) / block + 1;
	high = (uint64_t)(fixed / card->low) / block + 2;
	step = (high - low) / ODD_TRIES + 1;
	for (uint64_t n = low; n <= high; n += step)
		if (n > 1 && is_hidden(s, n * block) && !is_spread_missing(s, n * block, card->low))
			return true;
	return false;
}

/* A unit that is no multiple of these sizes adds nearly as much to all of them, so it looks like a cost of each request. */
static void explain_odd_unit(struct search *s)
{
	struct range card = range_of(&s->in->card);
	double fixed = s->fixed - least_frames(s);

	if (!s->in->write || !card.known || s->growth->kind != GROWTH_STRAIGHT ||
		fixed < CULPRIT_BESIDE * s->seconds || !may_be_odd_unit(s, fixed, &card))
		return;
	s->excess_s = fixed;
	s->fixed -= fixed;
	explain_straight(s);
}

/* And as far as noise may have leaned the line either way. */
static void explain_leaning(struct search *s)
{
	const struct growth *g = s->growth;
	bool below = g->at_bytes > 0 && s->piece < g->at_bytes;
	double error = 2 * (below ? g->fixed_below_se : g->fixed_se);

	for (int way = -1; way <= 1; way++) {
		set_line(s);
		if (way && error < LEANS * s->seconds)
			continue;
		lean(s, way * fmin(error, s->seconds));
		s->slope = fmax(s->slope, TINY * s->seconds / s->piece);
		if (s->slope_high > 0)
			explain_line(s);
	}
}

static void explain(struct search *s)
{
	const struct growth *g = s->growth;

	explain_leaning(s);
	if (steps_tell_card(s)) {
		s->steps_apart = true;
		explain_leaning(s);
		s->steps_apart = false;
	}
	set_line(s);
	explain_multiple(s);
	set_line(s);
	explain_odd_unit(s);
	for (size_t i = 0; i < g->hidden_count; i++)
		explain_hidden(s, &g->hidden[i]);
	set_line(s);
}

void culprits_give_up(struct culprits *c, enum culprit_doubt doubt)
{
	c->doubt = doubt;
	c->count = 1;
	c->next_count = 0;
	c->perhaps_known = c->pause_may_hide = false;
	c->list[0] = (struct culprit){ .cause = CAUSE_UNKNOWN,
		.share_high = 1,
		.seconds_low = c->seconds,
		.seconds_high = c->seconds };
}

/* ---- what they have in common ---- */

/* What every explanation names is enough; else all that any of them names. */
static void keep_sure(struct search *s)
{
	bool any = false;

	for (int c = 0; c < CAUSE_UNKNOWN; c++)
		any |= s->named[c] && s->near[c] == s->explanations;
	for (int c = 0; any && c < CAUSE_UNKNOWN; c++)
		s->named[c] &= s->near[c] == s->explanations;
}

static struct culprit timed(const struct culprits *c, const struct culprit *one)
{
	struct culprit with = *one;

	with.seconds_low = c->seconds * (1 - one->share_high);
	with.seconds_high = c->seconds * (1 - one->share_low);
	return with;
}

static void put(struct culprits *c, const struct culprit *one)
{
	size_t at = c->count++;

	while (at && c->list[at - 1].share_high < one->share_high) {
		c->list[at] = c->list[at - 1];
		at--;
	}
	c->list[at] = timed(c, one);
}

static bool fixed_is_named(const struct search *s)
{
	for (int c = 0; c < CAUSE_UNKNOWN; c++)
		if (is_fixed(c) && s->named[c])
			return true;
	return false;
}

/* Under each of the names it has. */
static void put_fixed_next(struct search *s)
{
	struct culprits *c = s->out;

	c->next_count = 0;
	for (int i = 0; i < CAUSE_UNKNOWN; i++) {
		struct culprit one = { (enum cause)i, s->fixed_low, s->fixed_high, 0, 0 };

		if (is_fixed(i) && s->seen[i])
			c->next[c->next_count++] = timed(c, &one);
	}
}

static void pick_next(struct search *s)
{
	struct culprits *c = s->out;
	double most = NEXT_MIN;

	for (int i = CAUSE_IN_TURN; i < CAUSE_UNKNOWN; i++) {
		const struct culprit *o = &s->all[i];

		if (s->named[i] || is_fixed(i) || s->seen[i] < s->explanations ||
			o->share_low < most)
			continue;
		c->next[0] = timed(c, o);
		c->next_count = 1;
		most = o->share_low;
	}
	if (!fixed_is_named(s) && s->fixed_low >= most)
		put_fixed_next(s);
}

static bool is_next(const struct culprits *c, int cause)
{
	for (size_t i = 0; i < c->next_count; i++)
		if ((int)c->next[i].cause == cause)
			return true;
	return false;
}

static void pick_perhaps(struct search *s)
{
	struct culprits *c = s->out;

	for (int i = CAUSE_IN_TURN; i < CAUSE_UNKNOWN; i++) {
		const struct culprit *o = &s->all[i];

		if (s->named[i] || !s->seen[i] || is_next(c, i) || o->share_high < CULPRIT_SHARE ||
			(c->perhaps_known && c->perhaps.share_high >= o->share_high))
			continue;
		c->perhaps = timed(c, o);
		c->perhaps_known = true;
	}
}

static void pick(struct search *s)
{
	keep_sure(s);
	for (int i = 0; i < CAUSE_UNKNOWN; i++)
		if (s->named[i])
			put(s->out, &s->all[i]);
	/* Where several are named their range is not told to so much. */
	if (s->out->count == 1)
		s->out->pause_may_hide =
			s->bare_low[s->out->list[0].cause] > s->out->list[0].share_low + HIDES_MIN;
	pick_next(s);
	pick_perhaps(s);
}

static enum culprit_doubt doubt_of(const struct search *s)
{
	if (s->growth->kind == GROWTH_UNKNOWN)
		return s->growth->sizes < 2 ? CULPRIT_TOO_FEW : CULPRIT_NO_SHAPE;
	if (s->slope_high < s->link.low)
		return CULPRIT_LINK_BEATEN;
	return s->slope_high < s->card.low ? CULPRIT_CARD_BEATEN : CULPRIT_NO_SHAPE;
}

/* Units tell the same as two stages side by side, with one figure less, where nothing speaks for a buffer between them. */
static bool is_idle(const struct culprit_input *in, const struct growth_set *set, size_t at)
{
	bool idle = false;

	for (size_t i = 0; i < set->count; i++)
		idle |= set->list[i].kind == GROWTH_UNIT && !in->may_buffer;
	return idle && set->list[at].kind == GROWTH_TURNED &&
	       !is_gap_shared(&set->list[at], in->in_flight);
}

/* The best one last, so that its figures stay. */
static void explain_all(struct search *s, const struct growth_set *set, enum frames_evidence frames)
{
	s->frames = frames;
	for (size_t i = set->count; i-- > 0;) {
		s->growth = &set->list[i];
		if (s->growth->kind != GROWTH_UNKNOWN && !is_idle(s->in, set, i))
			explain(s);
	}
}

/* Nothing could have contradicted the shape: two sizes, or four where one is given to a unit. */
static bool is_unchecked(const struct growth *g)
{
	return !g->checked || (g->kind == GROWTH_UNIT && g->sizes < UNIT_SIZES_MIN);
}

/* Link or card that take most of the time take it whatever the shape. */
static bool rests_on_shape(const struct culprit *c)
{
	if (c->cause == CAUSE_LINK || c->cause == CAUSE_CARD)
		return c->share_low < HARDLY_ELSE;
	return c->cause != CAUSE_STALLS && c->cause != CAUSE_BACKLOG;
}

/* Without any other cause the data are still on a link that carries no more than its ceiling. */
static void keep_to_link(struct culprit *c, double seconds, double least)
{
	if (c->cause == CAUSE_LINK || c->seconds_low >= least)
		return;
	c->seconds_low = fmin(least, c->seconds_high);
	c->share_high = 1 - c->seconds_low / seconds;
}

static void keep_all_to_link(struct culprits *c, const struct culprit_input *in)
{
	double least = in->link.ceiling > 0 ? (double)in->bytes / in->link.ceiling : 0;

	for (size_t i = 0; i < c->count; i++)
		keep_to_link(&c->list[i], c->seconds, least);
	for (size_t i = 0; i < c->next_count; i++)
		keep_to_link(&c->next[i], c->seconds, least);
	if (c->perhaps_known)
		keep_to_link(&c->perhaps, c->seconds, least);
}

void culprits_find(struct culprits *c, const struct culprit_input *in)
{
	struct search s = { .in = in,
		.out = c,
		.growth = &in->growths->list[0],
		.piece = (double)in->bytes / in->pieces };
	unsigned framed;

	*c = (struct culprits){ 0 };
	/* That frames are not ruled out is no reason to believe in them, when nothing else fits. */
	if (in->framed &&
		(in->frames == FRAMES_SEEN || in->growths->list[0].kind != GROWTH_UNKNOWN))
		explain_all(&s, in->framed, FRAMES_SEEN);
	framed = s.explanations;
	if (in->frames != FRAMES_SEEN || !in->framed) {
		explain_all(&s, in->growths, in->framed ? FRAMES_EXCLUDED : in->frames);
		if (framed == s.explanations)
			s.explanations = 0;
	}
	set_line(&s);
	c->seconds = s.seconds * in->pieces + in->stall_s + in->backlog_s;
	c->fixed_s = s.fixed * in->pieces;
	if (s.explanations)
		pick(&s);
	keep_all_to_link(c, in);
	if (!c->count)
		culprits_give_up(c, doubt_of(&s));
	/* A shape that the times follow only roughly, or but for one of the sizes, makes nothing sure. */
	else if (c->count == 1 &&
		 (!in->growths->fits || in->growths->partial || in->growths->strained) &&
		 in->frames != FRAMES_SEEN)
		culprits_give_up(c, CULPRIT_NO_SHAPE);
	else if (c->count == 1 && is_unchecked(s.growth) && rests_on_shape(&c->list[0]))
		culprits_give_up(c, CULPRIT_TOO_FEW);
}

bool culprits_have(const struct culprits *c, enum cause cause)
{
	for (size_t i = 0; i < c->count; i++)
		if (c->list[i].cause == cause)
			return true;
	return false;
}
