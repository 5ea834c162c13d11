/* The gadget's clock: CLOCK_MONOTONIC in ns, which a double holds exactly for a hundred days. */
#ifndef GADGET_CLOCK_H
#define GADGET_CLOCK_H

#include <time.h>

static inline double clock_ns(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (double)t.tv_sec * 1e9 + (double)t.tv_nsec;
}

#endif
