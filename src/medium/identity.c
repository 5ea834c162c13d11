/* Whether a medium is still the one that was opened. */
#include "medium/identity.h"

#include <pthread.h>
#include <time.h>

#include "base/error.h"

static const uint64_t batch_at_least_every_ns = 1000000000;

/* Taken once in the life of a medium at most: by whoever first finds it lost. */
static pthread_mutex_t losing = PTHREAD_MUTEX_INITIALIZER;

static void lose(struct medium *m, int rc, const struct error *why)
{
	pthread_mutex_lock(&losing);
	if (!identity_lost(m)) {
		m->identity.why = *why;
		atomic_store_explicit(&m->identity.lost, rc, memory_order_release);
	}
	pthread_mutex_unlock(&losing);
}

/* A few nanoseconds; a tick of the kernel is fine enough here. */
static uint64_t coarse_now_ns(void)
{
	struct timespec t = { 0 };

	clock_gettime(CLOCK_MONOTONIC_COARSE, &t);
	return (uint64_t)t.tv_sec * 1000000000 + (uint64_t)t.tv_nsec;
}

int medium_check(struct medium *m, enum medium_check how)
{
	struct error why;
	int rc = identity_lost(m);

	if (rc || !m->ops->check)
		return rc;
	why.kind = ERROR_NONE; /* not all of it: this is called for every request */
	why.sys_errno = 0;
	why.text[0] = 0;
	if (how != MEDIUM_CHECK_REQUEST)
		atomic_store_explicit(&m->identity.batch_ns, coarse_now_ns(), memory_order_relaxed);
	rc = m->ops->check(m, how, &why);
	if (rc < 0)
		lose(m, rc, &why);
	return identity_lost(m);
}

int identity_admit(struct medium *m)
{
	uint64_t last = atomic_load_explicit(&m->identity.batch_ns, memory_order_relaxed);
	bool due = !m->traits.virtual_clock && coarse_now_ns() - last > batch_at_least_every_ns;

	return medium_check(m, due ? MEDIUM_CHECK_BATCH : MEDIUM_CHECK_REQUEST);
}

const struct error *medium_lost(const struct medium *m)
{
	return identity_lost(m) ? &m->identity.why : NULL;
}

int medium_explain(const struct medium *m, struct error *err)
{
	if (err && identity_lost(m))
		*err = m->identity.why;
	return -1;
}
