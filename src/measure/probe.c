/* Single reads. */
#include "measure/probe.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/buffer.h"
#include "medium/medium.h"
#include "platform/clock.h"

enum { READS = 24, SLOW_ONES = 2 };

static const uint64_t give_up_ns = UINT64_C(120000000000), slack_ns = 200000;

int probe_init(struct probe *p, struct medium *m, uint64_t seed)
{
	const struct medium_traits *t = medium_traits(m);

	*p = (struct probe){ .medium = m, .unit = t->offset_align_bytes };
	if (t->size_bytes < p->unit)
		return -ENOMEDIUM;
	permutation_init(&p->places, t->size_bytes / p->unit, seed);
	p->buf = buffer_new((size_t)p->unit, t->memory_align_bytes);
	return p->buf ? 0 : -ENOMEM;
}

void probe_release(struct probe *p)
{
	free(p->buf);
	p->buf = NULL;
}

static bool is_gone(const struct probe *p, int rc)
{
	return rc == -ENODEV || rc == -ENXIO || rc == -ENOMEDIUM || rc == -EBADF ||
	       (rc < 0 && medium_lost(p->medium));
}

/* 1: this place can't be read. */
static int read_one(struct probe *p, uint64_t *took_ns)
{
	uint64_t at = permutation_at(&p->places, p->next++ % p->places.count) * p->unit;
	uint64_t before = medium_now_ns(p->medium);
	size_t got;
	int rc = medium_read(p->medium, at, p->buf, (size_t)p->unit, &got);

	*took_ns = medium_since_ns(p->medium, before);
	if (is_gone(p, rc))
		return rc;
	p->bytes += rc < 0 ? 0 : got;
	rc = rc < 0 || got != p->unit;
	p->failed += (uint64_t)rc;
	return rc;
}

static int compare_u64(const void *a, const void *b)
{
	uint64_t x = *(const uint64_t *)a, y = *(const uint64_t *)b;

	return (x > y) - (x < y);
}

int probe_learn(struct probe *p)
{
	uint64_t ns[READS], one;
	size_t n = 0;

	for (int i = 0; i < READS; i++) {
		int rc = read_one(p, &one);

		if (rc < 0)
			return rc;
		if (!rc)
			ns[n++] = one;
	}
	if (n < READS / 2)
		return 0;
	qsort(ns, n, sizeof *ns, compare_u64);
	p->usual_ns = ns[n / 2];
	p->usual_low_ns = ns[0];
	p->usual_high_ns = ns[n - 1 - SLOW_ONES];
	p->limit_ns = p->usual_high_ns + p->usual_ns / 4 + slack_ns;
	return 0;
}

int probe_settle(struct probe *p, uint64_t *wait_ns, bool *settled, const struct watch *watch)
{
	uint64_t began = medium_now_ns(p->medium), now = began, last = 0, took;
	uint64_t reads = 0;
	int usual = 0, failed = 0;

	*wait_ns = p->own_ns = 0;
	*settled = false;
	if (!p->usual_ns)
		return 0;
	while (usual < PROBE_IN_A_ROW && failed < READS && clock_span_ns(began, now) < give_up_ns &&
		!watch_should_stop(watch)) {
		int rc = read_one(p, &took);

		if (rc < 0)
			return rc;
		failed += rc;
		reads++;
		now = medium_now_ns(p->medium);
		usual = !rc && took <= p->limit_ns ? usual + 1 : 0;
		if (usual)
			continue;
		last = now;
		p->own_ns = (reads - 1) * p->usual_ns;
	}
	*settled = usual == PROBE_IN_A_ROW;
	if (last > began + p->usual_ns)
		*wait_ns = last - began - p->usual_ns;
	return 0;
}
