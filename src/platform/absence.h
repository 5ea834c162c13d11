/* Time in which this process was away: stopped, frozen, on a machine that was suspended or paused, or waiting for a
 * processor; and clocks that were moved meanwhile. A thread that only sleeps and looks at the clock tells such time from the
 * time that a device takes, which keeps no sleeping thread from waking. */
#ifndef PLATFORM_ABSENCE_H
#define PLATFORM_ABSENCE_H

#include <stdbool.h>
#include <stdint.h>

struct absence;

/* NULL where no thread can be had: then only suspends and run delay show. */
struct absence *absence_watch(void);
void absence_end(struct absence *a); /* NULL does nothing */

/* Before something is timed, in the thread that does it. */
struct absence_mark {
	uint64_t away_ns, suspended_ns, delayed_ns;
};
void absence_mark(struct absence *a, struct absence_mark *m);

struct absence_time {
	uint64_t away_ns; /* nothing of this process ran, or the clock was moved by that much */
	uint64_t suspended_ns; /* the machine slept (CLOCK_BOOTTIME against CLOCK_MONOTONIC) */
	uint64_t delayed_ns; /* this thread was ready and waited for a processor (schedstat) */
};
void absence_since(struct absence *a, const struct absence_mark *m, struct absence_time *out);

#endif
