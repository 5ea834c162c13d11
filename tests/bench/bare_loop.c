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
#include "medium/medium.h"
#include "platform/clock.h"

enum { PAIRS = 41, FILE_BYTES = 64 << 20 };

static double bare_rate(
	int fd, bool write, char *buf, size_t length, off_t start, uint64_t requests)
{
	uint64_t before = clock_now_ns();
	off_t at = start;

	for (uint64_t i = 0; i < requests; i++) {
		ssize_t n = write ? pwrite(fd, buf, length, at) : pread(fd, buf, length, at);

		if (n != (ssize_t)length)
			exit(3);
		at += (off_t)length;
		if (at + (off_t)length > FILE_BYTES)
			at = 0;
	}
	return (double)(requests * length) / (double)(clock_now_ns() - before);
}

static void compare(struct medium *m, int fd, bool write, uint64_t length)
{
	struct pass_plan plan = { .write = write,
		.request_bytes = length,
		.in_flight = 1,
		.region_bytes = FILE_BYTES,
		.duration_ns = 50000000,
		.seed = 1 };
	static struct pass_result result;
	struct pass_buffers buffers;
	struct offsets order;
	off_t start; /* the same places for both: where a file lies on the disk matters too */
	char size[SIZE_TEXT_MAX], name[80], *buf;
	double ratios[PAIRS];

	if (pass_buffers_init(&buffers, m, length, 1) < 0)
		exit(3);
	offsets_init(&order, false, 0, FILE_BYTES, length, plan.seed);
	start = (off_t)offsets_at(&order, 0);
	/* The same memory and the same data: pages and content matter. */
	buf = buffers.memory[0];
	for (int i = -2; i < PAIRS; i++) {
		double bare, ours;

		/* Whoever goes second might find things warmer: take turns. A write pass ends with a flush, the bare loop
		 * with none: each begins with nothing left of the other's. */
		fsync(fd);
		if (i % 2) {
			pass_run(m, &plan, &buffers, &result, NULL);
			fsync(fd);
			bare = bare_rate(fd, write, buf, length, start, result.requests);
		} else {
			uint64_t requests = result.requests ? result.requests : 100;

			bare = bare_rate(fd, write, buf, length, start, requests);
			fsync(fd);
			pass_run(m, &plan, &buffers, &result, NULL);
		}
		ours = (double)result.bytes / (double)result.busy_ns;
		if (i >= 0)
			ratios[i] = ours / bare;
	}
	snprintf(name, sizeof name, "sweep / bare loop, %s %s", write ? "write" : "read",
		size_format(size, length));
	ratios_print(name, ratios, PAIRS, ">= 0.99");
	pass_buffers_release(&buffers);
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
	for (int write = 0; write < 2; write++)
		for (uint64_t n = 512; n <= 1 << 20; n *= 2)
			compare(m, fd, write, n);
	medium_close(m);
	close(fd);
	return 0;
}
