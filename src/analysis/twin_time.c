/* How long a gadget with given lines takes: the timing that blkassay-model(5) describes, of one request in a long run. */
#include <math.h>
#include <stdlib.h>

#include "analysis/growth.h"
#include "analysis/twin.h"

/* More pieces than that are taken together. */
#define PIECES_MAX 4096
/* Blocks of a buffer, as many as blkassay-model(5) allows of 512 bytes. */
#define ROOM_MAX 16384
/* Sums of binary fractions: a moment so little after a frame is in it. */
#define FRAME_SLACK 1e-9

struct stages {
	const struct twin *t;
	const struct twin_input *in;
	const struct twin_card *card;
	bool write;
	double begin_s; /* of the card, before the first piece */
	double chunk;
};

static double next_frame(const struct stages *s, double at)
{
	return s->t->frames ? ceil(at / s->in->frame_s - FRAME_SLACK) * s->in->frame_s : at;
}

/* Before and after the data the host waits for a frame each, and takes it. */
static double turn(const struct stages *s, double at)
{
	return s->t->frames ? next_frame(s, at) + s->in->frame_s : at;
}

/* Of the piece [from, to) of the data. */
static double link_s(const struct stages *s, double from, double to)
{
	double each = s->in->link_ceiling * s->in->frame_s;

	return s->t->frames ? (ceil(to / each) - ceil(from / each)) * s->in->frame_s
			    : (to - from) / s->t->link;
}

static double card_s(const struct stages *s, double from, double to)
{
	double blocks = (to - from) / s->in->block_bytes, each = s->card->sector_s;

	if (s->t->sectors)
		each += s->card->command_s;
	return (from > 0 ? 0 : s->begin_s) + (to - from) / s->card->rate + blocks * each;
}

static size_t pieces_of(double bytes, double each)
{
	return (size_t)fmax(1, ceil(bytes / each));
}

/* Through two buffers of a piece each: one is filled while the other is emptied. */
static double through(const struct stages *s, double bytes, double at)
{
	double first = at, second = at, second_before = at;
	double chunk = s->t->overlapped ? s->chunk : bytes;
	size_t count = pieces_of(bytes, chunk);

	for (size_t i = 0; i < count; i++) {
		double from = (double)i * chunk, to = fmin(bytes, from + chunk);
		double link = link_s(s, from, to), card = card_s(s, from, to);

		first = fmax(first, second_before) + (s->write ? link : card);
		second_before = second;
		second = fmax(first, second);
		if (!s->write && !i)
			second = next_frame(s, second);
		second += s->write ? card : link;
	}
	return second;
}

/* The blocks of a buffer: when each leaves it. */
struct room {
	double *leaves;
	size_t count, next;
	double last; /* when the last of all has left it */
};

/* One write: where the buffer is full, the host waits for the block that leaves it first, and the card works on meanwhile. */
static double put(struct room *r, const struct stages *s, double bytes, double at)
{
	double block = s->in->block_bytes;
	size_t count = pieces_of(bytes, block);

	for (size_t i = 0; i < count; i++, r->next = (r->next + 1) % r->count) {
		double from = (double)i * block, to = fmin(bytes, from + block);

		at = fmax(at, r->leaves[r->next]) + link_s(s, from, to);
		r->last = fmax(at, r->last) + card_s(s, from, to);
		r->leaves[r->next] = r->last;
	}
	return turn(s, at);
}

/* The mean of a run of so many as fill the buffer a few times. */
static double behind(const struct stages *s, double bytes, double before)
{
	double block = s->in->block_bytes, at = 0;
	struct room r = { .count = (size_t)fmin(
				  fmax(1, floor(s->in->side[1].behind_bytes / block)), ROOM_MAX) };
	size_t runs = 1 + (size_t)((4 * (double)r.count + 64) * block / bytes);

	r.leaves = calloc(r.count, sizeof *r.leaves);
	if (!r.leaves)
		return fmax(turn(s, before + link_s(s, 0, bytes)), card_s(s, 0, bytes));
	for (size_t i = 0; i < runs; i++)
		at = put(&r, s, bytes, at + before);
	free(r.leaves);
	return fmax(at, r.last) / (double)runs;
}

double twin_seconds(const struct twin *t, const struct twin_input *in, bool write, double bytes)
{
	struct stages s = { .t = t, .in = in, .card = &t->card[write], .write = write };
	double chunk = t->chunk_bytes > 0 ? t->chunk_bytes : in->block_bytes;
	double excess = s.card->unit_bytes > 0 ? growth_unit_excess((uint64_t)bytes, 0,
							 (uint64_t)s.card->unit_bytes)
					       : 0;
	double at = turn(&s, t->host_s + t->command_s + t->request_s);

	s.chunk = fmax(chunk, bytes / PIECES_MAX);
	s.begin_s = (t->sectors ? 0 : s.card->command_s) + excess / s.card->rate;
	if (write && in->side[1].buffered)
		return behind(&s, bytes, at);
	return turn(&s, through(&s, bytes, at));
}
