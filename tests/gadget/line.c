/* The line of a modelled gadget on the bus. */
#include "gadget/line.h"

#include <errno.h>
#include <math.h>

#include "base/number.h"
#include "gadget/clock.h"

enum { GRAIN = 512, PIECE_MAX = LINE_SPARE_BYTES / 2 };

/* Pieces of about this time: short beside a request, long beside what a transfer costs in an emulated machine. */
static const double piece_ns = 4e6;
static const double turn_ns = 150e3, lead_max_ns = 2e6;

static size_t piece_bytes(const struct model_link *link)
{
	static const double ceilings[] = {
		[MODEL_SPEED_FULL] = 1216000, [MODEL_SPEED_HIGH] = 53248000
	};
	double n = (link->frames ? ceilings[link->speed] : link->rate) * piece_ns / 1e9;

	return (size_t)number_round_down((uint64_t)fmin(fmax(n, GRAIN), PIECE_MAX), GRAIN);
}

/* Where the time slept belongs. */
static double *wait_of(struct line *l)
{
	struct truth *n = l->note;

	if (l->total && n->first <= 0)
		return &n->wait_data;
	return l->base.carried < l->total ? &n->wait_pieces : &n->wait_status;
}

static int give_up(struct line *l, int rc)
{
	l->base.given_up = clock_ns();
	return rc;
}

int line_wait(struct line *l, double t)
{
	double before = clock_ns(), *slot = wait_of(l);
	int rc;

	if (before >= t + l->shift)
		return 0;
	rc = bus_pass(l->bus, t + l->shift);
	*slot += clock_ns() - before;
	return rc < 0 ? give_up(l, rc) : 0;
}

static int wait_hook(struct model_line *line, double t)
{
	return line_wait((struct line *)line, t);
}

/* For the first piece of data, at the first call. */
static void ready(struct line *l)
{
	if (l->note->first <= 0)
		l->note->first = clock_ns();
}

/* A host that sends less than it said has given up. One that has no room for a whole packet has it all the same, and what
 * is behind that packet goes wherever it looks next. */
static size_t passed(const struct line *l, size_t n, size_t got)
{
	size_t packets = (size_t)number_round_up(got, l->bus->packet_bytes);

	if (got >= n)
		return n;
	return l->in ? (packets < n ? packets : n) : 0;
}

/* A piece of the data, now. The host's packets come whole, so that there is room for more than is left. */
static int move(struct line *l, unsigned char *data, size_t n)
{
	size_t ask = l->in ? n : (size_t)number_round_up(n, l->bus->packet_bytes), got;
	int rc;

	ready(l);
	rc = bus_move(l->bus, l->in ? PIPE_IN : PIPE_OUT, data, ask, &got);
	if (!rc)
		got = passed(l, n, got);
	if (rc < 0 || !got)
		return give_up(l, rc < 0 ? rc : -ECANCELED);
	l->base.carried += got;
	l->note->data = clock_ns();
	l->shift += l->bus->extra.piece;
	return 0;
}

/* The last piece, small, moves at the end of all, so that the end does not depend on how long a piece takes. */
static size_t last_piece(const struct line *l)
{
	return (size_t)number_round_down(l->total - 1, GRAIN);
}

/* It is begun as much earlier as such pieces took of late, and a turn of the emulated bus (125 us) more, so as to be over
 * by its time: then the status goes when the model says, and not just behind a turn of the bus. */
static int move_last(struct line *l, size_t at, double end)
{
	struct bus *b = l->bus;
	int rc = line_wait(l, end - b->last_piece_ns - turn_ns);
	double begun = clock_ns(), took;

	if (!rc)
		rc = move(l, l->data + at, l->total - at);
	took = clock_ns() - begun;
	if (!rc)
		b->last_piece_ns += (fmin(took, lead_max_ns) - b->last_piece_ns) / 8;
	return rc ? rc : line_wait(l, end);
}

/* The link carries [from, upto) from start to end: when is it at `byte`? */
struct stretch {
	size_t from, upto;
	double start, end;
};

static double at_byte(const struct stretch *s, size_t byte)
{
	if (byte <= s->from)
		return s->start;
	if (byte >= s->upto)
		return s->end;
	return s->start +
	       (s->end - s->start) * (double)(byte - s->from) / (double)(s->upto - s->from);
}

/* Data from the host is taken ahead of its time, a piece at most: the host sees only when the last of it is taken. */
static int take(struct line *l, const struct stretch *s)
{
	size_t last = last_piece(l);
	int rc = 0;

	while (!rc && l->base.carried < s->upto) {
		size_t at = l->base.carried, n = at < last ? last - at : 0;

		if (at >= last) {
			rc = move_last(l, at, s->end);
			continue;
		}
		rc = line_wait(l, at_byte(s, at));
		if (!rc)
			rc = move(l, l->data + at, n < l->piece ? n : l->piece);
	}
	return rc;
}

/* Data for the host waits until there is a piece of it. */
static int give(struct line *l, const struct stretch *s)
{
	size_t last = last_piece(l);
	int rc = 0;

	while (!rc && l->base.carried < s->upto) {
		size_t at = l->base.carried, end = at < last && s->upto > last ? last : s->upto;
		size_t n = end - at < l->piece ? end - at : l->piece;

		if (at >= last) {
			rc = move_last(l, at, s->end);
			continue;
		}
		if (n < l->piece && s->upto < l->total)
			break;
		rc = line_wait(l, at_byte(s, at + n));
		if (!rc)
			rc = move(l, l->data + at, n);
	}
	return rc;
}

int line_hang(struct bus *b, double t)
{
	int rc;

	b->idle = true;
	rc = bus_pass(b, t);
	b->idle = false;
	return rc;
}

static int carry_hook(struct model_line *line, size_t upto, double start, double end)
{
	struct line *l = (struct line *)line;
	struct stretch s = { l->upto, upto, start, end };
	int rc = l->note->first > 0 ? 0 : line_wait(l, start);

	if (rc < 0)
		return rc;
	ready(l);
	l->upto = upto;
	rc = l->in ? give(l, &s) : take(l, &s);
	if (!rc && l->stop_at && l->base.carried >= l->stop_at)
		rc = give_up(l, line_hang(l->bus, INFINITY));
	return rc;
}

int line_finish(struct line *l, size_t upto)
{
	int rc = 0;

	while (!rc && l->base.carried < upto) {
		size_t at = l->base.carried, n = upto - at < PIECE_MAX ? upto - at : PIECE_MAX;

		rc = move(l, l->in ? l->data + at : l->data, n);
	}
	return rc;
}

void line_begin(struct line *l, struct bus *b, struct truth *note,
	const struct model_bulk_command *x, size_t total, const struct model_link *link)
{
	*l = (struct line){ .base = { .wait = wait_hook, .carry = carry_hook },
		.bus = b,
		.note = note,
		.data = x->data,
		.in = x->in,
		.total = total,
		.piece = piece_bytes(link) };
}
