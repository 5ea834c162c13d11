/* From times to a gadget. */
#include "analysis/twin.h"

#include <math.h>
#include <string.h>

/* Of the time of a byte: status times that grow by more are work on all of the data, after them; by less, on the last piece. */
#define GROWS 0.05
/* A clock of microseconds: data may seem this much faster than the link can be. */
#define CLOCK_SLACK 0.03
/* Given rates may be off by 5 %; the rest is for what was measured. */
#define SLACK 0.06
/* Of the time of the smallest request: fixed costs of reads and writes that differ by less are one. */
#define SAME_FIXED 0.01

enum { READ, WRITE };

/* Time per byte, and what is left of the fixed cost, by direction. */
struct work {
	const struct twin_input *in;
	struct twin *t;
	double slope[2], fixed[2];
	double link; /* s per byte */
	double card[2], sector[2]; /* s per byte */
	bool behind,
		front_hidden; /* of writes: the card's part is known apart; the other part never counts */
	double behind_s; /* then: what each costs on the card */
};

static bool measured(const struct twin_input *in, int d)
{
	return in->side[d].growth != NULL && in->side[d].growth->kind != GROWTH_UNKNOWN;
}

static bool seen(const struct twin_input *in, int d)
{
	const struct twin_side *s = &in->side[d];

	return s->phases_seen && measured(in, d) && !(in->frame_s > 0) &&
	       !(d == WRITE && s->buffered);
}

/* The bus shows a write's work grow with its data, after them. */
static bool stores_after(const struct work *w)
{
	const struct twin_phases *p = &w->in->side[WRITE].phases;

	return seen(w->in, WRITE) &&
	       fmin(p->status_slope, p->status_last_slope) > GROWS * w->slope[WRITE];
}

/* All data were taken, more slowly than the link brings them, and no work grows with them afterwards: it went on meanwhile. */
static bool stores_meanwhile(const struct work *w)
{
	const struct twin_phases *p = &w->in->side[WRITE].phases;

	return seen(w->in, WRITE) && w->in->link > 0 && !stores_after(w) &&
	       p->status_last_slope < GROWS / 2 * w->slope[WRITE] &&
	       p->data_slope > w->link * (1 + 2 * SLACK);
}

/* ---- the line of each direction ---- */

static void take_line(struct work *w, int d)
{
	const struct growth *g = w->in->side[d].growth;

	w->slope[d] = g->slope;
	w->fixed[d] = g->kind == GROWTH_COARSE ? g->fixed_below_s : g->fixed_s;
	if (g->kind != GROWTH_UNIT || w->in->single_blocks)
		return;
	w->t->card[d].unit_bytes = g->at_bytes;
	/* Some of what seems to be a cost of each write is the rest of a larger unit then. */
	w->t->doubts[TWIN_UNIT] = w->t->doubts[TWIN_REQUEST] = g->multiple_alike;
}

static void take_lines(struct work *w)
{
	for (int d = READ; d <= WRITE; d++) {
		w->t->card[d].rate = INFINITY;
		if (measured(w->in, d))
			take_line(w, d);
		else if (w->in->side[d].growth)
			w->t->doubts[d == WRITE ? TWIN_WRITE_SHAPE : TWIN_READ_SHAPE] = true;
		else
			w->t->doubts[d == WRITE ? TWIN_WRITES : TWIN_READS] = true;
	}
}

/* ---- the link ---- */

static bool alone(const struct twin_side *s, enum cause cause)
{
	return s->culprits && s->culprits->count == 1 && s->culprits->list[0].cause == cause;
}

static void find_link(struct work *w)
{
	const struct twin_input *in = w->in;

	if (in->frame_s > 0 || in->link > 0) {
		w->link = 1 / (in->link > 0 ? in->link : in->link_ceiling);
		return;
	}
	for (int d = READ; d <= WRITE; d++)
		if (measured(in, d) && alone(&in->side[d], CAUSE_LINK)) {
			w->link = w->slope[d];
			return;
		}
	w->link = in->link_ceiling > 0 ? 1 / in->link_ceiling : 0;
	/* With all of the work after them, what data take is the link's. */
	if (stores_after(w) && in->side[WRITE].phases.data_slope > (1 - CLOCK_SLACK) * w->link)
		w->t->link_seen = true, w->link = in->side[WRITE].phases.data_slope;
	else
		w->t->doubts[TWIN_LINK] = true;
}

