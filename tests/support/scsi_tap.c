/* A medium whose SCSI answers are changed on their way. */
#include "support/scsi_tap.h"

#include <stdlib.h>
#include <string.h>

struct tap {
	struct medium medium;
	struct medium *inner;
	scsi_tap_change *change, *before;
	void *context;
};

static struct medium *inner_of(struct medium *m)
{
	return ((struct tap *)m)->inner;
}

static int pass_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	return medium_read(inner_of(m), at, buf, len, got);
}

static int pass_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	return medium_write(inner_of(m), at, buf, len, got);
}

static int pass_flush(struct medium *m)
{
	return medium_flush(inner_of(m));
}

static uint64_t pass_now(struct medium *m)
{
	return medium_now_ns(inner_of(m));
}

static void pass_idle(struct medium *m, uint64_t ns)
{
	medium_idle_ns(inner_of(m), ns);
}

static int pass_replug(struct medium *m, bool power_lost)
{
	return medium_replug(inner_of(m), power_lost);
}

static int pass_scsi(struct medium *m, struct scsi_exchange *x)
{
	struct tap *t = (struct tap *)m;
	int rc;

	if (t->before)
		t->before(t->context, x);
	rc = medium_scsi(t->inner, x);
	if (rc >= 0)
		t->change(t->context, x);
	return rc;
}

static void close_both(struct medium *m)
{
	medium_close(inner_of(m));
	free(m);
}

static const struct medium_ops tap_ops = {
	.read = pass_read,
	.write = pass_write,
	.flush = pass_flush,
	.scsi = pass_scsi,
	.now_ns = pass_now,
	.idle_ns = pass_idle,
	.replug = pass_replug,
	.close = close_both,
};

struct medium *scsi_tap_new(struct medium *inner, scsi_tap_change *change, void *context)
{
	struct tap *t = calloc(1, sizeof *t);

	if (!t)
		abort();
	t->medium.ops = &tap_ops;
	t->medium.traits = *medium_traits(inner);
	t->inner = t->medium.inner = inner;
	t->change = change;
	t->context = context;
	return &t->medium;
}

void scsi_tap_fail(struct scsi_exchange *x, enum scsi_sense_key key, uint16_t code, bool deferred)
{
	struct scsi_sense s = {
		.valid = true, .deferred = deferred, .key = (uint8_t)key, .code = code
	};

	x->status = SCSI_CHECK_CONDITION;
	x->sense_length = (uint8_t)scsi_sense_encode(x->sense, &s);
}

void scsi_tap_before(struct medium *tap, scsi_tap_change *before)
{
	((struct tap *)tap)->before = before;
}
