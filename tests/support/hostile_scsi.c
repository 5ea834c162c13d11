/* A medium whose SCSI answers are spoiled. */
#include "support/hostile_scsi.h"

#include <stdlib.h>

#include "base/random.h"
#include "medium/scsi.h"

struct hostile {
	struct medium medium;
	struct medium *inner;
	struct random random;
	unsigned one_in;
};

static struct hostile *hostile_of(struct medium *m)
{
	return (struct hostile *)m;
}

static int pass_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	return medium_read(hostile_of(m)->inner, at, buf, len, got);
}

static int pass_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	return medium_write(hostile_of(m)->inner, at, buf, len, got);
}

static int pass_flush(struct medium *m)
{
	return medium_flush(hostile_of(m)->inner);
}

static uint64_t pass_now(struct medium *m)
{
	return medium_now_ns(hostile_of(m)->inner);
}

static void pass_idle(struct medium *m, uint64_t ns)
{
	medium_idle_ns(hostile_of(m)->inner, ns);
}

static int pass_replug(struct medium *m, bool power_lost)
{
	return medium_replug(hostile_of(m)->inner, power_lost);
}

static int spoil(struct medium *m, struct scsi_exchange *x)
{
	struct hostile *h = hostile_of(m);
	int rc = medium_scsi(h->inner, x);

	if (rc < 0 || random_below(&h->random, h->one_in))
		return rc;
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
	return 0;
}

static void close_both(struct medium *m)
{
	medium_close(hostile_of(m)->inner);
	free(m);
}

static const struct medium_ops hostile_ops = {
	.read = pass_read,
	.write = pass_write,
	.flush = pass_flush,
	.scsi = spoil,
	.now_ns = pass_now,
	.idle_ns = pass_idle,
	.replug = pass_replug,
	.close = close_both,
};

struct medium *hostile_scsi_new(struct medium *inner, uint64_t seed, unsigned one_in)
{
	struct hostile *h = calloc(1, sizeof *h);

	if (!h)
		abort();
	h->medium.ops = &hostile_ops;
	h->medium.traits = *medium_traits(inner);
	h->inner = inner;
	h->random.state = seed;
	h->one_in = one_in;
	return &h->medium;
}
