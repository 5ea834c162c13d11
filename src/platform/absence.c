/* The sleeping thread, and what the kernel says. */
#include "platform/absence.h"

#include <fcntl.h>
#include <pthread.h>
#include <signal.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "platform/clock.h"

/* On a busy machine a sleeper wakes late now and then: up to late_ns that is no absence. */
static const uint64_t beat_ns = 25000000, late_ns = 300000000;

/* What the sleeper notes is read without a lock: one who holds a lock may lose the processor, and the other would then look
 * as if it had been away. */
struct absence {
	pthread_t thread;
	pthread_mutex_t lock; /* of ending alone */
	pthread_cond_t wake;
	bool ending;
	uint64_t delayed_ns; /* the sleeper's own */
	_Atomic uint64_t last_ns, away_ns;
};

/* This thread's second field: time on a run queue (Linux Documentation/scheduler/sched-stats.rst). */
static uint64_t delayed(void)
{
	char text[96];
	unsigned long long ran, waited;
	int fd = open("/proc/thread-self/schedstat", O_RDONLY | O_CLOEXEC);
	ssize_t n;

	if (fd < 0)
		return 0;
	n = read(fd, text, sizeof text - 1);
	close(fd);
	text[n > 0 ? n : 0] = 0;
	/* NOLINTNEXTLINE(cert-err34-c): the kernel wrote it, and its numbers fit */
	return sscanf(text, "%llu %llu", &ran, &waited) == 2 ? waited : 0;
}

/* The time, and this thread's delay up to then: if it lost the processor between the two readings, they don't belong
 * together. */
static uint64_t now_and_delayed(uint64_t *waited)
{
	uint64_t now, before;
	int tries = 0;

	do {
		before = delayed();
		now = clock_now_ns();
		*waited = delayed();
	} while (*waited != before && ++tries < 100);
	return now;
}

/* By the sleeper. Late because others had the processor is no absence; a clock that goes back is one by as much. */
static void note(struct absence *a)
{
	uint64_t waited, now = now_and_delayed(&waited), last = a->last_ns;
	uint64_t due = last + beat_ns + (waited - a->delayed_ns);

	if (now < last)
		a->away_ns += last - now;
	else if (now > due && now - due > late_ns - beat_ns)
		a->away_ns += now - due;
	a->delayed_ns = waited;
	a->last_ns = now; /* last: who reads it finds what belongs to it */
}

static void *beat(void *context)
{
	struct absence *a = context;

	a->last_ns = now_and_delayed(&a->delayed_ns);
	pthread_mutex_lock(&a->lock);
	while (!a->ending) {
		struct timespec t;
		uint64_t ns;

		clock_gettime(CLOCK_MONOTONIC, &t);
		ns = (uint64_t)t.tv_nsec + beat_ns;
		t.tv_sec += (time_t)(ns / 1000000000);
		t.tv_nsec = (long)(ns % 1000000000);
		pthread_cond_timedwait(&a->wake, &a->lock, &t);
		note(a);
	}
	pthread_mutex_unlock(&a->lock);
	return NULL;
}

static bool init(struct absence *a)
{
	pthread_condattr_t attr;
	bool fine;

	if (pthread_condattr_init(&attr))
		return false;
	fine = !pthread_condattr_setclock(&attr, CLOCK_MONOTONIC) &&
	       !pthread_cond_init(&a->wake, &attr);
	pthread_condattr_destroy(&attr);
	return fine && !pthread_mutex_init(&a->lock, NULL);
}

/* Signals are for the thread that does the work. */
static int start(struct absence *a)
{
	sigset_t all, before;
	int rc;

	sigfillset(&all);
	pthread_sigmask(SIG_SETMASK, &all, &before);
	rc = pthread_create(&a->thread, NULL, beat, a);
	pthread_sigmask(SIG_SETMASK, &before, NULL);
	return rc;
}

static void release(struct absence *a)
{
	pthread_mutex_destroy(&a->lock);
	pthread_cond_destroy(&a->wake);
	free(a);
}

struct absence *absence_watch(void)
{
	struct absence *a = calloc(1, sizeof *a);

	if (!a)
		return NULL;
	if (!init(a)) {
		free(a);
		return NULL;
	}
	if (start(a) != 0) {
		release(a);
		return NULL;
	}
	while (!a->last_ns) /* until it watches */
		clock_sleep_ns(100000);
	return a;
}

void absence_end(struct absence *a)
{
	if (!a)
		return;
	pthread_mutex_lock(&a->lock);
	a->ending = true;
	pthread_cond_signal(&a->wake);
	pthread_mutex_unlock(&a->lock);
	pthread_join(a->thread, NULL);
	release(a);
}

static uint64_t away(struct absence *a)
{
	if (!a)
		return 0;
	/* Whether all of this process was away, or the sleeper alone is late, it will tell at its next beat. */
	while (clock_now_ns() - a->last_ns > late_ns)
		clock_sleep_ns(1000000);
	return a->away_ns;
}

static int64_t ns_of(clockid_t clock)
{
	struct timespec t;

	return clock_gettime(clock, &t) < 0 ? 0 : t.tv_sec * INT64_C(1000000000) + t.tv_nsec;
}

/* Since boot; never negative but for the moment between the two readings. */
static uint64_t suspended(void)
{
	int64_t ns = ns_of(CLOCK_BOOTTIME) - ns_of(CLOCK_MONOTONIC);

	return ns > 0 ? (uint64_t)ns : 0;
}

void absence_mark(struct absence *a, struct absence_mark *m)
{
	*m = (struct absence_mark){ .suspended_ns = suspended(), .delayed_ns = delayed() };
	m->away_ns = away(a);
}

void absence_since(struct absence *a, const struct absence_mark *m, struct absence_time *out)
{
	*out = (struct absence_time){ .away_ns = clock_span_ns(m->away_ns, away(a)),
		.suspended_ns = clock_span_ns(m->suspended_ns, suspended()),
		.delayed_ns = clock_span_ns(m->delayed_ns, delayed()) };
}
