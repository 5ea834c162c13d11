/* The ring. Each side spins on nothing: it sleeps when it has nothing to do, and is woken only when half the ring
 * waits for it, so that a fast worker costs the I/O thread one wake in many requests. */
#include "integrity/pipeline.h"

#include <errno.h>
#include <signal.h>
#include <stdlib.h>

#include "base/buffer.h"

enum { RING_BYTES = 1024 * 1024, SLOTS_MIN = 4 };

int pipeline_init(
	struct pipeline *p, size_t request_bytes, size_t align, uint32_t blocks, bool threaded)
{
	size_t wanted = RING_BYTES / request_bytes;

	*p = (struct pipeline){ .threaded = threaded };
	p->slots = wanted < SLOTS_MIN            ? SLOTS_MIN
		   : wanted > PIPELINE_SLOTS_MAX ? PIPELINE_SLOTS_MAX
						 : (unsigned)wanted;
	if (!threaded)
		p->slots = 1;
	pthread_mutex_init(&p->lock, NULL);
	pthread_cond_init(&p->wake, NULL);
	for (unsigned i = 0; i < p->slots; i++) {
		p->slot[i].bytes = buffer_new(request_bytes, align);
		p->slot[i].refused.blocks = calloc(blocks, sizeof *p->slot[i].refused.blocks);
		if (!p->slot[i].bytes || !p->slot[i].refused.blocks) {
			pipeline_release(p);
			return -ENOMEM;
		}
	}
	return 0;
}

void pipeline_release(struct pipeline *p)
{
	for (unsigned i = 0; i < p->slots; i++) {
		free(p->slot[i].bytes);
		free(p->slot[i].refused.blocks);
	}
	if (p->slots) {
		pthread_mutex_destroy(&p->lock);
		pthread_cond_destroy(&p->wake);
	}
	p->slots = 0;
}

/* Slots in which the caller, or the worker, may work now. */
static uint64_t caller_room(struct pipeline *p)
{
	uint64_t caller = atomic_load(&p->caller_done), worker = atomic_load(&p->worker_done);

	return p->role == PIPELINE_MAKES ? worker - caller : p->slots - (caller - worker);
}

static uint64_t worker_room(struct pipeline *p)
{
	return p->slots - caller_room(p);
}

static void wake(struct pipeline *p)
{
	pthread_mutex_lock(&p->lock);
	pthread_cond_broadcast(&p->wake);
	pthread_mutex_unlock(&p->lock);
}

static void caller_sleep(struct pipeline *p, uint64_t wanted)
{
	pthread_mutex_lock(&p->lock);
	atomic_store(&p->caller_waits, true);
	while (caller_room(p) < wanted)
		pthread_cond_wait(&p->wake, &p->lock);
	atomic_store(&p->caller_waits, false);
	pthread_mutex_unlock(&p->lock);
}

/* False: nothing more to do. */
static bool worker_sleep(struct pipeline *p)
{
	pthread_mutex_lock(&p->lock);
	atomic_store(&p->worker_waits, true);
	while (worker_room(p) == 0 && !atomic_load(&p->closing))
		pthread_cond_wait(&p->wake, &p->lock);
	atomic_store(&p->worker_waits, false);
	pthread_mutex_unlock(&p->lock);
	return worker_room(p) > 0;
}

static void worker_step(struct pipeline *p)
{
	uint64_t n = atomic_load(&p->worker_done);
	struct slot *s = &p->slot[n % p->slots];

	if (p->role == PIPELINE_MAKES)
		s->index = p->first + n;
	p->work(p->context, s);
	atomic_store(&p->worker_done, n + 1);
	/* A caller that sleeps has nothing to do at all, so it is woken early when slots are few. */
	if (atomic_load(&p->caller_waits) &&
		(caller_room(p) * 2 >= p->slots || worker_room(p) == 0))
		wake(p);
}

static void *worker_main(void *context)
{
	struct pipeline *p = context;

	for (;;) {
		if (p->role == PIPELINE_MAKES &&
			(atomic_load(&p->closing) ||
				atomic_load(&p->worker_done) == p->end - p->first))
			break;
		if (worker_room(p) == 0 && !worker_sleep(p))
			break;
		worker_step(p);
	}
	if (atomic_load(&p->caller_waits))
		wake(p);
	return NULL;
}

int pipeline_start(struct pipeline *p, enum pipeline_role role,
	void (*work)(void *context, struct slot *slot), void *context, uint64_t first, uint64_t end)
{
	sigset_t all, before;
	int rc = 0;

	p->role = role;
	p->work = work;
	p->context = context;
	p->first = first;
	p->end = end;
	atomic_store(&p->caller_done, 0);
	atomic_store(&p->worker_done, 0);
	atomic_store(&p->closing, false);
	if (p->threaded) {
		/* Signals belong to the thread that does the I/O. */
		sigfillset(&all);
		pthread_sigmask(SIG_SETMASK, &all, &before);
		rc = -pthread_create(&p->worker, NULL, worker_main, p);
		pthread_sigmask(SIG_SETMASK, &before, NULL);
	}
	p->running = rc == 0;
	return rc;
}

struct slot *pipeline_next(struct pipeline *p)
{
	if (caller_room(p) == 0) {
		if (p->threaded)
			caller_sleep(p, 1);
		else if (p->role == PIPELINE_MAKES)
			worker_step(p);
	}
	return &p->slot[atomic_load(&p->caller_done) % p->slots];
}

void pipeline_done(struct pipeline *p)
{
	atomic_fetch_add(&p->caller_done, 1);
	if (!p->threaded) {
		if (p->role == PIPELINE_TAKES)
			worker_step(p);
	} else if (atomic_load(&p->worker_waits) && worker_room(p) * 2 >= p->slots) {
		wake(p);
	}
}

void pipeline_drain(struct pipeline *p)
{
	if (!p->threaded || p->role != PIPELINE_TAKES)
		return;
	wake(p);
	caller_sleep(p, p->slots);
}

void pipeline_stop(struct pipeline *p)
{
	if (p->threaded && p->running) {
		atomic_store(&p->closing, true);
		wake(p);
		pthread_join(p->worker, NULL);
	}
	p->running = false;
}
