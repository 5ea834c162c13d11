/* How fast are the stamp and the judge beside memset, memcpy and zlib's crc32, and `verify` beside a bare loop that
 * writes and reads the same bytes? In turn, on this machine. Prints NAME, median, lower and upper quartile, goal. */
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "ratios.h"

#include "base/buffer.h"
#include "base/checksum.h"
#include "base/error.h"
#include "integrity/judge.h"
#include "integrity/verify.h"
#include "medium/medium.h"
#include "platform/clock.h"

enum { PAIRS = 201, RING = 65536, ROUNDS = 8, REQUEST = 65536, FILE_PAIRS = 20 };

static struct judge judge;
static uint8_t *ring, *copy;
static volatile uint64_t sink; /* keeps results from being optimised away */

static void fill(uint32_t n)
{
	uint64_t key[STREAM_KEYS];

	for (size_t at = 0; at < RING; at += n) {
		stream_key(&judge.stamp.stream, at, 1, key);
		stream_fill(&judge.stamp.stream, key, (uint64_t *)(void *)(ring + at), n / 8);
	}
}

static void stamp_all(uint32_t n)
{
	(void)n;
	stamp_fill_range(&judge.stamp, ring, RING, 0, 1);
}

static void judge_all(uint32_t n)
{
	struct verdict v;

	for (size_t at = 0; at < RING; at += n)
		sink += judge_block(&judge, ring + at, at, 1, &v);
}

static void crc_all(uint32_t n)
{
	for (size_t at = 0; at < RING; at += n)
		sink += checksum_crc32(0, ring + at, n);
}

static void set_all(uint32_t n)
{
	(void)n;
	memset(copy, (int)sink, RING);
	sink += copy[sink % RING];
}

static void copy_all(uint32_t n)
{
	(void)n;
	memcpy(copy, ring, RING);
	sink += copy[sink % RING];
}

static double seconds_of(void (*work)(uint32_t n), uint32_t n)
{
	uint64_t before = clock_now_ns();

	for (int i = 0; i < ROUNDS; i++)
		work(n);
	return (double)(clock_now_ns() - before) / 1e9;
}

/* Rate of a over rate of b. */
static void compare(const char *name, void (*a)(uint32_t n), void (*b)(uint32_t n), uint32_t n,
	const char *goal)
{
	double ratio[PAIRS];
	char text[80];

	judge_init(&judge, 1, n);
	stamp_all(n);
	for (int i = 0; i < PAIRS; i++) {
		double ta = seconds_of(a, n), tb = seconds_of(b, n);

		ratio[i] = tb / ta;
	}
	snprintf(text, sizeof text, "%s, %u B blocks", name, n);
	ratios_print(text, ratio, PAIRS, goal);
}

static void fill_rate(uint32_t n)
{
	double rate[PAIRS];
	char text[80];

	judge_init(&judge, 1, n);
	for (int i = 0; i < PAIRS; i++)
		rate[i] = (double)ROUNDS * RING / seconds_of(fill, n) / 1e9;
	snprintf(text, sizeof text, "stream fill in GB/s, %u B blocks", n);
	ratios_print(text, rate, PAIRS, ">= 5");
}

/* ---- verify against a bare loop ---- */

/* The same bytes that verify writes, made beforehand: storage may well treat other bytes otherwise. */
static uint8_t *all_bytes;
static const uint64_t rest_ns = 100000000; /* of the disk, before either side */

static int move_all(int fd, bool write, uint64_t bytes)
{
	for (uint64_t at = 0; at < bytes; at += REQUEST) {
		ssize_t n = write ? pwrite(fd, all_bytes + at, REQUEST, (off_t)at)
				  : pread(fd, ring, REQUEST, (off_t)at);

		if (n != REQUEST)
			return -1;
	}
	return write ? fsync(fd) : 0;
}

static void make_all_bytes(uint64_t bytes, uint64_t seed)
{
	struct stamp stamp;

	stamp_init(&stamp, seed, 512);
	stamp_fill_range(&stamp, all_bytes, bytes, 0, 1);
}

static double bare_seconds(const char *path, uint64_t bytes, uint64_t seed)
{
	make_all_bytes(bytes, seed);
	clock_sleep_ns(rest_ns);
	uint64_t before = clock_now_ns();
	int fd = open(path, O_RDWR | O_DIRECT | O_CLOEXEC);

	if (fd < 0 || move_all(fd, true, bytes) < 0 || move_all(fd, false, bytes) < 0)
		exit(3);
	close(fd);
	return (double)(clock_now_ns() - before) / 1e9;
}

static double verify_seconds(const char *path, uint64_t bytes, uint64_t seed)
{
	struct error err = { 0 };
	struct verify_plan p = { .region_bytes = bytes,
		.block_bytes = 512,
		.seed = seed,
		.sizes = { REQUEST },
		.size_count = 1,
		.order_count = 1,
		.rewrites = 1,
		.write = true,
		.read = true,
		.ranges = 16 };
	struct verify_hooks hooks = { 0 };
	struct verify_result r;
	struct medium *m;
	uint64_t before;

	clock_sleep_ns(rest_ns);
	before = clock_now_ns();
	if (medium_open(&m, path, MEDIUM_READ_WRITE, &err) < 0 ||
		verify_result_init(&r, &p, &err) < 0 || verify_run(&m, &p, &hooks, &r, &err) < 0 ||
		damage_totals_damaged(&r.damage.totals)) {
		fprintf(stderr, "verify failed: %s\n", err.text);
		exit(3);
	}
	medium_close(m);
	damage_release(&r.damage);
	return (double)(clock_now_ns() - before) / 1e9;
}

static void compare_files(const char *path)
{
	double ratio[FILE_PAIRS];
	struct stat st;

	if (stat(path, &st) < 0)
		exit(3);
	all_bytes = buffer_new((size_t)st.st_size, 4096);
	if (!all_bytes)
		exit(3);
	bare_seconds(path, (uint64_t)st.st_size, 1);
	for (int i = 0; i < FILE_PAIRS; i++) {
		uint64_t seed = 2 * (uint64_t)i + 2; /* new bytes each time */
		double bare = 0, verify;

		/* In turn which goes first. */
		if (i % 2)
			bare = bare_seconds(path, (uint64_t)st.st_size, seed);
		verify = verify_seconds(path, (uint64_t)st.st_size, seed + 1);
		if (!(i % 2))
			bare = bare_seconds(path, (uint64_t)st.st_size, seed);
		ratio[i] = bare / verify;
	}
	ratios_print("verify / bare write and read, 64 KiB", ratio, FILE_PAIRS, ">= 0.95");
	free(all_bytes);
}

int main(int argc, char **argv)
{
	ring = buffer_new(RING, 4096);
	copy = buffer_new(RING, 4096);
	if (argc != 2 || !ring || !copy)
		return 2;
	for (uint32_t n = 512; n <= 4096; n *= 8) {
		fill_rate(n);
		compare("stream fill / memset", fill, set_all, n, "-");
		compare("stamp (with CRC) / memcpy", stamp_all, copy_all, n, "-");
		compare("judge right blocks / crc32", judge_all, crc_all, n, ">= 0.9");
	}
	compare_files(argv[1]);
	free(ring);
	free(copy);
	return 0;
}
