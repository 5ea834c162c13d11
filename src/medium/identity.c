/* Whether a medium is still the one that was opened. */
#include "medium/identity.h"

#include <errno.h>
#include <pthread.h>
#include <string.h>
#include <time.h>

#include "base/advice.h"
#include "base/error.h"
#include "medium/telltale.h"

static const uint64_t batch_at_least_every_ns = 1000000000;

/* Taken twice in the life of a medium at most: by its first write, and by whoever first finds it lost. */
static pthread_mutex_t turning = PTHREAD_MUTEX_INITIALIZER;

int identity_changed(const struct medium *m, struct error *why, const char *how)
{
	error_set(
		why, ERROR_IO, "'%s' may hold another medium than before: %s", m->traits.path, how);
	if (atomic_load(&m->identity.armed))
		error_add(why,
			"; nothing more was written (one request may have slipped through before "
			"this was seen)");
	error_add(why, "; %s", advice_another(m->traits.transport));
	return -ESTALE;
}

int identity_gone(const struct medium *m, struct error *why, int rc, const char *how)
{
	error_set(why, ERROR_IO, "'%s' is gone: %s; %s", m->traits.path, how,
		advice_gone(m->traits.transport));
	return rc;
}

int identity_lose(struct medium *m, int rc, const struct error *why)
{
	pthread_mutex_lock(&turning);
	if (!identity_lost(m)) {
		m->identity.why = *why;
		atomic_store_explicit(&m->identity.lost, rc, memory_order_release);
	}
	pthread_mutex_unlock(&turning);
	return identity_lost(m);
}

static enum identity_stage stage_of(const struct medium *m)
{
	return (enum identity_stage)atomic_load(&identity_owner(m)->identity.stage);
}

/* Not there, or another: lost, unless the run itself makes it leave. Returns what to answer. */
int identity_leave(struct medium *m, int rc, const struct error *why)
{
	if (rc == -ENODEV || rc == -ENXIO || stage_of(m) == IDENTITY_HELD)
		return identity_lose(m, rc, why);
	atomic_store(&m->identity.stage, IDENTITY_LEFT);
	return 0;
}

/* A few nanoseconds; a tick of the kernel is fine enough here. */
static uint64_t coarse_now_ns(struct medium *m)
{
	struct timespec t = { 0 };

	if (m->traits.virtual_clock)
		return medium_now_ns(m);
	clock_gettime(CLOCK_MONOTONIC_COARSE, &t);
	return (uint64_t)t.tv_sec * 1000000000 + (uint64_t)t.tv_nsec;
}

static int missing(struct medium *m, const char *when)
{
	struct error why;

	error_set(&why, ERROR_IO,
		"'%s' does not show that it still holds the medium this run wrote to: %s none of "
		"the blocks flushed last is there, so it is another one or has lost them all; "
		"nothing more was written; %s",
		m->traits.path, when, advice_another(m->traits.transport));
	return identity_lose(m, -ESTALE, &why);
}

/* Nothing that was flushed, or known to have gone to it, is left of this run. */
static int unknowable(struct medium *m)
{
	struct error why;

	error_set(&why, ERROR_IO,
		"'%s' was away, and nothing is left of what this run flushed to it, by which it "
		"could be told from another one; nothing more was written; try a larger region",
		m->traits.path);
	return identity_lose(m, -ESTALE, &why);
}

/* A reset is no change of medium, but it can hide one: gadgets drop a waiting 28/00 then. */
static int settle_doubt(struct medium *m)
{
	if (!atomic_load_explicit(&m->identity.doubted, memory_order_relaxed))
		return 0;
	if (m->identity.telltales && telltales_look(m->identity.telltales, m) == TELLTALE_MISSING)
		return missing(m, "it was reset, and");
	atomic_store(&m->identity.doubted, false);
	return 0;
}

/* Has the kernel's count of failed commands moved, and not by this run's own? Then something happened to the device. */
static bool errors_moved(struct medium *m)
{
	struct medium_counts c = { 0 };

	return medium_counts(m, &c) == 0 && c.errors_known &&
	       c.errors > atomic_exchange(&m->identity.errors_seen, c.errors);
}

static bool has_no_sequence(const struct medium *m)
{
	return m->traits.kind == MEDIUM_BLOCK_DEVICE && !m->traits.disk_sequence;
}

/* Before a batch. What was flushed since the one before may have gone to whatever is there now, so it proves nothing. */
static int check_telltales(struct medium *m)
{
	bool errors = errors_moved(m);

	if (settle_doubt(m) < 0)
		return identity_lost(m);
	if ((errors || has_no_sequence(m)) &&
		telltales_look(m->identity.telltales, m) == TELLTALE_MISSING) {
		/* Who knows better says why; and a drive that could not be read before it was asked can be now. */
		int rc = medium_check(m, MEDIUM_CHECK_FAILED);

		if (rc < 0 || telltales_look(m->identity.telltales, m) == TELLTALE_FOUND)
			return rc;
		return missing(m, errors ? "commands to it failed, and"
					 : "this kernel counts no disk sequence, and");
	}
	telltales_vouch(m->identity.telltales);
	return 0;
}

