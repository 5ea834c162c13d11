/* A library to preload: reads and writes of files opened with O_DIRECT take a known time, by the real clock.
 *
 *   SLOW_FIXED_US   t0, of each request
 *   SLOW_RATE       r, in bytes a second
 *   SLOW_JITTER     each request takes (t0 + n/r) times 1 +- this at random, evenly (default: 0)
 *   SLOW_SEED       of that chance
 *   SLOW_DRIFT      requests take so much longer with each second since the first one, as a share of their time at first
 *
 * What the call itself takes is part of the time, not on top of it. Nor is what a busy machine adds: in a row of requests
 * of one size, each behind the one before, a request's time begins where the time of the one before ended, as if it had
 * waited at the device; what came late is caught up, and the row as a whole takes what it must. */
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/types.h>
#include <time.h>

static double number_of(const char *name)
{
	const char *text = getenv(name);

	return text ? strtod(text, NULL) : 0;
}

static int64_t now_ns(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return t.tv_sec * INT64_C(1000000000) + t.tv_nsec;
}

/* SplitMix64 (Steele, Lea, Flood, OOPSLA 2014), to [-1, 1). */
static double chance(void)
{
	static uint64_t state;
	static int seeded;
	uint64_t z;

	if (!seeded++)
		state = (uint64_t)number_of("SLOW_SEED");
	z = state += UINT64_C(0x9E3779B97F4A7C15);
	z = (z ^ z >> 30) * UINT64_C(0xBF58476D1CE4E5B9);
	z = (z ^ z >> 27) * UINT64_C(0x94D049BB133111EB);
	z ^= z >> 31;
	return (double)(z >> 11) * 0x1p-52 - 1;
}

/* Sleeps most of it, then watches the clock: a timer alone comes late. */
static void wait_until(int64_t end)
{
	enum { WATCH_NS = 150000 };
	struct timespec t = { .tv_sec = (end - WATCH_NS) / 1000000000,
		.tv_nsec = (end - WATCH_NS) % 1000000000 };

	if (end - WATCH_NS > now_ns())
		clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &t, NULL);
	while (now_ns() < end)
		;
}

static void take_time(int fd, int64_t start, size_t length, off_t at)
{
	static size_t row_length;
	static off_t row_next;
	static int64_t row_end, first;
	double s = number_of("SLOW_FIXED_US") / 1e6 + (double)length / number_of("SLOW_RATE");

	if (!(fcntl(fd, F_GETFL) & O_DIRECT))
		return;
	if (!first)
		first = start;
	s *= 1 + number_of("SLOW_DRIFT") * (double)(start - first) / 1e9;
	if (length != row_length || at != row_next)
		row_end = start;
	row_length = length;
	row_next = at + (off_t)length;
	row_end += (int64_t)(s * 1e9 * (1 + number_of("SLOW_JITTER") * chance()));
	wait_until(row_end);
}

typedef ssize_t (*reader)(int, void *, size_t, off_t);
typedef ssize_t (*writer)(int, const void *, size_t, off_t);

ssize_t pread64(int fd, void *buf, size_t length, off_t at)
{
	static reader real;
	int64_t start = now_ns();
	ssize_t n;

	if (!real)
		*(void **)&real = dlsym(RTLD_NEXT, "pread64");
	n = real(fd, buf, length, at);
	take_time(fd, start, length, at);
	return n;
}

ssize_t pwrite64(int fd, const void *buf, size_t length, off_t at)
{
	static writer real;
	int64_t start = now_ns();
	ssize_t n;

	if (!real)
		*(void **)&real = dlsym(RTLD_NEXT, "pwrite64");
	n = real(fd, buf, length, at);
	take_time(fd, start, length, at);
	return n;
}
