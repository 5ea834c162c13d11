/* integrity/kept: saving, checking, putting back, with every call failing in turn. */
#include "integrity/kept.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>
#include <zlib.h>

#include "base/error.h"
#include "base/random.h"
#include "base/watch.h"
#include "integrity/kept_header.h"
#include "integrity/kept_layout.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"

enum { TARGET_BYTES = 4 << 20, START = 4096, BYTES = (2 << 20) + 1536 };

static char folder[64], path[96];
static struct ram_medium *ram;
static uint8_t original[TARGET_BYTES];
static struct kept_identity id;
static struct error err;

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
		.bytes = BYTES };
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

static void save(void)
{
	ck_assert_msg(kept_save(path, &id, &ram->medium, NULL, &err) == 0, "%s", err.text);
}

static int restore(struct medium *m, struct kept_result *result, const struct watch *watch)
{
	struct kept *k;
	int rc;

	ck_assert_msg(kept_open(&k, path, &err) == 0, "%s", err.text);
	rc = kept_verify(k, NULL, &err);
	if (!rc)
		rc = kept_restore(k, m, result, watch, &err);
	kept_close(k);
	return rc;
}

static void scribble(void)
{
	if (!id.extents)
		memset(ram->bytes + START, 0xA5, BYTES);
	for (size_t i = 0; i < id.extent_count; i++)
		memset(ram->bytes + id.extents[i].start, 0xA5, id.extents[i].bytes);
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

	/* Again: nothing to write. One byte wrong: one chunk. */
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 0);
	ram->bytes[START + BYTES - 1] ^= 1;
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
	for (size_t i = 0; i < APART; i++)
		memcpy(expected + apart[i].start, original + apart[i].start, apart[i].bytes);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes, expected, TARGET_BYTES);
	ck_assert_uint_eq(r.bytes, APART_BYTES);
	ck_assert_uint_eq(r.written_bytes, APART_BYTES);
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_uint_eq(r.written_bytes, 0);
	ram->bytes[TARGET_BYTES - 1] ^= 1;
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
	memcpy(before, ram->bytes, ram->wrap_bytes);
	save();
	for (size_t i = 0; i < APART; i++)
		for (size_t b = 0; b < apart[i].bytes; b++)
			ram->bytes[(apart[i].start + b) % ram->wrap_bytes] = (uint8_t)i;
	ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
	ck_assert_mem_eq(ram->bytes, before, ram->wrap_bytes);
	free(before);
}
END_TEST

START_TEST(never_over_a_file)
{
	save();
	ck_assert_int_eq(kept_save(path, &id, &ram->medium, NULL, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	ck_assert(file_exists());
	ck_assert_int_eq(kept_remove(path, &err), 0);
	ck_assert(!file_exists());
	ck_assert_int_eq(kept_remove(path, &err), -1);
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
		int rc = kept_save(path, &id, m, NULL, &err);
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
		ck_assert(rc == 0 || (err.kind == ERROR_IO && *err.text));
		ck_assert_int_eq(restore(&ram->medium, &r, NULL), 0);
		ck_assert_mem_eq(ram->bytes, original, TARGET_BYTES);
		medium_close(m);
		ram = ram_medium_new(TARGET_BYTES, 512, true);
		memcpy(ram->bytes, original, TARGET_BYTES);
		if (!hit) {
			ck_assert_int_eq(rc, 0);
			ck_assert_uint_gt(plan.nth, 10); /* 3 reads, 3 writes, flush, 3 reads */
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
		rc = kept_save(path, &id, &ram->medium, &watch, &err);
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
	/* before each of the chunks, twice; then through */
	ck_assert_int_eq(after, 2 * (id.extents ? APART_CHUNKS : 3) + 1);
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
	ck_assert_uint_eq(ram->bytes[START + 1536], 0xA5);
	/* One stretch is still saved as that version, so that older ones can put it back. */
	unlink(path);
	save();
	int fd = open(path, O_RDONLY);
	ck_assert_int_eq(read(fd, file, 4096), 4096);
	close(fd);
	ck_assert_mem_eq(file, "blkassay-kept 1\n", 16);
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
	ck_assert_msg(restore(&ram->medium, &r, NULL) == 0, "%s", err.text);
	ck_assert_uint_eq(r.bytes, 1536);
	ck_assert_mem_eq(ram->bytes + 512, original + 512, 512);
	ck_assert_mem_eq(ram->bytes + 4096, original + 4096, 1024);
	ck_assert_uint_eq(ram->bytes[1024], 0xA5);
}
END_TEST

START_TEST(longest_names)
{
	unsigned char bytes[KEPT_HEADER_BYTES];
	struct kept_identity out;
	struct kept_sums sums;

	memset(id.token, '%', sizeof id.token - 1);
	memset(id.place, '\n', sizeof id.place - 1);
	kept_header_make(bytes, &id, 0);
	ck_assert_int_eq(kept_header_parse(&out, &sums, bytes), 0);
	ck_assert_str_eq(out.token, id.token);
	ck_assert_str_eq(out.place, id.place);
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
	suite_add_tcase(s, t);
	return s;
}
