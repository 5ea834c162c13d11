/* Does the harness measure itself? The timed loop of `sweep` against a bare pread/pwrite loop with no bookkeeping at all,
 * in turn, on the same file. Prints one line a size and direction: NAME, median ratio, quartiles, goal. */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "ratios.h"

#include "base/error.h"
#include "base/size.h"
#include "measure/offsets.h"
#include "measure/pass.h"
#include "measure/payload.h"
#include "medium/medium.h"
#include "platform/clock.h"

enum { ROUNDS = 300, SIZES = 12, FILE_BYTES = 64 << 20, SLICE_NS = 10000000, REST_NS = 1000000 };

/* One size and direction: what every slice of it shares. */
struct duel {
	struct medium *m;
	int fd;
	struct pass_plan plan;
	struct pass_buffers buffers;
	struct pass_result result;
	off_t start; /* the same places for all: where a file lies on the disk matters too */
	uint64_t serial;
};

/* OURS is the loop under test. BARE does the same work and no bookkeeping: its writes carry new data too, which a disk
 * need not take as fast as the same data again. OTHER is BARE once more, or for writes BARE with the same data again. */
enum contender { OURS, BARE, OTHER, CONTENDERS };

/* Ends as a pass does, with the request that crosses the deadline: a loop of so many requests would be measured by
 * another rule, and where the rate of slices varies by s the two rules differ by s squared. So it reads the clock, 25 ns
 * a request; a timer instead would change how deep the processor sleeps while it waits. */
static double bare_rate(struct duel *d, bool renew)
{
	size_t length = (size_t)d->plan.request_bytes;
	char *buf = d->buffers.memory[0];
	uint64_t start = clock_now_ns(), now, requests = 0;
	off_t at = d->start;

	do {
		ssize_t n;

		if (renew)
			d->serial = payload_renew(buf, length, d->serial);
		n = d->plan.write ? pwrite(d->fd, buf, length, at) : pread(d->fd, buf, length, at);
		if (n != (ssize_t)length)
			exit(3);
		requests++;
		at += (off_t)length;
		if (at + (off_t)length > FILE_BYTES)
			at = 0;
		now = clock_now_ns();
	} while (now < start + SLICE_NS);
	return (double)(requests * length) / (double)(now - start);
}

/* Each slice begins with nothing left of the one before: a write pass ends with a flush and a short rest, the bare loop
 * with neither, and a disk that has rested is faster. */
static double slice(struct duel *d, enum contender who)
{
	fsync(d->fd);
	clock_sleep_ns(REST_NS);
	if (who != OURS)
		return bare_rate(d, d->plan.write && who == BARE);
	if (pass_run(d->m, &d->plan, &d->buffers, &d->result, NULL) < 0 || !d->result.busy_ns)
		exit(3);
	return (double)d->result.bytes / (double)d->result.busy_ns;
}

/* In all six orders by turns, so that whoever goes first or follows whom cancels. */
static void take_turns(struct duel *d, size_t round, double *ours, double *other)
{
	static const enum contender order[6][CONTENDERS] = { { OURS, BARE, OTHER },
		{ OTHER, BARE, OURS }, { BARE, OTHER, OURS }, { OURS, OTHER, BARE },
		{ OTHER, OURS, BARE }, { BARE, OURS, OTHER } };
	double rate[CONTENDERS];

	for (size_t i = 0; i < CONTENDERS; i++) {
		enum contender who = order[round % 6][i];

		rate[who] = slice(d, who);
	}
	*ours = rate[OURS] / rate[BARE];
	*other = rate[OTHER] / rate[BARE];
}

/* The ratios of all sizes of one direction. */
struct pool {
	double ours[ROUNDS * SIZES], other[ROUNDS * SIZES];
	size_t count;
};

static void compare(struct pool *p, struct medium *m, int fd, bool write, uint64_t length)
{
	static struct duel d;
	static double sorted[ROUNDS];
	struct offsets order;
	char size[SIZE_TEXT_MAX], name[80];

	d = (struct duel){ .m = m,
		.fd = fd,
		.plan = { .write = write,
			.request_bytes = length,
			.in_flight = 1,
			.region_bytes = FILE_BYTES,
			.duration_ns = SLICE_NS,
			.seed = 1 } };
	/* One memory for all: its pages matter. */
	if (pass_buffers_init(&d.buffers, m, length, 1) < 0)
		exit(3);
	offsets_init(&order, false, 0, FILE_BYTES, length, d.plan.seed);
	d.start = (off_t)offsets_at(&order, 0);
	slice(&d, OURS);
	for (size_t i = 0; i < ROUNDS; i++)
		take_turns(&d, i, &p->ours[p->count + i], &p->other[p->count + i]);
	memcpy(sorted, p->ours + p->count, sizeof sorted);
	p->count += ROUNDS;
	snprintf(name, sizeof name, "sweep / bare loop, %s %s", write ? "write" : "read",
		size_format(size, length));
	ratios_print(name, sorted, ROUNDS, ">= 0.99");
	pass_buffers_release(&d.buffers);
}

/* Each size, and all of a direction together: one size's median repeats only within a per cent or so. */
static void compare_all(struct medium *m, int fd, bool write)
{
	static struct pool p;

	p.count = 0;
	for (uint64_t n = 512; n <= 1 << 20; n *= 2)
		compare(&p, m, fd, write, n);
	ratios_print(write ? "sweep / bare loop, all writes" : "sweep / bare loop, all reads",
		p.ours, p.count, ">= 0.99");
	ratios_print(write ? "same data again / new data, all writes"
			   : "bare loop / bare loop, all reads",
		p.other, p.count, "-");
}

int main(int argc, char **argv)
{
	struct error err = { 0 };
	struct medium *m;
	int fd;

	if (argc != 2 || medium_open(&m, argv[1], MEDIUM_READ_WRITE, &err) < 0) {
		fprintf(stderr, "bare_loop: %s\n", argc == 2 ? err.text : "usage: bare_loop FILE");
		return 2;
	}
	fd = open(argv[1], O_RDWR | O_DIRECT | O_CLOEXEC);
	if (fd < 0)
		return 3;
	compare_all(m, fd, false);
	compare_all(m, fd, true);
	medium_close(m);
	close(fd);
	return 0;
}
