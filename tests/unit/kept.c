/* integrity/kept: saving, checking, putting back, with every call failing in turn, with reads that lie, and over targets
 * that hold something else by now. */
#include "integrity/kept.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <unistd.h>
#include <zlib.h>

#include "base/error.h"
#include "base/imprint.h"
#include "base/random.h"
#include "base/watch.h"
#include "integrity/kept_header.h"
#include "integrity/kept_layout.h"
#include "integrity/stamp.h"
#include "measure/payload.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"

enum { TARGET_BYTES = 4 << 20, START = 4096, BYTES = (2 << 20) + 1536 };

static char folder[64], path[96];
static struct ram_medium *ram;
static uint8_t original[TARGET_BYTES];
static struct kept_identity id;
static struct error err;
static uint64_t own_bytes;

enum { SEED = 77 }; /* of the run's stamps */

/* Five chunks: one block, a chunk and two blocks, a whole chunk, and the last block of the target. */
static const struct kept_extent apart[] = { { 512, 512 }, { 1 << 20, (1 << 20) + 1024 },
	{ (1 << 20) + (1 << 20) + 1024, 1 << 20 }, { TARGET_BYTES - 512, 512 } };
enum { APART = sizeof apart / sizeof *apart, APART_BYTES = (2 << 20) + 2048, APART_CHUNKS = 5 };

static void setup(void)
{
	/* In memory where that can be had: hundreds of syncs to a disk would take minutes. */
	snprintf(folder, sizeof folder, "%s/blkassay-kept-XXXXXX",
		access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp");
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(path, sizeof path, "%s/saved", folder);
	ram = ram_medium_new(TARGET_BYTES, 512, true);
	for (size_t i = 0; i < TARGET_BYTES; i++)
		original[i] = (uint8_t)random_at(7, i + 1);
	memcpy(ram->bytes, original, TARGET_BYTES);
	id = (struct kept_identity){ .token = "A0031-4194304",
		.place = "/srv/odd %41\nname = \x7f.img",
		.size_bytes = TARGET_BYTES,
		.logical_block_bytes = 512,
		.start = START,
		.bytes = BYTES,
		.run = "20261125T021500Z-1f3a9c07",
		.kind = "verify",
		.seed = SEED };
	err = (struct error){ 0 };
}

static void setup_apart(void)
{
	setup();
	id.start = apart[0].start;
	id.bytes = APART_BYTES;
	id.extents = apart;
	id.extent_count = APART;
}

static void teardown(void)
{
	unlink(path);
	rmdir(folder);
	if (ram)
		medium_close(&ram->medium);
}

static bool file_exists(void)
{
	return access(path, F_OK) == 0;
}

/* Every failure of a kept_save leaves nothing open. */
static int try_save(struct medium *m, const struct watch *watch)
{
	struct kept *k = NULL;
	int rc = kept_save(&k, path, &id, m, &own_bytes, watch, &err);

	ck_assert_int_eq(rc == 0, k != NULL);
	kept_close(k);
	return rc;
}

static void save(void)
{
	ck_assert_msg(try_save(&ram->medium, NULL) == 0, "%s", err.text);
}

static int restore_over(struct medium *m, enum kept_over over, struct kept_result *result,
	const struct watch *watch)
{
	struct kept *k;
	int rc;

	ck_assert_msg(kept_open(&k, path, &err) == 0, "%s", err.text);
	rc = kept_verify(k, NULL, &err);
	if (!rc)
		rc = kept_restore(k, m, over, result, watch, &err);
	kept_close(k);
	return rc;
}

static int restore(struct medium *m, struct kept_result *result, const struct watch *watch)
{
	return restore_over(m, KEPT_OVER_RUN, result, watch);
}

/* Stamps of a run, as `verify` writes them. */
static void stamp(uint64_t seed, uint64_t at, uint64_t bytes)
{
	struct stamp st;

	stamp_init(&st, seed, 512);
	stamp_fill_range(&st, ram->bytes + at, (size_t)bytes, at, 1);
}

static void scribble(void)
{
	if (!id.extents)
		stamp(SEED, START, BYTES);
	for (size_t i = 0; i < id.extent_count; i++)
		stamp(SEED, id.extents[i].start, id.extents[i].bytes);
}

START_TEST(there_and_back)
{
	struct kept_result r;
	struct kept *k;
	struct stat st;

	save();
	ck_assert_uint_eq(ram->writes, 0);
	ck_assert_int_eq(stat(path, &st), 0);
	ck_assert_uint_eq((uint64_t)st.st_size, kept_file_bytes(&id));
	ck_assert_uint_eq(st.st_mode & 0777, 0600);
	ck_assert_int_eq(kept_open(&k, path, &err), 0);
	ck_assert_str_eq(kept_identity(k)->token, id.token);
	ck_assert_str_eq(kept_identity(k)->place, id.place);
	ck_assert_uint_eq(kept_identity(k)->bytes, BYTES);
	kept_close(k);

	scribble();
	ram->bytes[0] = 1; /* outside the region: none of its business */
	ram->bytes[START + BYTES] ^= 0xFF;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes + START, original + START, BYTES);
	ck_assert_uint_eq(ram->bytes[0], 1);
	ck_assert_uint_eq(ram->bytes[START + BYTES], original[START + BYTES] ^ 0xFF);
	ck_assert_uint_eq(r.bytes, BYTES);
	ck_assert_uint_eq(r.written_bytes, BYTES);
	ck_assert_uint_ge(ram->flushes, 1);

	/* Again: nothing to write. One block wrong: one chunk. */
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 0);
	stamp(SEED, START + BYTES - 512, 512);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 1536);
	ck_assert_mem_eq(ram->bytes + START, original + START, BYTES);
}
END_TEST

