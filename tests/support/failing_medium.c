/* The wrapper that fails the n-th call. */
#include "support/failing_medium.h"

#include <stdatomic.h>
#include <stdlib.h>

#include "medium/medium.h"

struct failing {
	struct medium medium;
	struct medium *inner;
	struct failing_plan plan;
	_Atomic uint64_t counted;
	_Atomic bool hit;
};

static struct failing *failing_of(struct medium *m)
{
	return (struct failing *)m;
}

/* Is it this call's turn to fail? */
static bool fails(struct medium *m, unsigned call)
{
	struct failing *f = failing_of(m);
	uint64_t n;

	if (!(f->plan.calls & call))
		return false;
	n = atomic_fetch_add(&f->counted, 1) + 1;
	if (f->plan.lasts == FAIL_ONCE ? n != f->plan.nth : n < f->plan.nth)
		return false;
	atomic_store(&f->hit, true);
	return true;
}

static size_t shorter(const struct failing *f, size_t len)
{
	return f->plan.short_bytes < len ? f->plan.short_bytes : len;
}

static int failing_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	struct failing *f = failing_of(m);

	*got = 0;
	if (!fails(m, FAILING_READ))
		return medium_read(f->inner, at, buf, len, got);
	if (f->plan.sys_errno)
		return -f->plan.sys_errno;
	len = shorter(f, len);
	return len ? medium_read(f->inner, at, buf, len, got) : 0;
}

static int failing_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct failing *f = failing_of(m);

	*got = 0;
	if (!fails(m, FAILING_WRITE))
		return medium_write(f->inner, at, buf, len, got);
	if (f->plan.sys_errno)
		return -f->plan.sys_errno;
	len = shorter(f, len);
	return len ? medium_write(f->inner, at, buf, len, got) : 0;
}

static int failing_write_through(
	struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct failing *f = failing_of(m);

	*got = 0;
	if (!fails(m, FAILING_WRITE))
		return medium_write_through(f->inner, at, buf, len, got);
	if (f->plan.sys_errno)
		return -f->plan.sys_errno;
	len = shorter(f, len);
	return len ? medium_write_through(f->inner, at, buf, len, got) : 0;
}

static int failing_flush(struct medium *m)
{
	struct failing *f = failing_of(m);

	return fails(m, FAILING_FLUSH) ? -f->plan.sys_errno : medium_flush(f->inner);
}

static int failing_scsi(struct medium *m, struct scsi_exchange *x)
{
	struct failing *f = failing_of(m);

	return fails(m, FAILING_SCSI) ? -f->plan.sys_errno : medium_scsi(f->inner, x);
}

static int failing_counts(struct medium *m, struct medium_counts *counts)
{
	struct failing *f = failing_of(m);

	if (!fails(m, FAILING_COUNTS))
		return medium_counts(f->inner, counts);
	*counts = (struct medium_counts){ 0 };
	return -f->plan.sys_errno;
}

static int failing_drop_cache(struct medium *m)
{
	struct failing *f = failing_of(m);

	return fails(m, FAILING_DROP_CACHE) ? -f->plan.sys_errno : medium_drop_cache(f->inner);
}

static int failing_replug(struct medium *m, bool power_lost)
{
	struct failing *f = failing_of(m);

	return fails(m, FAILING_REPLUG) ? -f->plan.sys_errno : medium_replug(f->inner, power_lost);
}

static uint64_t failing_now_ns(struct medium *m)
{
	return medium_now_ns(failing_of(m)->inner);
}

static void failing_idle_ns(struct medium *m, uint64_t ns)
{
	medium_idle_ns(failing_of(m)->inner, ns);
}

static void failing_move_clock_ns(struct medium *m, uint64_t now_ns)
{
	/* Media without a virtual clock refuse, and the traits have told the caller so. */
	(void)medium_move_clock_ns(failing_of(m)->inner, now_ns);
}

static void failing_close(struct medium *m)
{
	medium_close(failing_of(m)->inner);
	free(m);
}

static const struct medium_ops failing_ops = {
	.read = failing_read,
	.write = failing_write,
	.write_through = failing_write_through,
	.flush = failing_flush,
	.scsi = failing_scsi,
	.counts = failing_counts,
	.drop_cache = failing_drop_cache,
	.now_ns = failing_now_ns,
	.idle_ns = failing_idle_ns,
	.move_clock_ns = failing_move_clock_ns,
	.replug = failing_replug,
	.close = failing_close,
};

struct medium *medium_failing(struct medium *inner, const struct failing_plan *plan)
{
	struct failing *f = calloc(1, sizeof *f);

	if (!f)
		return NULL;
	f->medium.ops = &failing_ops;
	f->medium.traits = inner->traits;
	f->inner = f->medium.inner = inner;
	f->plan = *plan;
	return &f->medium;
}

bool medium_failing_hit(const struct medium *m)
{
	return atomic_load(&((const struct failing *)m)->hit);
}
