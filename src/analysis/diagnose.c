/* Stage budget of one request size. */
#include "analysis/diagnose.h"

#include <math.h>

#include "analysis/stages.h"

static bool is_measured(const struct diagnose_input *in, uint64_t bytes)
{
	for (size_t i = 0; i < in->point_count; i++)
		if (in->points[i].request_bytes == bytes)
			return true;
	return false;
}

static void add_predictions(struct stage_budget *b, const struct diagnose_input *in)
{
	double fixed = fmax(0, in->fixed_s), fill = in->block_bytes / fmax(b->link, b->card);

	if (!(b->link > 0) || !(b->card > 0))
		return;
	b->in_turn = stages_request(b->link, b->card, b->bytes, b->bytes, fixed);
	/* The fitted cost has the first block's way in it where stages overlap already. */
	b->overlapped = stages_request(
		b->link, b->card, b->bytes, (uint64_t)in->block_bytes, fmax(0, fixed - fill));
}

static struct stage_budget budget_of(const struct diagnose_input *in)
{
	struct stage_budget b = { .bytes = in->usual_bytes,
		.interpolated = !is_measured(in, in->usual_bytes),
		.link_is_ceiling = !(in->link > 0),
		.card_is_ceiling = !(in->card > 0) };

	b.measured = (double)b.bytes / cost_seconds(in->line, in->points, in->point_count, b.bytes);
	b.link = in->link > 0 ? in->link : in->usb ? in->usb->ceiling : 0;
	b.card = in->card > 0 ? in->card : in->card_ceiling;
	add_predictions(&b, in);
	return b;
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

static double fastest_of(const struct diagnose_input *in)
{
	double fastest = 0;

	for (size_t i = 0; i < in->point_count; i++)
		fastest =
			fmax(fastest, (double)in->points[i].request_bytes / in->points[i].seconds);
	return fastest;
}

void diagnose(struct diagnosis *d, const struct diagnose_input *in)
{
	*d = (struct diagnosis){ .usual = budget_of(in), .fastest = fastest_of(in) };
	d->phased_beaten = in->usb && in->usb->packet_bytes && beats_phased(in);
	d->link_beaten = d->usual.link > 0 && d->fastest > (1 + DIAGNOSE_SLACK) * d->usual.link;
	d->link_impossible = in->usb && in->link > (1 + DIAGNOSE_SLACK) * in->usb->ceiling;
	d->card_impossible =
		in->card_ceiling > 0 && in->card > (1 + DIAGNOSE_SLACK) * in->card_ceiling;
	d->card_beaten = d->usual.card > 0 && d->fastest > (1 + DIAGNOSE_SLACK) * d->usual.card;
}