/* ---- in turn or overlapped ---- */

enum turn { TURN_OPEN, TURN_IN_TURN, TURN_OVERLAPPED };

/* With both rates known: nearer the sum or nearer the larger; beyond the sum either may hold. */
static enum turn turn_of(const struct work *w, int d)
{
	const struct twin_side *s = &w->in->side[d];
	double card = s->card > 0 ? 1 / s->card : 0, both = w->link + card;

	if (!measured(w->in, d) || (d == WRITE && s->buffered))
		return TURN_OPEN;
	if (d == WRITE && stores_after(w)) {
		w->t->stores_after = true;
		return TURN_IN_TURN;
	}
	if (s->growth->kind == GROWTH_COARSE || s->growth->kind == GROWTH_TURNED)
		return TURN_OVERLAPPED;
	/* Piece by piece, in turn, would look the same where it takes as long. */
	if (d == WRITE && stores_meanwhile(w)) {
		w->t->stores_meanwhile = true;
		w->t->doubts[TWIN_TRANSFER] = w->slope[d] > both * (1 - SLACK);
		return TURN_OVERLAPPED;
	}
	if (alone(s, CAUSE_IN_TURN))
		return TURN_IN_TURN;
	if (!(card > 0) || w->t->doubts[TWIN_LINK] || w->slope[d] > both * (1 + SLACK))
		return TURN_OPEN;
	if (fmin(card, w->link) < 2 * SLACK * fmax(card, w->link))
		return TURN_OPEN; /* makes no difference */
	return w->slope[d] > both * (1 - SLACK) ? TURN_IN_TURN : TURN_OVERLAPPED;
}

/* Most likely a power of two. */
static double chunk_of(const struct twin_input *in, double bytes)
{
	return in->odd_chunk
		       ? fmax(in->block_bytes, rint(bytes / in->block_bytes) * in->block_bytes)
		       : exp2(round(log2(bytes)));
}

static void find_transfer(struct work *w)
{
	enum turn read = turn_of(w, READ), write = turn_of(w, WRITE);
	bool split = read != write && read != TURN_OPEN && write != TURN_OPEN;

	/* What was seen goes before what rates seem to say. */
	if (split && stores_after(w)) {
		read = write;
		split = false;
	}
	w->t->doubts[TWIN_TRANSFER] |= split || (read == TURN_OPEN && write == TURN_OPEN);
	w->t->overlapped = !split && (read == TURN_OVERLAPPED || write == TURN_OVERLAPPED);
	for (int d = READ; d <= WRITE; d++) {
		const struct growth *g = w->in->side[d].growth;

		if (measured(w->in, d) && g->kind == GROWTH_COARSE)
			w->t->chunk_bytes = chunk_of(w->in, g->at_bytes);
		/* Less than the link alone needs leaves nothing to wait for. */
		if (w->t->doubts[TWIN_TRANSFER] && measured(w->in, d) && w->slope[d] < w->link)
			w->t->overlapped = true;
		/* More than the slower stage: they take turns, or there is work per sector. */
		if (w->t->doubts[TWIN_TRANSFER] && measured(w->in, d) &&
			w->slope[d] > (1 + SLACK) * w->link)
			w->t->doubts[TWIN_SECTOR] = true;
	}
}

/* What overlapped stages take in the long run is the slower one's: a given rate is known to no more than 5 %. */
static void correct_link(struct work *w)
{
	double sum = 0, n = 0;

	for (int d = READ; d <= WRITE; d++) {
		const struct twin_side *s = &w->in->side[d];
		double card = s->card > 0 ? 1 / s->card : 0;

		if (!measured(w->in, d) || s->growth->kind == GROWTH_COARSE ||
			card > w->slope[d] * (1 - SLACK) || fabs(w->slope[d] / w->link - 1) > SLACK)
			continue;
		sum += w->slope[d];
		n++;
	}
	if (w->t->overlapped && !w->t->frames && n > 0)
		w->link = sum / n;
}

/* ---- behind a buffer ---- */

