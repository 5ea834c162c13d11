/* A medium in memory. */
#include "support/ram_medium.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "platform/clock.h"

static struct ram_medium *ram_of(struct medium *m)
{
	return (struct ram_medium *)m;
}

static uint8_t *place_of(struct ram_medium *r, uint64_t at)
{
	return r->bytes + (r->wrap_bytes ? at % r->wrap_bytes : at);
}

static uint64_t calls_of(const struct ram_medium *r)
{
	return r->reads + r->writes + r->flushes;
}

static bool is_gone(const struct ram_medium *r)
{
	uint64_t calls = calls_of(r);

	return r->gone_after && calls >= r->gone_after && (!r->back_after || calls < r->back_after);
}

/* What is read of the byte lie_at. */
static void lie(struct ram_medium *r, uint64_t at, uint8_t *buf, size_t len)
{
	if (!r->lie_times || r->lie_at < at || r->lie_at >= at + len)
		return;
	if (r->lie_after) {
		r->lie_after--;
		return;
	}
	r->lie_times--;
	if (r->lie_stuck)
		buf[r->lie_at - at] |= r->lie_stuck;
	else
		buf[r->lie_at - at] ^= 4;
}

static int ram_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	struct ram_medium *r = ram_of(m);
	uint32_t n = m->traits.logical_block_bytes;

	*got = 0;
	if (r->reads < RAM_LOG)
		r->log[r->reads] = (struct ram_read){ at, len };
	r->reads++;
	if (is_gone(r))
		return -r->gone_errno;
	if (at >= m->traits.size_bytes)
		return 0;
	if (len > m->traits.size_bytes - at)
		len = (size_t)(m->traits.size_bytes - at);
	if (at < r->bad_to && at + len > r->bad_from)
		return -r->bad_errno;
	for (size_t i = 0; i < len; i += n)
		memcpy((uint8_t *)buf + i, place_of(r, at + i), n);
	lie(r, at, buf, len);
	*got = len;
	return 0;
}

static int ram_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct ram_medium *r = ram_of(m);
	uint32_t n = m->traits.logical_block_bytes;

	*got = 0;
	r->writes++;
	if (is_gone(r))
		return -r->gone_errno;
	if (at + len > m->traits.size_bytes)
		return -ENOSPC;
	if (r->bad_heals && at < r->bad_to && at + len > r->bad_from)
		r->bad_to = 0;
	for (size_t i = 0; i < len; i += n)
		if (at + i < r->lost_from || at + i >= r->lost_to)
			memcpy(place_of(r, at + i), (const uint8_t *)buf + i, n);
	*got = len;
	return 0;
}

static int ram_flush(struct medium *m)
{
	ram_of(m)->flushes++;
	return is_gone(ram_of(m)) ? -ENODEV : 0;
}

static int ram_drop_cache(struct medium *m)
{
	ram_of(m)->drops++;
	return 0;
}

static int ram_check(struct medium *m, enum medium_check how, struct error *why)
{
	struct ram_medium *r = ram_of(m);

	r->checks[how]++;
	if (how == MEDIUM_CHECK_FAILED && is_gone(r) && r->gone_checks) {
		r->gone_checks--;
		return 0;
	}
	if (how == MEDIUM_CHECK_FAILED && is_gone(r)) {
		error_set(why, ERROR_IO, "'memory' is gone");
		return -ENODEV;
	}
	if (!r->swap_after || r->reads + r->writes + r->flushes < r->swap_after)
		return 0;
	error_set(why, ERROR_IO, "'memory' is another medium now");
	return r->swap_errno ? -r->swap_errno : -ESTALE;
}

static int ram_counts(struct medium *m, struct medium_counts *counts)
{
	const struct ram_medium *r = ram_of(m);

	if (!r->errors_at)
		return -ENOTSUP;
	*counts = (struct medium_counts){ .errors_known = true,
		.errors = calls_of(r) >= r->errors_at ? 3 : 0 };
	return 0;
}

static uint64_t ram_now_ns(struct medium *m)
{
	return clock_now_ns() + ram_of(m)->idled_ns;
}

static void ram_idle_ns(struct medium *m, uint64_t ns)
{
	ram_of(m)->idled_ns += ns;
}

static void ram_close(struct medium *m)
{
	free(ram_of(m)->bytes);
	free(m);
}

static const struct medium_ops ram_ops = {
	.read = ram_read,
	.write = ram_write,
	.flush = ram_flush,
	.drop_cache = ram_drop_cache,
	.counts = ram_counts,
	.now_ns = ram_now_ns,
	.idle_ns = ram_idle_ns,
	.check = ram_check,
	.close = ram_close,
};

struct ram_medium *ram_medium_new(uint64_t size_bytes, uint32_t block_bytes, bool one_thread)
{
	struct ram_medium *r = calloc(1, sizeof *r);

	r->bytes = calloc(1, (size_t)size_bytes);
	r->bad_errno = EIO;
	r->medium.ops = &ram_ops;
	r->medium.traits = (struct medium_traits){
		.kind = MEDIUM_MEMORY,
		.size_bytes = size_bytes,
		.logical_block_bytes = block_bytes,
		.physical_block_bytes = block_bytes,
		.memory_align_bytes = 8,
		.offset_align_bytes = block_bytes,
		.virtual_clock = one_thread,
	};
	snprintf(r->medium.traits.path, sizeof r->medium.traits.path, "memory");
	return r;
}