/* Only the places are saved and put back: what changed between them stays as it is. */
START_TEST(places_there_and_back)
{
	struct kept_result r;
	struct kept *k;
	struct stat st;
	uint8_t *expected = malloc(TARGET_BYTES);

	save();
	ck_assert_uint_eq(ram->writes, 0);
	ck_assert_int_eq(stat(path, &st), 0);
	/* header, table, heads of chunks and end mark of 16 bytes each, the data */
	ck_assert_uint_eq((uint64_t)st.st_size, 4096 + 4 * 16 + 5 * 16 + APART_BYTES + 16);
	ck_assert_uint_eq((uint64_t)st.st_size, kept_file_bytes(&id));
	ck_assert_int_eq(kept_open(&k, path, &err), 0);
	ck_assert_uint_eq(kept_identity(k)->extent_count, APART);
	ck_assert_mem_eq(kept_identity(k)->extents, apart, sizeof apart);
	kept_close(k);

	memset(ram->bytes, 0x5A, TARGET_BYTES);
	memset(expected, 0x5A, TARGET_BYTES);
	scribble();
	for (size_t i = 0; i < APART; i++)
		memcpy(expected + apart[i].start, original + apart[i].start,
			(size_t)apart[i].bytes);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes, expected, TARGET_BYTES);
	ck_assert_uint_eq(r.bytes, APART_BYTES);
	ck_assert_uint_eq(r.written_bytes, APART_BYTES);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 0);
	stamp(SEED, TARGET_BYTES - 512, 512);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 512);
	ck_assert_mem_eq(ram->bytes, expected, TARGET_BYTES);
	free(expected);
}
END_TEST

/* Places beyond a false capacity reach the storage of places below: all were saved before any was written, so all of
 * it comes back whatever was written in between. */
START_TEST(places_of_a_false_capacity_come_back)
{
	struct kept_result r;
	uint8_t *before = malloc(TARGET_BYTES);

	ram->wrap_bytes = (1 << 20) + 4096; /* the places overlap each other, none exactly */
	memcpy(before, ram->bytes, (size_t)ram->wrap_bytes);
	save();
	struct stamp st;
	stamp_init(&st, SEED, 512);
	for (size_t i = 0; i < APART; i++)
		for (size_t b = 0; b < apart[i].bytes; b += 512)
			stamp_fill(&st, ram->bytes + (apart[i].start + b) % ram->wrap_bytes,
				apart[i].start + b, 1);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes, before, (size_t)ram->wrap_bytes);
	free(before);
}
END_TEST

START_TEST(never_over_a_file)
{
	save();
	ck_assert_int_eq(try_save(&ram->medium, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	ck_assert(file_exists());
}
END_TEST

/* A device that acknowledges and forgets is caught by reading back. */
START_TEST(lost_write_is_seen)
{
	struct kept_result r;

	save();
	scribble();
	ram->lost_from = START + 1048576;
	ram->lost_to = START + 1048576 + 512;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_ptr_nonnull(strstr(err.text, "at byte 1052672")); /* 4096 + 1048576 */
	ram->lost_from = ram->lost_to = 0;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes + START, original + START, BYTES);
}
END_TEST

static const int errors[] = { EIO, ENOSPC, ENODEV, EINTR, EAGAIN, 0 };

/* What saving promises: on any failure no file and nothing written; on success a whole file. */
START_TEST(every_failure_of_saving)
{
	struct failing_plan plan = { .calls = FAILING_ANY,
		.sys_errno = errors[_i / 2],
		.short_bytes = 512,
		.lasts = _i % 2 ? FAIL_LASTING : FAIL_ONCE };

	for (plan.nth = 1;; plan.nth++) {
		struct medium *m = medium_failing(&ram->medium, &plan);
		int rc = try_save(m, NULL);
		bool hit = medium_failing_hit(m);

		ck_assert_uint_eq(ram->writes, 0);
		ck_assert_int_eq(rc == 0, file_exists());
		ck_assert(rc == 0 || (err.kind == ERROR_IO && *err.text));
		if (rc == 0) {
			struct kept_result r;

			scribble();
			ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
			ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
			ram->writes = 0;
			unlink(path);
		}
		medium_close(m); /* and ram with it */
		ram = ram_medium_new(TARGET_BYTES, 512, true);
		memcpy(ram->bytes, original, TARGET_BYTES);
		/* These pass by themselves; a short transfer goes on. */
		if (hit && plan.lasts == FAIL_ONCE &&
			(plan.sys_errno == EINTR || plan.sys_errno == EAGAIN || !plan.sys_errno))
			ck_assert_int_eq(rc, 0);
		if (!hit) {
			ck_assert_int_eq(rc, 0);
			ck_assert_uint_gt(
				plan.nth, id.extents ? APART_CHUNKS : 3); /* reads of chunks */
			break;
		}
	}
}
END_TEST

/* What restoring promises: success only when all is as before, and after any failure it can be repeated. */
START_TEST(every_failure_of_restoring)
{
	struct failing_plan plan = { .calls = FAILING_ANY,
		.sys_errno = errors[_i / 2],
		.short_bytes = 1024,
		.lasts = _i % 2 ? FAIL_LASTING : FAIL_ONCE };
	struct kept_result r;

	save();
	for (plan.nth = 1;; plan.nth++) {
		struct medium *m = medium_failing(&ram->medium, &plan);
		bool hit;
		int rc;

		scribble();
		rc = restore(m, &r, NULL);
		hit = medium_failing_hit(m);
		ck_assert_msg(rc < 0 || !memcmp(ram->bytes, original, TARGET_BYTES),
			"success without the data, call %llu", (unsigned long long)plan.nth);
		/* A few blocks that cannot be read are listed, and refused. */
		ck_assert(rc == 0 ||
			  (*err.text && (err.kind == ERROR_IO || (err.kind == ERROR_REFUSED &&
									 plan.sys_errno == EIO))));
		ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
		ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
		medium_close(m);
		ram = ram_medium_new(TARGET_BYTES, 512, true);
		memcpy(ram->bytes, original, TARGET_BYTES);
		if (!hit) {
			ck_assert_int_eq(rc, 0);
			/* 3 reads, 3 reads twice where they differ, 3 writes, flush, 3 reads */
			ck_assert_uint_gt(plan.nth, 13);
			break;
		}
	}
}
END_TEST

static bool stop_at(void *context)
{
	return (*(int *)context)-- == 0;
}

START_TEST(interrupted_anywhere)
{
	struct kept_result r;
	int after = 0, left, rc;

	do {
		left = after++;
		struct watch watch = { .context = &left, .stop = stop_at };
		rc = try_save(&ram->medium, &watch);
		ck_assert_int_eq(rc == 0, file_exists());
		ck_assert(rc == 0 || err.kind == ERROR_INTERRUPTED);
	} while (rc < 0);
	ck_assert_int_gt(after, 3);
	ck_assert_uint_eq(ram->writes, 0);
	after = 0;
	scribble();
	do {
		left = after++;
		struct watch watch = { .context = &left, .stop = stop_at };
		rc = restore(&ram->medium, &r, &watch);
		ck_assert(rc == 0 || err.kind == ERROR_INTERRUPTED);
	} while (rc < 0);
	/* before each of the chunks, three times; then through */
	ck_assert_int_eq(after, 3 * (id.extents ? APART_CHUNKS : 3) + 1);
	ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
}
END_TEST

static void write_file(const uint8_t *bytes, size_t length)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_TRUNC, 0600);

	ck_assert_int_ge(fd, 0);
	ck_assert_int_eq(write(fd, bytes, length), (ssize_t)length);
	close(fd);
}