int medium_check(struct medium *wrapped, enum medium_check how)
{
	struct medium *m = identity_owner(wrapped);
	struct error why;
	int rc = identity_lost(m);

	if (rc || !m->ops->check)
		return rc;
	why.kind = ERROR_NONE; /* not all of it: this is called for every request */
	why.sys_errno = 0;
	why.text[0] = 0;
	if (how != MEDIUM_CHECK_REQUEST)
		atomic_store_explicit(
			&m->identity.batch_ns, coarse_now_ns(m), memory_order_relaxed);
	rc = m->ops->check(m, how, &why);
	if (rc < 0)
		return identity_leave(m, rc, &why);
	if (how != MEDIUM_CHECK_BATCH || stage_of(m) != IDENTITY_HELD)
		return 0;
	return m->identity.telltales ? check_telltales(m) : 0;
}

int identity_admit_read(struct medium *m)
{
	int rc = identity_lost(m);

	return !rc && stage_of(m) == IDENTITY_LEFT ? -ESTALE : rc;
}

static int admit(struct medium *m, enum medium_check how)
{
	int rc = medium_check(m, how);

	if (!rc && stage_of(m) == IDENTITY_LEFT)
		return -ESTALE;
	return rc ? rc : settle_doubt(m);
}

/* A flush ends a batch. */
int identity_admit_flush(struct medium *wrapped)
{
	return admit(identity_owner(wrapped), MEDIUM_CHECK_BATCH);
}

int identity_admit_write(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);
	uint64_t last = atomic_load_explicit(&m->identity.batch_ns, memory_order_relaxed);
	bool due = coarse_now_ns(m) - last > batch_at_least_every_ns;
	int rc = admit(m, due ? MEDIUM_CHECK_BATCH : MEDIUM_CHECK_REQUEST);

	if (!rc && !atomic_load_explicit(&m->identity.armed, memory_order_acquire))
		rc = medium_hold(m);
	return rc;
}

void identity_wrote(struct medium *wrapped, uint64_t at, const void *bytes, size_t length)
{
	struct medium *m = identity_owner(wrapped);

	if (m->identity.telltales && length)
		telltales_note(m->identity.telltales, at, bytes, length);
}

void identity_flush_begins(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);

	if (m->identity.telltales)
		telltales_flush_begins(m->identity.telltales);
}

void identity_flushed(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);

	if (m->identity.telltales)
		telltales_flushed(m->identity.telltales);
}

const struct error *medium_lost(const struct medium *m)
{
	return identity_lost(m) ? &identity_owner(m)->identity.why : NULL;
}

int medium_explain(const struct medium *m, struct error *err)
{
	if (err && identity_lost(m))
		*err = identity_owner(m)->identity.why;
	return -1;
}

/* The kernel lets nobody change what is behind a loop device that is held for writing; images have their own ways. */
static bool can_be_taken_out(const struct medium *m)
{
	return m->traits.kind != MEDIUM_IMAGE && strcmp(m->traits.transport, "loop") != 0;
}

/* What happened up to now is no reason for doubt. */
static void forget_errors(struct medium *m)
{
	errors_moved(m);
	atomic_store(&m->identity.doubted, false);
}

static int hold(struct medium *m, bool keep)
{
	int rc = 0;

	pthread_mutex_lock(&turning);
	if (!m->identity.telltales && keep) {
		m->identity.telltales = telltales_new();
		rc = m->identity.telltales ? 0 : -ENOMEM;
	}
	if (!rc)
		atomic_store_explicit(&m->identity.armed, true, memory_order_release);
	pthread_mutex_unlock(&turning);
	forget_errors(m);
	return rc;
}

int medium_hold(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);

	return hold(m, can_be_taken_out(m));
}

int medium_keep_telltales(struct medium *wrapped)
{
	return hold(identity_owner(wrapped), true);
}

void medium_mark(struct medium *m, bool on)
{
	if (identity_owner(m)->identity.telltales)
		telltales_mark(identity_owner(m)->identity.telltales, on);
}

struct telltales *medium_take_telltales(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);
	struct telltales *t = m->identity.telltales;

	m->identity.telltales = NULL;
	return t;
}

void medium_give_telltales(struct medium *wrapped, struct telltales *t)
{
	struct medium *m = identity_owner(wrapped);

	telltales_free(m->identity.telltales);
	m->identity.telltales = t;
	if (t)
		atomic_store(&m->identity.armed, true);
}

void medium_expect_change(struct medium *m)
{
	/* The last moment at which it is known for certain. */
	if (medium_check(m, MEDIUM_CHECK_BATCH) < 0)
		return;
	if (stage_of(m) == IDENTITY_HELD)
		atomic_store(&identity_owner(m)->identity.stage, IDENTITY_EXPECTING);
}

bool medium_is_known(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);

	return !identity_lost(m) && m->identity.telltales &&
	       telltales_look(m->identity.telltales, m) == TELLTALE_FOUND;
}

bool medium_has_left(const struct medium *m)
{
	return stage_of(m) == IDENTITY_LEFT;
}

int medium_confirm(struct medium *wrapped)
{
	struct medium *m = identity_owner(wrapped);
	struct error why = { 0 };
	enum telltale_answer answer;
	int rc = identity_lost(m);

	if (rc)
		return rc;
	rc = m->ops->renew ? m->ops->renew(m, &why) : 0;
	if (rc < 0)
		return identity_lose(m, rc, &why);
	answer = m->identity.telltales ? telltales_look(m->identity.telltales, m) : TELLTALE_NONE;
	if (answer != TELLTALE_FOUND)
		return answer == TELLTALE_NONE ? unknowable(m) : missing(m, "after it was away,");
	forget_errors(m);
	atomic_store(&m->identity.stage, IDENTITY_HELD);
	return 0;
}

uint64_t medium_resets(const struct medium *m)
{
	return atomic_load(&identity_owner(m)->identity.resets);
}