/* The slower of two lines counts: that of the link with what is done before it, and the card's, whose fixed part is its own. */
static void find_behind(struct work *w)
{
	const struct twin_side *s = &w->in->side[WRITE];
	const struct growth *g = s->growth;
	bool two, link_first;

	if (!measured(w->in, WRITE) || !s->buffered || w->t->card[WRITE].unit_bytes > 0)
		return;
	two = g->kind == GROWTH_TURNED;
	w->front_hidden = !two && measured(w->in, READ) && g->slope > w->link * (1 + SLACK);
	w->behind = two || w->front_hidden;
	link_first = two && fabs(g->slope_below - w->link) < fabs(g->slope - w->link);
	if (two) {
		w->slope[WRITE] = link_first ? g->slope : g->slope_below;
		w->behind_s = link_first ? g->fixed_s : g->fixed_below_s;
		w->fixed[WRITE] = link_first ? g->fixed_below_s : g->fixed_s;
	} else {
		w->behind_s = w->fixed[WRITE];
	}
	w->behind_s = fmax(0, w->behind_s);
}

/* ---- card and sectors ---- */

static void find_card(struct work *w, int d)
{
	const struct twin_side *s = &w->in->side[d];
	double b = w->slope[d], given = s->card > 0 ? 1 / s->card : 0;
	bool side_by_side = w->t->overlapped || (d == WRITE && s->buffered);
	double rest = side_by_side ? b : fmax(0, b - w->link);

	if (s->growth->kind == GROWTH_COARSE) /* whichever is not the link's */
		rest = fabs(s->growth->slope - w->link) <
				       fabs(s->growth->slope_below - s->growth->slope - w->link)
			       ? s->growth->slope_below - s->growth->slope
			       : s->growth->slope;
	if (w->t->card[d].unit_bytes > 0 && !(given > 0))
		given = s->growth->unit_slope;
	w->card[d] = rest;
	if (!(given > 0) && s->growth->kind == GROWTH_TURNED && !s->buffered)
		w->card[d] = fmin(rest, s->growth->slope_below);
	if (!(given > 0)) {
		/* As slow as the link it may be anything faster. */
		w->t->doubts[d == WRITE ? TWIN_WRITE_CARD : TWIN_READ_CARD] = true;
		w->t->doubts[TWIN_SECTOR] |= rest > SLACK * b;
		if (w->t->overlapped && !s->buffered && s->growth->kind == GROWTH_STRAIGHT &&
			rest <= w->link * (1 + SLACK))
			w->card[d] = 0;
		return;
	}
	if (side_by_side && w->link > b * (1 - SLACK) && given < b) {
		w->card[d] = given;
		return;
	}
	if (given > rest * (1 - SLACK)) {
		/* Slower than what was measured: it isn't what these times are made of. */
		w->t->doubts[d == WRITE ? TWIN_WRITE_CARD : TWIN_READ_CARD] |=
			given > rest * (1 + SLACK);
		w->t->doubts[TWIN_UNIT] |=
			d == WRITE && given > rest * (1 + SLACK) && !(w->t->card[d].unit_bytes > 0);
		return;
	}
	w->card[d] = given;
	w->sector[d] = rest - given;
	w->t->doubts[TWIN_SECTOR] = true;
}

/* ---- costs of a request ---- */

/* The way of a first block into the faster stage is no cost of a request. */
static double fill(const struct work *w, int d)
{
	const struct twin_side *s = &w->in->side[d];

	if (!w->t->overlapped || s->growth->kind == GROWTH_COARSE || (d == WRITE && s->buffered))
		return 0;
	return w->in->block_bytes * fmin(w->link, w->card[d] + w->sector[d]);
}

/* The host's pause and the way of the command are the same for both directions. */
static void take_phases(struct work *w)
{
	double n = 0;

	for (int d = READ; d <= WRITE; d++) {
		if (!seen(w->in, d))
			continue;
		w->t->host_s += w->in->side[d].phases.host_s;
		w->t->command_s += w->in->side[d].phases.command_s;
		n++;
	}
	if (!(n > 0))
		return;
	w->t->host_s /= n;
	w->t->command_s /= n;
	w->t->phased = stores_after(w) && !w->t->overlapped && (n > 1 || !measured(w->in, READ));
}

/* What is left of the fixed cost; of writes, without the card's own, which comes after the data. */
static double firmware_s(const struct work *w, int d)
{
	double own = d == WRITE && w->t->phased ? w->in->side[d].phases.status_s : 0;

	return fmax(0, w->fixed[d] - own);
}

/* What writes cost more than reads is enough for the card to program more than the largest of them, whatever its size: then how
 * their time grows tells nothing of the card. */