static int open_and_verify(void)
{
	struct kept *k;
	int rc = kept_open(&k, path, &err);

	if (!rc)
		rc = kept_verify(k, NULL, &err);
	kept_close(k);
	return rc;
}

/* A small file, every byte of it damaged in turn, and cut at every length: never taken for whole. */
static void damage_and_cut(uint8_t *bytes, size_t size)
{
	int fd = open(path, O_RDONLY);

	ck_assert_int_eq(read(fd, bytes, size), (ssize_t)size);
	close(fd);
	ck_assert_int_eq(open_and_verify(), 0);
	for (size_t i = 0; i < size; i++) {
		bytes[i] ^= (uint8_t)(1 << i % 8);
		write_file(bytes, size);
		err.text[0] = 0;
		ck_assert_msg(open_and_verify() == -1, "damage of byte %zu is not seen", i);
		ck_assert(*err.text);
		bytes[i] ^= (uint8_t)(1 << i % 8);
	}
	for (size_t n = 0; n < size; n++) {
		write_file(bytes, n);
		ck_assert_msg(open_and_verify() == -1, "a cut at %zu is not seen", n);
	}
	write_file(bytes, size);
	ck_assert_int_eq(open_and_verify(), 0);
}

START_TEST(any_damage_is_seen)
{
	static uint8_t bytes[KEPT_HEADER_BYTES + 1024 + 2 * KEPT_HEAD_BYTES];

	id.bytes = 1024;
	save();
	damage_and_cut(bytes, sizeof bytes);
}
END_TEST

START_TEST(any_damage_with_places_is_seen)
{
	static const struct kept_extent two[] = { { 512, 512 }, { 4096, 1024 } };
	static uint8_t bytes[KEPT_HEADER_BYTES + 2 * 16 + 1536 + 3 * KEPT_HEAD_BYTES];

	id.extents = two;
	id.extent_count = 2;
	id.bytes = 1536;
	save();
	damage_and_cut(bytes, sizeof bytes);
}
END_TEST

/* Each chunk whole, but two of them in each other's place. */
START_TEST(swapped_chunks_are_seen)
{
	enum { ONE = KEPT_HEAD_BYTES + KEPT_CHUNK_BYTES };
	static uint8_t bytes[2 * ONE];
	int fd;

	save();
	fd = open(path, O_RDWR);
	ck_assert_int_eq(pread(fd, bytes, 2 * ONE, KEPT_HEADER_BYTES), 2 * ONE);
	ck_assert_int_eq(pwrite(fd, bytes + ONE, ONE, KEPT_HEADER_BYTES), ONE);
	ck_assert_int_eq(pwrite(fd, bytes, ONE, KEPT_HEADER_BYTES + ONE), ONE);
	close(fd);
	ck_assert_int_eq(open_and_verify(), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "chunk 1 of 3"));
}
END_TEST

/* A header whose CRC32 holds, but which makes no sense. */
START_TEST(senseless_headers)
{
	unsigned char bytes[KEPT_HEADER_BYTES];
	struct kept_identity good = id, out;
	struct kept_sums sums;

	kept_header_make(bytes, &good, 0);
	ck_assert_int_eq(kept_header_parse(&out, &sums, bytes), 0);
	struct kept_identity bad[] = { good, good, good, good, good, good, good, good };
	bad[0].bytes = 0;
	bad[1].bytes = 100;
	bad[2].start = 100;
	bad[3].bytes = TARGET_BYTES;
	bad[4].start = UINT64_MAX - 511;
	bad[5].logical_block_bytes = 0;
	bad[6].logical_block_bytes = 513;
	bad[7].token[0] = 0;
	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		kept_header_make(bytes, &bad[i], 0);
		ck_assert_int_eq(kept_header_parse(&out, &sums, bytes), -EUCLEAN);
	}
}
END_TEST

/* A table whose CRC32 holds, but which makes no sense: put back, it would write where nothing was saved. */
START_TEST(senseless_tables)
{
	static const struct kept_extent bad[][2] = {
		{ { 512, 512 }, { 512, 1024 } }, /* twice the same */
		{ { 4096, 1024 }, { 512, 512 } }, /* descending */
		{ { 512, 1024 }, { 1024, 512 } }, /* overlapping */
		{ { 512, 512 }, { TARGET_BYTES, 1024 } }, /* beyond the end */
		{ { 512, 512 }, { UINT64_MAX - 511, 1024 } }, /* so far beyond that it wraps */
		{ { 512, 512 }, { 4000, 1024 } }, /* between blocks */
		{ { 512, 1536 }, { 4096, 0 } }, /* empty */
		{ { 512, 512 }, { 4096, 512 } }, /* another sum */
		{ { 1024, 512 }, { 4096, 1024 } }, /* another start */
	};

	for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
		struct kept_extent out[2];
		unsigned char table[32];

		id.start = 512;
		id.bytes = 1536;
		id.extents = bad[i];
		id.extent_count = 2;
		kept_table_pack(table, &id);
		ck_assert_msg(kept_table_unpack(out, table, &id) == -EUCLEAN, "table %zu", i);
	}
}
END_TEST

/* ---- files made here from the manual page alone ---- */

static size_t put_sum(uint8_t *at, uint32_t sum)
{
	for (int i = 0; i < 4; i++)
		at[i] = (uint8_t)(sum >> (8 * i));
	return 4;
}

/* A chunk's head or an end mark; CRC32 is zlib's own. */
static size_t put_head(uint8_t *at, const char *magic, uLong sum, uint8_t number)
{
	memset(at, 0, 16);
	memcpy(at, magic, 4);
	put_sum(at + 4, (uint32_t)sum);
	at[8] = number;
	return 16;
}

static size_t put_chunk(uint8_t *at, uint8_t index, const uint8_t *data, uInt length)
{
	const uint8_t number[8] = { index };

	memcpy(at + 16, data, length);
	return put_head(at, "KDAT", crc32(crc32(0, number, 8), data, length), index) + length;
}

