/* What the phases of requests say of a gadget. */
#include "analysis/phase_parts.h"

#include <math.h>

/* Of the time of each size: beyond that the amounts lie on no line. */
static const double line_misfit = 0.1;
/* A clock of microseconds and bit stuffing: data may seem this much faster than the link. */
static const double link_slack = 0.03;

/* A rate is right to within 5 %: more than that is no slack of anybody's. */
static const double beaten = 0.06;

/* Of the card's time for so much: that is its work from beginning to end. A rate is right to within 5 %. More than so much is
 * other work as well, which may hide the beginning of all of it. */
static const double all_of_it = 0.9, no_more = 1.1;

static double whole(const struct phase_size *s)
{
	return s->command + s->data + s->status + s->host;
}

/* PART_COUNT: all of the data phase. */
static double amount(const struct phase_size *s, enum phase_part part, bool write, double link)
{
	double on_link = link * s->bytes, beyond = link > 0 ? fmax(s->data - on_link, 0) : 0;

	switch (part) {
	case PART_FETCH:
		return write ? 0 : beyond;
	case PART_REFUSE:
		return write ? beyond : 0;
	case PART_STORE:
		return s->status;
	case PART_NOT_READY:
		return s->command;
	case PART_HOST:
		return s->host;
	case PART_COUNT:
		return s->data;
	default:
		return link > 0 ? fmin(on_link, s->data) : 0;
	}
}

/* Between the largest size and the one nearest below half of it. */
static double last_slope(
	const struct phase_size *sizes, size_t count, enum phase_part part, bool write, double link)
{
	const struct phase_size *last = &sizes[count - 1], *half = &sizes[0];

	for (size_t i = 1; i + 1 < count && sizes[i].bytes <= last->bytes / 2; i++)
		half = &sizes[i];
	return fmax(0, (amount(last, part, write, link) - amount(half, part, write, link)) /
			       (last->bytes - half->bytes));
}

/* Least squares of time against size, weighted by the request's own time: each size counts alike. */
static void fit(struct phase_amount *a, const struct phase_size *sizes, size_t count,
	enum phase_part part, bool write, double link)
{
	double w = 0, wx = 0, wy = 0, wxx = 0, wxy = 0, det;

	for (size_t i = 0; i < count; i++) {
		double y = amount(&sizes[i], part, write, link), x = sizes[i].bytes;
		double weight = 1 / (whole(&sizes[i]) * whole(&sizes[i]));

		w += weight;
		wx += weight * x;
		wy += weight * y;
		wxx += weight * x * x;
		wxy += weight * x * y;
	}
	det = w * wxx - wx * wx;
	if (count < 2 || !(det > 0))
		return;
	a->per_byte = fmax((w * wxy - wx * wy) / det, 0);
	a->fixed = fmax((wy - a->per_byte * wx) / w, 0);
	a->last_per_byte = last_slope(sizes, count, part, write, link);
	a->line_known = true;
	for (size_t i = 0; i < count; i++) {
		double got = a->fixed + a->per_byte * sizes[i].bytes;

		if (fabs(got - amount(&sizes[i], part, write, link)) >
			line_misfit * whole(&sizes[i]))
			a->line_known = false;
	}
}

static size_t nearest(const struct phase_size *sizes, size_t count, double wanted)
{
	size_t best = 0;

	for (size_t i = 1; i < count; i++)
		if (fabs(log(sizes[i].bytes / wanted)) < fabs(log(sizes[best].bytes / wanted)))
			best = i;
	return best;
}

/* Work that grows with the size can go on while other data move, and in writes so can what comes before it, once the first of them
 * are there: a command of the card's. What takes less than the card needs was begun before. */
static void find_gain(struct phase_parts *p, const struct phase_size *s, bool write, double card)
{
	const struct phase_amount *work = &p->list[write ? PART_STORE : PART_FETCH];
	/* What stops growing is the end of a work that went on before. */
	double grows = fmin(work->per_byte, work->last_per_byte);
	double moving = write ? s->data : p->list[PART_LINK].seconds;
	double fixed = write ? fmax(0, work->fixed - p->wait) : 0, both = grows + moving / s->bytes;

	if (!work->line_known || grows < all_of_it * card)
		return;
	p->gain = grows > 0 ? fmin(grows * s->bytes + fixed, moving) : 0;
	p->gain_likely = card > 0 && grows <= no_more * card &&
			 fmin(grows, moving / s->bytes) >= PHASES_TURN_SHARE * both;
}

struct phase_parts phase_parts_of(const struct phase_size *sizes, size_t count, bool write,
	double wanted, double link, double card, double wait)
{
	struct phase_parts out = { .known = false };
	const double stated = link;
	const struct phase_size *s;

	if (!count)
		return out;
	for (size_t i = 0; i < count; i++) {
		if (!(whole(&sizes[i]) > 0))
			return out;
		if (link * sizes[i].bytes > sizes[i].data * (1 + link_slack))
			link = 0;
	}
	s = &sizes[nearest(sizes, count, wanted)];
	out.known = true;
	out.link_known = link > 0;
	out.link = link;
	out.card = card;
	out.wait = wait;
	out.bytes = s->bytes;
	out.seconds = whole(s);
	for (int i = 0; i < PART_COUNT; i++) {
		out.list[i].seconds = amount(s, (enum phase_part)i, write, link);
		out.list[i].share = out.list[i].seconds / out.seconds;
		fit(&out.list[i], sizes, count, (enum phase_part)i, write, link);
	}
	out.data.seconds = s->data;
	out.data.share = s->data / out.seconds;
	fit(&out.data, sizes, count, PART_COUNT, write, link);
	out.link_beaten = out.data.line_known && (1 + beaten) * out.data.per_byte < stated &&
			  (1 + beaten) * s->data < stated * s->bytes;
	find_gain(&out, s, write, card);
	return out;
}
