/* Findings from a cost line, link and card. The thresholds are judgements of ours (common practice, no source). */
#include "analysis/diagnose.h"

#include <math.h>

#include "analysis/stages.h"

enum { TWO_SECTORS = 1024 };

static enum stage_verdict judge(double link, double card, double measured)
{
	double degree;

	if (!(link > 0) || !(card > 0))
		return STAGES_UNKNOWN;
	if (measured < STAGES_SLACK * stages_in_turn(link, card))
		return STAGES_SLOWER;
	if (measured > 1.05 * stages_overlapped(link, card))
		return STAGES_FASTER;
	degree = stages_overlap_degree(link, card, measured);
	if (degree < 0.25)
		return STAGES_IN_TURN;
	return degree > 0.75 ? STAGES_OVERLAPPED : STAGES_PARTLY;
}

static bool is_measured(const struct diagnose_input *in, uint64_t bytes)
{
	for (size_t i = 0; i < in->point_count; i++)
		if (in->points[i].request_bytes == bytes)
			return true;
	return false;
}

static void add_stages(struct stage_budget *b, const struct diagnose_input *in)
{
	double ceiling = in->usb ? in->usb->ceiling : 0;

	b->link = in->link > 0 ? in->link : b->packed;
	b->card = in->card > 0 ? in->card : in->card_ceiling;
	b->verdict = judge(b->link, b->card, b->measured);
	b->verdict_at_ceiling = judge(ceiling, b->card, b->measured);
	if (b->verdict == STAGES_UNKNOWN)
		return;
	b->in_turn = stages_in_turn(b->link, b->card);
	b->overlapped = stages_overlapped(b->link, b->card);
	b->degree = stages_overlap_degree(b->link, b->card, b->measured);
	b->unexplained_s = (double)b->bytes * (1 / b->measured - 1 / b->in_turn);
	b->link_if_in_turn = stages_link_if_in_turn(b->card, b->measured);
}

static struct stage_budget budget_at(const struct diagnose_input *in, uint64_t bytes)
{
	struct stage_budget b = { .bytes = bytes, .interpolated = !is_measured(in, bytes) };

	b.measured = (double)bytes / cost_seconds(in->line, in->points, in->point_count, bytes);
	if (in->usb) {
		b.packed = (double)bytes / usb_command_packed_s(in->usb, bytes);
		if (in->usb->packet_bytes)
			b.phased = (double)bytes / usb_command_phased_s(in->usb, bytes);
	}
	add_stages(&b, in);
	return b;
}

/* The largest size that went to the device in one piece: a split request would be measured against a bound that is
 * not its own. */
static uint64_t largest_whole(const struct diagnose_input *in)
{
	uint64_t largest = 0;

	for (size_t i = 0; i < in->point_count; i++)
		if (in->points[i].pieces < 1.01)
			largest = in->points[i].request_bytes;
	return largest ? largest : in->points[in->point_count - 1].request_bytes;
}

static void find_flat(struct diagnosis *d, const struct diagnose_input *in)
{
	const struct cost_line *l = in->line;
	const struct stage_budget *b = &d->largest;

	if (!l->known || l->doubts & COST_TOO_NARROW || !(l->half_bytes <= TWO_SECTORS))
		return;
	if (in->card > 0 && b->link > 0) {
		d->flat_reference = b->in_turn;
		if (b->measured < STAGES_SLACK * b->in_turn)
			d->findings |= FINDING_FLAT;
	} else if (b->link > 0) {
		d->flat_reference = b->link;
		if (b->measured < 0.6 * b->link)
			d->findings |= FINDING_FLAT_OR_CARD;
	}
}

#define FIXED_FAR 1.25

static void find_fixed(struct diagnosis *d, const struct diagnose_input *in)
{
	const struct cost_line *l = in->line;
	double usual_s = (double)in->usual_bytes / d->usual.measured;

	if (!l->known || l->doubts & COST_FIXED_UNSURE)
		return;
	/* A line that says a request costs far more than it took does not hold there. */
	if (l->fixed_s > FIXED_FAR * usual_s)
		return;
	d->fixed_share = fmin(1, l->fixed_s / usual_s);
	if (d->fixed_share >= 0.5)
		d->findings |= FINDING_FIXED_DOMINATES;
}

/* One size that beats the bound shows that this host serves more than one phase a frame. */
static bool beats_phased(const struct diagnose_input *in)
{
	for (size_t i = 0; i < in->point_count; i++) {
		double pieces = in->points[i].pieces;
		uint64_t piece = (uint64_t)((double)in->points[i].request_bytes / pieces + 0.5);

		if (in->points[i].seconds / pieces < 0.95 * usb_command_phased_s(in->usb, piece))
			return true;
	}
	return false;
}

static void find_link(struct diagnosis *d, const struct diagnose_input *in)
{
	const struct stage_budget *u = &d->usual, *l = &d->largest;

	d->phased_beaten = in->usb && in->usb->packet_bytes && beats_phased(in);
	if ((u->packed > 0 && u->measured >= 0.9 * u->packed) ||
		(l->packed > 0 && l->measured >= 0.9 * l->packed))
		d->findings |= FINDING_AT_LINK;
	if (u->phased > 0 && u->measured >= 0.93 * u->phased && u->measured <= 1.02 * u->phased &&
		u->phased < 0.9 * u->packed && !d->phased_beaten)
		d->findings |= FINDING_FRAME_BOUND;
	if (u->verdict == STAGES_UNKNOWN)
		return;
	if (!(in->link > 0))
		d->findings |= FINDING_LINK_ASSUMED;
	else if (u->verdict_at_ceiling != STAGES_UNKNOWN && u->verdict_at_ceiling != u->verdict)
		d->findings |= FINDING_LINK_DECIDES;
	if (u->verdict_at_ceiling != STAGES_UNKNOWN && u->measured > u->in_turn &&
		u->measured < stages_in_turn(in->usb->ceiling, u->card))
		d->findings |= FINDING_LINK_DECIDES;
	if (!(in->card > 0))
		d->findings |= FINDING_CARD_IS_CEILING;
}

void diagnose(struct diagnosis *d, const struct diagnose_input *in)
{
	*d = (struct diagnosis){ 0 };
	d->usual = budget_at(in, in->usual_bytes);
	d->largest = budget_at(in, largest_whole(in));
	find_flat(d, in);
	find_fixed(d, in);
	find_link(d, in);
	if (in->behind > 1.05)
		d->findings |= FINDING_BEHIND;
}

const char *stage_verdict_name(enum stage_verdict v)
{
	switch (v) {
	case STAGES_SLOWER:
		return "slower than one after the other";
	case STAGES_IN_TURN:
		return "one after the other";
	case STAGES_PARTLY:
		return "partly overlapped";
	case STAGES_OVERLAPPED:
		return "overlapped";
	case STAGES_FASTER:
		return "faster than the slower stage";
	case STAGES_UNKNOWN:
		break;
	}
	return "unknown";
}