static size_t put_header(uint8_t *at, const char *text)
{
	memset(at, 0, 4096);
	memcpy(at, text, strlen(text));
	put_sum(at + 4092, (uint32_t)crc32(0, at, 4092));
	return 4096;
}

static size_t put_end(uint8_t *at, const uint8_t *header, uint8_t count)
{
	uint8_t sum[12] = { 0 };

	memcpy(sum, header + 4092, 4);
	sum[4] = count;
	return put_head(at, "KEND", crc32(0, sum, sizeof sum), count);
}

START_TEST(first_version_is_read)
{
	static uint8_t file[8192];
	struct kept_result r;
	size_t n = put_header(file, "blkassay-kept 1\ntoken=A0031-4194304\nplace=/srv/card.img\n"
				    "size=4194304\nblock=512\nstart=4096\nbytes=1536\n");

	n += put_chunk(file + n, 0, original + START, 1536);
	n += put_end(file + n, file, 1);
	write_file(file, n);
	scribble();
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.bytes, 1536);
	ck_assert_mem_eq(ram->bytes + START, original + START, 1536);
	ck_assert_mem_ne(ram->bytes + START + 1536, original + START + 1536, 512);
}
END_TEST

START_TEST(second_version_is_read)
{
	static uint8_t file[8192];
	const uint8_t table[32] = {
		[1] = 2, [9] = 2, [17] = 16, [25] = 4
	}; /* 512+512, 4096+1024 */
	char text[256];
	struct kept_result r;
	size_t n;

	snprintf(text, sizeof text,
		"blkassay-kept 2\ntoken=A0031-4194304\nplace=/srv/card.img\nsize=4194304\n"
		"block=512\nstart=512\nbytes=1536\nextents=2\ntable=%lu\n",
		crc32(0, table, sizeof table));
	n = put_header(file, text);
	memcpy(file + n, table, sizeof table);
	n += sizeof table;
	n += put_chunk(file + n, 0, original + 512, 512);
	n += put_chunk(file + n, 1, original + 4096, 1024);
	n += put_end(file + n, file, 2);
	write_file(file, n);
	memset(ram->bytes, 0xA5, TARGET_BYTES);
	stamp(123, 512, 512); /* such a file names no run: any will do */
	stamp(456, 4096, 1024);
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.bytes, 1536);
	ck_assert_mem_eq(ram->bytes + 512, original + 512, 512);
	ck_assert_mem_eq(ram->bytes + 4096, original + 4096, 1024);
	ck_assert_uint_eq(ram->bytes[1024], 0xA5);
}
END_TEST

static size_t put_third_chunk(uint8_t *at, const uint8_t *header, uint8_t index,
	const uint8_t *data, uInt length, uint8_t *sums)
{
	const uint8_t number[8] = { index };
	uLong sum = crc32(crc32(crc32(0, header + 4092, 4), number, 8), data, length);

	memcpy(at + 16, data, length);
	put_sum(sums + 4 * index, (uint32_t)sum);
	return put_head(at, "KDAT", sum, index) + length;
}

START_TEST(third_version_is_read)
{
	static uint8_t file[8192];
	uint8_t sums[8], covered[12] = { 0 };
	const uint8_t table[32] = { [1] = 2, [9] = 2, [17] = 16, [25] = 4 };
	char text[300];
	struct kept_result r;
	size_t n;

	snprintf(text, sizeof text,
		"blkassay-kept 3\ntoken=A0031-4194304\nplace=/srv/card.img\nsize=4194304\n"
		"block=512\nstart=512\nbytes=1536\nrun=20261125T021500Z-1f3a9c07\nkind=verify\n"
		"seed=77\nextents=2\ntable=%lu\n",
		crc32(0, table, sizeof table));
	n = put_header(file, text);
	memcpy(file + n, table, sizeof table);
	n += sizeof table;
	n += put_third_chunk(file + n, file, 0, original + 512, 512, sums);
	n += put_third_chunk(file + n, file, 1, original + 4096, 1024, sums);
	memcpy(covered, file + 4092, 4);
	covered[4] = 2;
	n += put_head(file + n, "KEND", crc32(crc32(0, covered, 12), sums, 8), 2);
	write_file(file, n);
	memset(ram->bytes, 0xA5, TARGET_BYTES);
	stamp(SEED, 512, 512);
	stamp(SEED, 4096, 1024);
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_mem_eq(ram->bytes + 512, original + 512, 512);
	ck_assert_mem_eq(ram->bytes + 4096, original + 4096, 1024);
	/* Of another run's data it is not. */
	stamp(123, 512, 512);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_REFUSED);
}
END_TEST

/* The same bytes, made by hand above, are what is saved. */
START_TEST(saved_as_the_third_version)
{
	uint8_t file[4096];
	int fd;

	save();
	fd = open(path, O_RDONLY);
	ck_assert_int_eq(read(fd, file, sizeof file), (ssize_t)sizeof file);
	close(fd);
	ck_assert_mem_eq(file, "blkassay-kept 3\n", 16);
	ck_assert_ptr_nonnull(strstr((char *)file, "\nrun=20261125T021500Z-1f3a9c07\n"));
	ck_assert_ptr_nonnull(strstr((char *)file, "\nseed=77\n"));
}
END_TEST

START_TEST(longest_names)
{
	unsigned char bytes[KEPT_HEADER_BYTES];
	struct kept_identity out;
	struct kept_sums sums;

	memset(id.token, '%', sizeof id.token - 1);
	memset(id.place, '\n', sizeof id.place - 1);
	memset(id.run, '%', sizeof id.run - 1);
	memset(id.kind, '%', sizeof id.kind - 1);
	id.seed = UINT64_MAX;
	kept_header_make(bytes, &id, 0);
	ck_assert_int_eq(kept_header_parse(&out, &sums, bytes), 0);
	ck_assert_str_eq(out.token, id.token);
	ck_assert_str_eq(out.place, id.place);
	ck_assert_str_eq(out.run, id.run);
	ck_assert_uint_eq(out.seed, id.seed);
}
END_TEST

/* ---- the second reading ---- */

