/* The machine's clocks. */
#include "platform/clock.h"

#include <time.h>

uint64_t clock_now_ns(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC_RAW, &t);
	return (uint64_t)t.tv_sec * UINT64_C(1000000000) + (uint64_t)t.tv_nsec;
}

void clock_sleep_ns(uint64_t ns)
{
	struct timespec t = { .tv_sec = (time_t)(ns / UINT64_C(1000000000)),
		.tv_nsec = (long)(ns % UINT64_C(1000000000)) };

	nanosleep(&t, NULL);
}

uint64_t clock_wall_seconds(void)
{
	struct timespec t;

	clock_gettime(CLOCK_REALTIME, &t);
	return t.tv_sec < 0 ? 0 : (uint64_t)t.tv_sec;
}