static void doubt_unit(struct work *w)
{
	const struct twin_side *s = &w->in->side[WRITE];
	double more = w->t->card[WRITE].command_s;

	if (!measured(w->in, WRITE) || s->buffered || !(s->card > 0) ||
		w->t->card[WRITE].unit_bytes > 0 ||
		more < (1 - SLACK) * s->growth->largest_bytes / s->card)
		return;
	w->t->doubts[TWIN_UNIT] = w->t->doubts[TWIN_WRITE_CARD] = w->t->doubts[TWIN_TRANSFER] =
		true;
}

static void find_costs(struct work *w)
{
	double least = INFINITY, smallest = INFINITY;

	take_phases(w);
	for (int d = READ; d <= WRITE; d++) {
		if (!measured(w->in, d) || (d == WRITE && w->front_hidden))
			continue;
		w->fixed[d] = fmax(0, w->fixed[d] - fill(w, d) - 3 * w->in->frame_s - w->t->host_s -
					      w->t->command_s);
		least = fmin(least, firmware_s(w, d));
		smallest = fmin(smallest, growth_seconds(w->in->side[d].growth,
						  w->in->side[d].growth->smallest_bytes));
	}
	w->t->request_s = isfinite(least) ? least : 0;
	w->t->sectors = w->sector[READ] > 0 || w->sector[WRITE] > 0;
	for (int d = READ; d <= WRITE; d++) {
		double more = !measured(w->in, d)       ? 0
			      : d == WRITE && w->behind ? w->behind_s
							: w->fixed[d] - w->t->request_s;

		w->t->card[d].command_s = more;
		w->t->sectors &= more < SAME_FIXED * smallest && !(w->t->card[d].unit_bytes > 0);
		w->t->doubts[TWIN_REQUEST] |= !w->t->phased && w->fixed[d] > SAME_FIXED * smallest;
	}
	doubt_unit(w);
}

/* What overlapped stages do for the card before its first block hides behind a slower link, but in the smallest requests. */
static void find_hidden(struct work *w, int d)
{
	const struct twin_side *s = &w->in->side[d];
	double card = w->card[d] + w->sector[d];
	double first = w->link * fmin(w->in->block_bytes, s->smallest_bytes);

	if (!w->t->overlapped || !measured(w->in, d) || s->growth->kind == GROWTH_COARSE ||
		s->buffered || w->t->sectors || card >= w->link || !(s->smallest_s > 0))
		return;
	w->t->card[d].command_s =
		fmax(0, s->smallest_s - w->t->request_s - w->t->host_s - w->t->command_s - first -
				card * s->smallest_bytes);
}

static void put_cards(struct work *w)
{
	for (int d = READ; d <= WRITE; d++) {
		struct twin_card *c = &w->t->card[d];
		double sector_s = w->sector[d] * w->in->block_bytes;

		if (w->card[d] > 0)
			c->rate = 1 / w->card[d];
		if (w->t->sectors)
			c->command_s = sector_s;
		else
			c->sector_s = sector_s;
	}
}

/* Work after the data that is not as long as the card's may be the end of one that began with the first of them, in a buffer
 * large enough for all: no model has that, but a gadget may. */
static void doubt_turns(struct work *w)
{
	const struct twin_phases *p = &w->in->side[WRITE].phases;
	double card = w->in->side[WRITE].card;

	w->t->doubts[TWIN_TRANSFER] |= w->t->stores_after && !w->t->overlapped &&
				       !(fabs(p->status_slope * card - 1) <= 2 * SLACK);
}

void twin_make(struct twin *t, const struct twin_input *in)
{
	struct work w = { .in = in, .t = t };

	*t = (struct twin){ .frames = in->frame_s > 0 };
	take_lines(&w);
	find_link(&w);
	find_transfer(&w);
	find_behind(&w);
	correct_link(&w);
	for (int d = READ; d <= WRITE; d++)
		if (measured(in, d))
			find_card(&w, d);
	find_costs(&w);
	for (int d = READ; d <= WRITE; d++)
		find_hidden(&w, d);
	put_cards(&w);
	doubt_turns(&w);
	t->link = w.link > 0 ? 1 / w.link : INFINITY;
	t->doubts[TWIN_BUFFER] =
		in->side[WRITE].buffered || (measured(in, WRITE) && in->side[WRITE].may_buffer);
	t->doubts[TWIN_FRAMES] = in->frames_open && !t->frames;
}