/* A read that lies once, whichever of the two it is: it is seen, where is said, and nothing is kept. */
START_TEST(one_lying_read_is_caught)
{
	char where[40];

	ram->lie_at = START + 1048576 + 700;
	ram->lie_after = (uint64_t)_i;
	ram->lie_times = 1;
	ck_assert_int_eq(try_save(&ram->medium, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	snprintf(where, sizeof where, "the first at byte %u", START + 1048576 + 700);
	ck_assert_ptr_nonnull(strstr(err.text, where));
	ck_assert_ptr_nonnull(strstr(err.text, "second time"));
	ck_assert(!file_exists());
	ck_assert_uint_eq(ram->writes, 0);
	save(); /* it lied once */
}
END_TEST

/* A bit that always reads as set cannot be told from one that is: it was read twice alike, and reads alike again. */
START_TEST(what_always_lies_is_read_twice_alike)
{
	struct kept_result r;
	uint8_t *seen = malloc(BYTES);
	uint64_t at = START + 999;

	ram->bytes[at] &= (uint8_t)~4;
	memcpy(seen, ram->bytes + START, BYTES);
	seen[at - START] |= 4;
	ram->lie_at = at;
	ram->lie_stuck = 4;
	ram->lie_times = UINT64_MAX;
	save();
	scribble();
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ram->lie_times = 0;
	ck_assert_mem_eq(ram->bytes + START, seen, BYTES);
	free(seen);
}
END_TEST

/* One whose reads always flip it: what was saved cannot be read back, and that is said. */
START_TEST(what_always_flips_is_not_called_back)
{
	struct kept_result r;

	ram->lie_at = START + 999;
	ram->lie_times = UINT64_MAX;
	save();
	scribble();
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_DAMAGED, &r, NULL), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "did not take the kept data"));
	ck_assert_ptr_nonnull(strstr(err.text, "at byte 5095")); /* 4096 + 999 */
}
END_TEST

/* A target with enough beside what is kept: between the two readings of any byte come 8 MiB of others, and no request of
 * the first time comes again. The order is another one. */
START_TEST(second_reading_is_another)
{
	enum { LARGE = 24 << 20, FROM = 1 << 20, KEPT = (2 << 20) + 5 * 512 };
	uint64_t first = 0, second, between = 0;

	medium_close(&ram->medium);
	ram = ram_medium_new(LARGE, 512, true);
	id.size_bytes = LARGE;
	id.start = FROM;
	id.bytes = KEPT;
	save();
	ck_assert_uint_lt(ram->reads, RAM_LOG);
	ck_assert_uint_ge(ram->drops, 1);
	for (; ram->log[first].at >= FROM && ram->log[first].at < FROM + KEPT; first++)
		ck_assert(!first || ram->log[first].at > ram->log[first - 1].at);
	for (second = first; ram->log[second].at < FROM || ram->log[second].at >= FROM + KEPT;
		second++)
		between += ram->log[second].length;
	ck_assert_uint_ge(between, 8 << 20);
	for (uint64_t i = second; i < ram->reads; i++) {
		ck_assert(i == second || ram->log[i].at < ram->log[i - 1].at);
		for (uint64_t j = 0; j < first; j++)
			ck_assert(ram->log[i].at != ram->log[j].at ||
				  ram->log[i].length != ram->log[j].length);
	}
}
END_TEST

/* With nothing beside it the second reading goes the same way round, so that as much as possible comes in between. */
START_TEST(second_reading_of_all_there_is)
{
	enum { LARGE = 12 << 20 };
	uint64_t others = 0;

	medium_close(&ram->medium);
	ram = ram_medium_new(LARGE, 512, true);
	id.size_bytes = id.bytes = LARGE;
	id.start = 0;
	save();
	for (uint64_t i = 1; i < ram->reads; i++) {
		if (ram->log[i].at == 0)
			break;
		others += ram->log[i].length;
	}
	ck_assert_uint_ge(others, 8 << 20);
}
END_TEST

/* ---- syncs: what a crash of the machine leaves ---- */

static struct {
	bool watch;
	int count, fail_at; /* which sync fails; 0: none */
	bool whole,
		folder_after; /* the whole file was synced; then its folder, which held its name */
	uint64_t target_writes; /* at the last of them */
} syncs;

static bool is_whole(int fd)
{
	char magic[4];
	struct stat st;

	return fstat(fd, &st) == 0 && (uint64_t)st.st_size == kept_file_bytes(&id) &&
	       pread(fd, magic, 4, st.st_size - 16) == 4 && !memcmp(magic, "KEND", 4);
}

/* In place of the C library's, in this whole program; without syncs.watch it does the same. */
int fsync(int fd)
{
	struct stat st;

	if (syncs.watch && ++syncs.count == syncs.fail_at) {
		errno = EIO;
		return -1;
	}
	if (syncs.watch && fstat(fd, &st) == 0) {
		syncs.folder_after = S_ISDIR(st.st_mode) && syncs.whole && file_exists();
		syncs.whole |= S_ISREG(st.st_mode) && is_whole(fd);
		syncs.target_writes = ram->writes;
	}
	return (int)syscall(SYS_fsync, fd);
}

