/* The machine's clocks. Durations only ever come from the first. */
#ifndef PLATFORM_CLOCK_H
#define PLATFORM_CLOCK_H

#include <stdint.h>

uint64_t clock_now_ns(void); /* CLOCK_MONOTONIC_RAW: never set, never slewed */
/* From one reading to a later one: 0 where the clock was put back in between, as no time is negative. */
static inline uint64_t clock_span_ns(uint64_t from, uint64_t to)
{
	return to > from ? to - from : 0;
}

void clock_sleep_ns(uint64_t ns); /* may return early when a signal arrives */
uint64_t clock_wall_seconds(void); /* seconds since 1970 UTC, for naming a run only */

#endif
