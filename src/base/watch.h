/* How long work tells its caller how far it is, and asks whether to go on. Every field may be NULL. */
#ifndef BASE_WATCH_H
#define BASE_WATCH_H

#include <stdbool.h>
#include <stdint.h>

struct watch_step {
	const char *phase; /* "writing", "reading back", ... */
	uint64_t done; /* out of total, in bytes unless the phase says otherwise */
	uint64_t total; /* 0: unknown */
	double seconds_left; /* < 0: let the caller estimate from done and total */
	double rate_bps; /* as the target's own clock has it; 0: let the caller work it out */
};

struct watch {
	void *context;
	/* true: finish the request in hand, keep what is known, return */
	bool (*stop)(void *context);
	/* cheap; the caller thins it out */
	void (*step)(void *context, const struct watch_step *step);
};

static inline bool watch_should_stop(const struct watch *w)
{
	return w && w->stop && w->stop(w->context);
}

static inline void watch_step(const struct watch *w, const struct watch_step *step)
{
	if (w && w->step)
		w->step(w->context, step);
}

#endif
