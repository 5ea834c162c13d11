/* A cut on a medium in memory. */
#include "support/cut_run.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/error.h"
#include "support/failing_medium.h"

/* In memory where there is such a place: a journal is synced again and again, and a busy disk takes its time. */
static void make_path(char path[64])
{
	int fd;

	snprintf(path, 64, "%s/blkassay-cut-XXXXXX",
		access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	fd = mkstemp(path);
	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
}

static uint64_t clock_ns;

static void move_clock(struct medium *m, uint64_t ns)
{
	(void)m;
	clock_ns += ns;
}

/* A tenth of a millisecond passes with each look at the clock. */
static uint64_t read_clock(struct medium *m)
{
	(void)m;
	clock_ns += 100000;
	return clock_ns;
}

/* A clock of our own: pauses take no time, and how busy the machine is does not show. */
static void own_clock(struct medium *m)
{
	static struct medium_ops quick;

	quick = *m->ops;
	quick.idle_ns = move_clock;
	quick.now_ns = read_clock;
	m->ops = &quick;
}

static void begin(struct cut_run *c, uint64_t seed, uint64_t nth_call, enum journal_promise promise,
	uint64_t end_after_ns, uint64_t errors_at)
{
	struct cut_settings settings = { .cycle = { .number = 1,
						 .seed = seed,
						 .region_bytes = CUT_RUN_BYTES,
						 .block_bytes = CUT_RUN_BLOCK,
						 .promise = promise },
		.end_after_ns = end_after_ns };
	struct failing_plan plan = { .calls = FAILING_WRITE | FAILING_FLUSH,
		.nth = nth_call,
		.lasts = FAIL_LASTING,
		.sys_errno = ENODEV };
	struct cut_trigger none = { 0 };
	struct record_writer w;
	struct error err = { 0 };

	*c = (struct cut_run){ .ram = ram_medium_new(CUT_RUN_BYTES, CUT_RUN_BLOCK, true) };
	c->ram->errors_at = errors_at;
	make_path(c->path);
	c->medium = &c->ram->medium;
	own_clock(c->medium);
	if (nth_call)
		c->medium = medium_failing(c->medium, &plan);
	ck_assert_int_eq(record_create(&w, c->path, JOURNAL_KIND, &err), 0);
	ck_assert_msg(cut_run(c->medium, &settings, &none, &w, NULL, &c->summary, &err) == 0, "%s",
		err.text);
	ck_assert_int_eq(record_close(&w, &err), 0);
}

void cut_run_begin(struct cut_run *c, uint64_t seed, uint64_t nth_call,
	enum journal_promise promise, uint64_t end_after_ns)
{
	begin(c, seed, nth_call, promise, end_after_ns, 0);
}

void cut_run_begin_disturbed(
	struct cut_run *c, uint64_t seed, uint64_t nth_call, uint64_t errors_at)
{
	begin(c, seed, nth_call, PROMISE_FLUSHED, 0, errors_at);
}

void cut_run_end(struct cut_run *c)
{
	unlink(c->path);
	medium_close(c->medium);
}