/* When kept_save returns, the whole file, its end mark with it, and then its name are on the disk. */
START_TEST(all_is_synced_when_saved)
{
	memset(&syncs, 0, sizeof syncs);
	syncs.watch = true;
	save();
	syncs.watch = false;
	ck_assert(syncs.whole);
	ck_assert(syncs.folder_after);
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

START_TEST(every_failing_sync_stops_the_saving)
{
	int all = 1;

	for (int nth = 1; nth <= all; nth++) {
		memset(&syncs, 0, sizeof syncs);
		syncs.watch = true;
		syncs.fail_at = nth;
		int rc = try_save(&ram->medium, NULL);
		syncs.watch = false;
		if (nth <= syncs.count) {
			ck_assert_msg(rc == -1, "sync %d failed unnoticed", nth);
			ck_assert_int_eq(err.kind, ERROR_IO);
			ck_assert(!file_exists());
			all = nth + 1;
		} else {
			ck_assert_int_eq(rc, 0);
			ck_assert_int_ge(syncs.count, 2); /* the file and its folder */
		}
	}
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

/* The flush after putting back: data that a device only says it has may be gone tomorrow. */
START_TEST(failing_flush_is_said)
{
	struct failing_plan plan = { .calls = FAILING_FLUSH, .nth = 1, .sys_errno = EIO };
	struct kept_result r;
	struct medium *m;

	save();
	scribble();
	m = medium_failing(&ram->medium, &plan);
	ck_assert_int_eq(restore(m, &r, NULL), -1);
	ck_assert(medium_failing_hit(m));
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_ptr_nonnull(strstr(err.text, "flush"));
	medium_close(m);
	ram = NULL;
}
END_TEST

/* ---- the name and the file ---- */

START_TEST(removed_only_where_it_is)
{
	struct kept *k;
	char moved[128];

	ck_assert_int_eq(kept_save(&k, path, &id, &ram->medium, &own_bytes, NULL, &err), 0);
	snprintf(moved, sizeof moved, "%s-moved", path);
	ck_assert_int_eq(rename(path, moved), 0);
	ck_assert_int_eq(kept_remove(k, &err), 1); /* nothing there */
	write_file((const uint8_t *)"mine", 4);
	ck_assert_int_eq(kept_remove(k, &err), 1); /* another file */
	ck_assert(file_exists());
	ck_assert_int_eq(access(moved, F_OK), 0);
	ck_assert_int_eq(rename(moved, path), 0);
	ck_assert_int_eq(kept_remove(k, &err), 0);
	ck_assert(!file_exists());
	kept_close(k);
}
END_TEST

/* The open file is what is put back, wherever its name went. */
START_TEST(put_back_without_its_name)
{
	struct kept_result r;
	struct kept *k;

	ck_assert_int_eq(kept_save(&k, path, &id, &ram->medium, &own_bytes, NULL, &err), 0);
	unlink(path);
	write_file((const uint8_t *)"something else", 14);
	scribble();
	ck_assert_msg(
		kept_restore(k, &ram->medium, KEPT_OVER_RUN, &r, NULL, &err) == 0, "%s", err.text);
	ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
	kept_close(k);
}
END_TEST

START_TEST(a_run_still_going_is_told)
{
	struct kept *saving, *found;

	ck_assert_int_eq(kept_save(&saving, path, &id, &ram->medium, &own_bytes, NULL, &err), 0);
	ck_assert_int_eq(kept_open(&found, path, &err), 0);
	ck_assert(kept_in_use(found));
	kept_close(found);
	kept_close(saving);
	ck_assert_int_eq(kept_open(&found, path, &err), 0);
	ck_assert(!kept_in_use(found));
	kept_close(found);
}
END_TEST

/* ---- two files joined ---- */

enum { ONE_CHUNK = KEPT_HEAD_BYTES + KEPT_CHUNK_BYTES };

static uint8_t *read_file(size_t *length)
{
	int fd = open(path, O_RDONLY);
	struct stat st;
	uint8_t *bytes;

	ck_assert_int_eq(fstat(fd, &st), 0);
	*length = (size_t)st.st_size;
	bytes = malloc(*length);
	ck_assert_int_eq(read(fd, bytes, *length), st.st_size);
	close(fd);
	unlink(path);
	return bytes;
}

/* Saves twice, the card's data having changed in between; the second file's chunk 1 goes into the first. */
static void join(const char *second_run)
{
	uint8_t *one, *two;
	size_t length;

	save();
	one = read_file(&length);
	for (size_t i = 0; i < BYTES; i++)
		ram->bytes[START + i] ^= 0x81;
	if (second_run)
		snprintf(id.run, sizeof id.run, "%s", second_run);
	save();
	two = read_file(&length);
	memcpy(one + KEPT_HEADER_BYTES + ONE_CHUNK, two + KEPT_HEADER_BYTES + ONE_CHUNK, ONE_CHUNK);
	write_file(one, length);
	free(one);
	free(two);
}

START_TEST(chunks_of_two_runs_are_seen)
{
	join("20261126T021500Z-00000001");
	ck_assert_int_eq(open_and_verify(), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "chunk 2 of 3"));
}
END_TEST

/* Each chunk holds by itself and fits the header: only the end mark can tell. */
START_TEST(chunks_of_one_run_joined_are_seen)
{
	struct kept_result r;
	struct kept *k;

	join(NULL);
	ck_assert_int_eq(open_and_verify(), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "end mark"));
	scribble();
	ck_assert_int_eq(kept_open(&k, path, &err), 0);
	ck_assert_int_eq(kept_restore(k, &ram->medium, KEPT_OVER_ALL, &r, NULL, &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "end mark"));
	kept_close(k);
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

/* ---- what is there by now ---- */

static void expect_refused(struct kept_result *r, uint64_t changed)
{
	uint8_t *now = malloc(TARGET_BYTES);
	uint64_t writes = ram->writes;
	char words[80];

	memcpy(now, ram->bytes, TARGET_BYTES);
	ck_assert_int_eq(restore(&ram->medium, r, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_REFUSED);
	snprintf(words, sizeof words, "%u of the %u blocks", (unsigned)changed,
		(unsigned)(BYTES / 512));
	ck_assert_msg(strstr(err.text, words) != NULL, "%s", err.text);
	ck_assert_uint_eq(ram->writes, writes);
	ck_assert_mem_eq(ram->bytes, now, TARGET_BYTES);
	ck_assert_uint_eq(kept_look_changed(&r->look), changed);
	ck_assert_uint_eq(kept_look_all(&r->look), BYTES / 512);
	free(now);
}

static void expect_range(
	const struct kept_result *r, size_t i, uint64_t at, uint64_t bytes, enum kept_there there)
{
	ck_assert_uint_lt(i, r->look.range_count);
	ck_assert_uint_eq(r->look.ranges[i].at, at);
	ck_assert_uint_eq(r->look.ranges[i].bytes, bytes);
	ck_assert_int_eq(r->look.ranges[i].there, there);
}

/* What came later is counted, listed, and left alone, until it is said that it may go. */
START_TEST(later_data_is_not_overwritten)
{
	struct kept_result r;

	save();
	scribble();
	memset(ram->bytes + START + 1024, 'x', 700); /* a blank block, and most of the next */
	memcpy(ram->bytes + START + 8192, original + START + 8192, 1024);
	ram->bytes[START + 8192 + 100] ^= 1; /* one bit of what was saved: somebody changed it */
	stamp(1234, START + 1048576, 1024);
	expect_refused(&r, 5);
	ck_assert_ptr_nonnull(strstr(err.text, "the first at byte 5120")); /* 4096 + 1024 */
	ck_assert_uint_eq(r.look.ranges_all, 4);
	expect_range(&r, 0, START + 1024, 512, KEPT_BLANK);
	expect_range(&r, 1, START + 1536, 512, KEPT_SPOILT);
	expect_range(&r, 2, START + 8192, 512, KEPT_OTHER);
	expect_range(&r, 3, START + 1048576, 1024, KEPT_OTHER_RUN);
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_ALL, &r, NULL), 0);
	ck_assert_uint_eq(kept_look_changed(&r.look), 5);
	ck_assert_mem_eq(ram->bytes + START, original + START, BYTES);
}
END_TEST

