/* A medium whose SCSI answers are spoiled. */
#include "support/hostile_scsi.h"

#include "base/random.h"
#include "support/scsi_tap.h"

static void spoil(void *context, struct scsi_exchange *x)
{
	struct hostile_scsi *h = context;

	if (random_below(&h->random, h->one_in))
		return;
	switch (random_below(&h->random, 4)) {
	case 0: /* noise instead of data */
		for (uint32_t i = 0; x->direction == SCSI_DATA_IN && i < x->data_length; i++)
			((uint8_t *)x->data)[i] = (uint8_t)random_next(&h->random);
		break;
	case 1:
		x->residual = (uint32_t)random_next(&h->random);
		break;
	case 2: /* a failure with sense of any length and content */
		x->status = SCSI_CHECK_CONDITION;
		x->sense_length = (uint8_t)random_below(&h->random, SCSI_SENSE_MAX + 1);
		for (unsigned i = 0; i < x->sense_length; i++)
			x->sense[i] = (uint8_t)random_next(&h->random);
		if (x->sense_length)
			x->sense[0] = (uint8_t)(0x70 + random_below(&h->random, 5));
		break;
	default:
		x->status = (uint8_t)random_next(&h->random);
		x->host_status = random_below(&h->random, 2) ? 7 : 0;
	}
}

struct medium *hostile_scsi_new(
	struct hostile_scsi *h, struct medium *inner, uint64_t seed, unsigned one_in)
{
	h->random.state = seed;
	h->one_in = one_in;
	return scsi_tap_new(inner, spoil, h);
}
