/* A library to preload: CLOCK_MONOTONIC_RAW jumps once, as on a machine that was paused.
 *
 *   STEP_AFTER_MS   of the process's life (default: 0)
 *   STEP_MS         by how much; may be negative */
#include <dlfcn.h>
#include <stdint.h>
#include <stdlib.h>
#include <time.h>

static double number_of(const char *name)
{
	const char *text = getenv(name);

	return text ? strtod(text, NULL) : 0;
}

static double ms_of(const struct timespec *t)
{
	return (double)t->tv_sec * 1e3 + (double)t->tv_nsec / 1e6;
}

int clock_gettime(clockid_t clock, struct timespec *t)
{
	static int (*real)(clockid_t, struct timespec *);
	static double began, after, step;
	int64_t ns;
	int rc;

	if (!real) {
		struct timespec now;

		*(void **)&real = dlsym(RTLD_NEXT, "clock_gettime");
		real(CLOCK_MONOTONIC_RAW, &now);
		began = ms_of(&now);
		after = number_of("STEP_AFTER_MS");
		step = number_of("STEP_MS");
	}
	rc = real(clock, t);
	if (rc || clock != CLOCK_MONOTONIC_RAW || ms_of(t) < began + after)
		return rc;
	ns = t->tv_nsec + (int64_t)(step * 1e6);
	t->tv_sec += ns / 1000000000;
	t->tv_nsec = ns % 1000000000;
	if (t->tv_nsec < 0) {
		t->tv_nsec += 1000000000;
		t->tv_sec--;
	}
	return rc;
}