/* Any one byte of a stamp changed makes it something else for `restore`; the run itself, which had the target to itself,
 * takes it for its own, damaged. */
START_TEST(any_changed_byte_is_seen)
{
	struct kept_result r;

	save();
	for (unsigned i = 0; i<512; i += i> 40 && i < 500 ? 37 : 1) {
		scribble();
		ram->bytes[START + 512 + i] ^= 0x20;
		expect_refused(&r, 1);
		expect_range(&r, 0, START + 512, 512, KEPT_SPOILT);
		ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_DAMAGED, &r, NULL), 0);
		ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
	}
}
END_TEST

/* Another card of the same size: full of other data, or new. */
START_TEST(another_card_is_not_overwritten)
{
	struct kept_result r;

	save();
	for (size_t i = 0; i < TARGET_BYTES; i++)
		ram->bytes[i] = (uint8_t)random_at(8, i + 1);
	expect_refused(&r, BYTES / 512);
	ck_assert_uint_eq(r.look.blocks[KEPT_OTHER], BYTES / 512);
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_DAMAGED, &r, NULL), -1);
	memset(ram->bytes, 0, TARGET_BYTES);
	expect_refused(&r, BYTES / 512);
	ck_assert_uint_eq(r.look.range_count, 1);
	expect_range(&r, 0, START, BYTES, KEPT_BLANK);
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_DAMAGED, &r, NULL), -1);
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

/* More stretches than are listed: those listed are the first ones, the others are counted. */
START_TEST(many_changes_are_counted)
{
	struct kept_result r;

	save();
	for (uint64_t i = 0; i < 40; i++)
		ram->bytes[START + i * 2048] ^= 1;
	expect_refused(&r, 40);
	ck_assert_uint_eq(r.look.range_count, KEPT_RANGES_MAX);
	ck_assert_uint_eq(r.look.ranges_all, 40);
	expect_range(&r, 15, START + 15 * 2048, 512, KEPT_OTHER);
}
END_TEST

/* The data of timed writes: this run's is its own wherever it lies, of another run or changed it is not. */
START_TEST(timed_data_is_known_by_its_run)
{
	struct kept_result r;
	uint8_t *payload = ram->bytes + START;
	uint64_t serial;

	save();
	payload_fill(payload, BYTES, 99);
	imprint_put(payload, BYTES, SEED);
	serial = payload_renew(payload, BYTES / 512 / 2 * 512, 0);
	payload_renew(payload + BYTES / 512 / 2 * 512, 65536, serial + (UINT64_C(63) << 48));
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.look.blocks[KEPT_RUN], BYTES / 512);
	payload_fill(payload, BYTES, 99);
	imprint_put(payload, BYTES, SEED);
	for (unsigned i = 0; i < 512; i++)
		payload[i * 512 + i] ^= 0x20; /* each byte of a sector in turn */
	expect_refused(&r, 512);
	ck_assert_uint_eq(r.look.blocks[KEPT_RUN], BYTES / 512 - 512);
	imprint_put(payload, BYTES, SEED + 1);
	expect_refused(&r, BYTES / 512);
	ck_assert_uint_gt(r.look.blocks[KEPT_OTHER_RUN], BYTES / 512 - 513);
}
END_TEST

/* Blocks of 4096 bytes, torn between what was saved and what the run wrote: still its own. */
START_TEST(torn_blocks_are_the_runs_own)
{
	struct kept_result r;
	struct stamp st;

	id.logical_block_bytes = 4096;
	id.start = 8192;
	id.bytes = 65536;
	save();
	stamp_init(&st, SEED, 4096);
	for (uint64_t i = 0; i < 16; i++)
		stamp_fill(&st, ram->bytes + id.start + i * 4096, 1 << 20 | i * 4096, 7);
	for (uint64_t i = 0; i < 16;
		i++) /* each sector of a block once missing, once alone there */
		memcpy(ram->bytes + id.start + i * 4096 + (i < 8 ? i * 512 : 0),
			original + id.start + i * 4096 + (i < 8 ? i * 512 : 0),
			i < 8 ? 512 : (size_t)(i - 8) * 512);
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.look.blocks[KEPT_RUN], 16);
	ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
	/* A whole one whose CRC alone is wrong is not. */
	stamp_fill(&st, ram->bytes + id.start, id.start, 1);
	ram->bytes[id.start + 4095] ^= 1;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), -1);
	ck_assert_uint_eq(kept_look_changed(&r.look), 1);
}
END_TEST

/* What cannot be read may be anything: it is listed, and written when that is asked for, which often mends it. */
START_TEST(unreadable_blocks_are_listed)
{
	struct kept_result r;

	save();
	scribble();
	ram->bad_from = START + 4096;
	ram->bad_to = ram->bad_from + 1024;
	ram->bad_heals = true;
	expect_refused(&r, 2);
	expect_range(&r, 0, START + 4096, 1024, KEPT_UNREADABLE);
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_DAMAGED, &r, NULL), -1);
	ck_assert_int_eq(restore_over(&ram->medium, KEPT_OVER_ALL, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
}
END_TEST

/* Many in a row, or a target that says it is gone: no word about blocks. */
START_TEST(gone_is_not_changed)
{
	struct kept_result r;

	save();
	scribble();
	ram->bad_from = START + 4096;
	ram->bad_to = TARGET_BYTES;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_ptr_nonnull(strstr(err.text, "cannot read"));
	ram->bad_errno = ENODEV;
	ram->bad_to = START + 4096 + 512;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

/* One read that lies while looking is no change. */
START_TEST(one_lying_read_is_no_change)
{
	struct kept_result r;

	save();
	ram->lie_at = START + 700;
	ram->lie_times = 1;
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.written_bytes, 0);
}
END_TEST

/* What changes between the look and the write is not written over either. */
static void change_later(void *context, const struct watch_step *step)
{
	(void)context;
	if (!strcmp(step->phase, "putting data back") && step->done == KEPT_CHUNK_BYTES)
		memset(ram->bytes + START + KEPT_CHUNK_BYTES, 0x11, 512);
}

START_TEST(change_while_putting_back_is_seen)
{
	struct watch watch = { .step = change_later };
	struct kept_result r;

	save();
	scribble();
	ck_assert_int_eq(restore(&ram->medium, &r, &watch), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_ptr_nonnull(strstr(err.text, "changed while"));
	ck_assert_uint_eq(ram->bytes[START + KEPT_CHUNK_BYTES], 0x11);
	ck_assert_mem_eq(ram->bytes + START, original + START, KEPT_CHUNK_BYTES);
}
END_TEST

/* Another medium in its place, at any moment of saving and putting back: said, and nothing more is written to it; of one
 * swapped while it was saved no file is left. */
START_TEST(a_swapped_medium_gets_nothing)
{
	struct kept_result r;
	int rc = -1;

	for (uint64_t n = 1; rc; n++) {
		ram->swap_after = ram->reads + ram->writes + ram->flushes + n;
		rc = try_save(&ram->medium, NULL);
		ck_assert_uint_eq(ram->writes, 0);
		ck_assert(rc == 0 || (err.kind == ERROR_IO && *err.text && !file_exists()));
		medium_close(&ram->medium); /* once lost it stays lost */
		ram = ram_medium_new(TARGET_BYTES, 512, true);
		memcpy(ram->bytes, original, TARGET_BYTES);
	}
	rc = -1;
	for (uint64_t n = 1; rc; n++) {
		uint64_t calls = ram->reads + ram->writes + ram->flushes;

		scribble();
		ram->swap_after = calls + n;
		rc = restore(&ram->medium, &r, NULL);
		ck_assert(rc == 0 || err.kind == ERROR_IO);
		ck_assert(rc == 0 || ram->reads + ram->writes + ram->flushes <= calls + n + 1);
		ck_assert(rc < 0 || n > 12);
		medium_close(&ram->medium);
		ram = ram_medium_new(TARGET_BYTES, 512, true);
		memcpy(ram->bytes, original, TARGET_BYTES);
	}
}
END_TEST

/* ---- a few blocks looked at ---- */

START_TEST(samples_tell_whose_data_is_there)
{
	struct kept_look look;
	struct kept_own own;
	struct kept *k;

	ck_assert_int_eq(kept_sample_own(&id, &ram->medium, &own), 0);
	ck_assert_uint_gt(own.looked, 8);
	ck_assert_uint_eq(own.own, 0);
	save();
	ck_assert_uint_eq(own_bytes, 0);
	ck_assert_int_eq(kept_open(&k, path, &err), 0);
	ck_assert_int_eq(kept_sample(k, &ram->medium, &look), 0);
	ck_assert_uint_eq(look.blocks[KEPT_SAVED], kept_look_all(&look));
	scribble();
	ck_assert_int_eq(kept_sample(k, &ram->medium, &look), 0);
	ck_assert_uint_eq(look.blocks[KEPT_RUN], kept_look_all(&look));
	kept_close(k);
	unlink(path);
	ck_assert_int_eq(kept_sample_own(&id, &ram->medium, &own), 0);
	ck_assert_uint_eq(own.own, own.looked);
	ck_assert(own.trace.stamped);
	ck_assert_uint_eq(own.trace.seed, SEED);
	save();
	ck_assert_uint_eq(own_bytes, id.bytes);
	ck_assert_uint_eq(ram->writes, 0);
}
END_TEST

Suite *kept_suite(void)
{
	Suite *s = suite_create("kept");
	TCase *t = tcase_create("kept");

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, there_and_back);
	tcase_add_test(t, never_over_a_file);
	tcase_add_test(t, lost_write_is_seen);
	tcase_add_loop_test(t, every_failure_of_saving, 0, 12);
	tcase_add_loop_test(t, every_failure_of_restoring, 0, 12);
	tcase_add_test(t, interrupted_anywhere);
	tcase_add_test(t, any_damage_is_seen);
	tcase_add_test(t, swapped_chunks_are_seen);
	tcase_add_test(t, senseless_headers);
	tcase_add_test(t, longest_names);
	tcase_add_test(t, first_version_is_read);
	tcase_add_test(t, saved_as_the_third_version);
	tcase_add_loop_test(t, one_lying_read_is_caught, 0, 2);
	tcase_add_test(t, what_always_lies_is_read_twice_alike);
	tcase_add_test(t, what_always_flips_is_not_called_back);
	tcase_add_test(t, second_reading_is_another);
	tcase_add_test(t, second_reading_of_all_there_is);
	tcase_add_test(t, all_is_synced_when_saved);
	tcase_add_test(t, every_failing_sync_stops_the_saving);
	tcase_add_test(t, failing_flush_is_said);
	tcase_add_test(t, removed_only_where_it_is);
	tcase_add_test(t, put_back_without_its_name);
	tcase_add_test(t, a_run_still_going_is_told);
	tcase_add_test(t, chunks_of_two_runs_are_seen);
	tcase_add_test(t, chunks_of_one_run_joined_are_seen);
	suite_add_tcase(s, t);
	t = tcase_create("there");
	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, later_data_is_not_overwritten);
	tcase_add_test(t, any_changed_byte_is_seen);
	tcase_add_test(t, another_card_is_not_overwritten);
	tcase_add_test(t, many_changes_are_counted);
	tcase_add_test(t, timed_data_is_known_by_its_run);
	tcase_add_test(t, torn_blocks_are_the_runs_own);
	tcase_add_test(t, unreadable_blocks_are_listed);
	tcase_add_test(t, gone_is_not_changed);
	tcase_add_test(t, one_lying_read_is_no_change);
	tcase_add_test(t, change_while_putting_back_is_seen);
	tcase_add_test(t, a_swapped_medium_gets_nothing);
	tcase_add_test(t, samples_tell_whose_data_is_there);
	suite_add_tcase(s, t);
	t = tcase_create("places");
	tcase_add_checked_fixture(t, setup_apart, teardown);
	tcase_add_test(t, places_there_and_back);
	tcase_add_test(t, places_of_a_false_capacity_come_back);
	tcase_add_loop_test(t, every_failure_of_saving, 0, 12);
	tcase_add_loop_test(t, every_failure_of_restoring, 0, 12);
	tcase_add_test(t, interrupted_anywhere);
	tcase_add_test(t, any_damage_with_places_is_seen);
	tcase_add_test(t, senseless_tables);
	tcase_add_test(t, second_version_is_read);
	tcase_add_test(t, third_version_is_read);
	tcase_add_test(t, samples_tell_whose_data_is_there);
	tcase_add_test(t, all_is_synced_when_saved);
	suite_add_tcase(s, t);
	return s;
}
