/* platform/filesystem on hostile bytes: nothing is read beyond what was given, nothing outside the target is asked for, and
 * what is recognised lies within it. What real filesystems look like is tested end to end (tests/cli/contents.sh). */
#include <check.h>
#include <errno.h>
#include <stdbool.h>
#include <string.h>

#include "base/clean.h"
#include "base/random.h"
#include "platform/filesystem.h"

struct disk {
	uint8_t bytes[32 * FILESYSTEM_HEAD];
	uint64_t size;
	bool fails;
};

static int read_disk(void *context, uint64_t at, void *buf, size_t length)
{
	const struct disk *d = context;

	ck_assert_uint_eq(at % FILESYSTEM_HEAD, 0);
	ck_assert_uint_le(at + length, d->size);
	if (d->fails)
		return -EIO;
	memset(buf, 0, length);
	if (at + length <= sizeof d->bytes)
		memcpy(buf, d->bytes + at, length);
	return 0;
}

static int find(struct disk *d, struct filesystem *list)
{
	return filesystems_find(list, read_disk, d, d->size, 512);
}

static void check_found(const struct disk *d, const struct filesystem *f)
{
	ck_assert_uint_lt(f->start, d->size);
	ck_assert_uint_lt(strlen(f->kind), sizeof f->kind);
	for (const char *c = f->label; *c;) {
		uint32_t code;
		size_t n = clean_utf8_next(c, &code);

		ck_assert_uint_gt(n, 0);
		ck_assert(clean_is_printable(code));
		c += n;
	}
}

/* Random bytes under each of the marks that lead the search on. */
START_TEST(hostile)
{
	struct filesystem list[FILESYSTEMS_MAX];
	static struct disk d;

	for (uint64_t round = 0; round < 3000; round++) {
		d.size = 1 + random_at(round, 0) % (4 * sizeof d.bytes);
		for (size_t i = 0; i < sizeof d.bytes; i++)
			d.bytes[i] = (uint8_t)random_at(round, 1 + i / 8 % 997 + i / 4096);
		d.bytes[510] = 0x55;
		d.bytes[511] = 0xaa;
		if (round % 3 == 1)
			memcpy(d.bytes + 512, "EFI PART", 8);
		if (round % 3 == 1)
			memset(d.bytes + 512 + 72, 0, 16), d.bytes[512 + 72] = 2,
									 d.bytes[512 + 84] = 128;
		if (round % 3 == 2)
			d.bytes[1024 + 0x38] = 0x53, d.bytes[1024 + 0x39] = 0xef;
		for (int i = 0, n = find(&d, list); i < n; i++)
			check_found(&d, &list[i]);
	}
}
END_TEST

START_TEST(unreadable)
{
	struct filesystem list[FILESYSTEMS_MAX];
	static struct disk d = { .size = 1 << 20, .fails = true };

	ck_assert_int_eq(find(&d, list), -EIO);
	d.size = 100; /* too small for anything */
	ck_assert_int_eq(find(&d, list), 0);
}
END_TEST

/* A partition entry that points at its own table, or beyond the end, ends the search there. */
START_TEST(pointing_nowhere)
{
	struct filesystem list[FILESYSTEMS_MAX];
	static struct disk d = { .size = sizeof d.bytes };

	d.bytes[510] = 0x55;
	d.bytes[511] = 0xaa;
	for (int i = 0; i < 4; i++) {
		d.bytes[446 + 16 * i + 4] = 0x0c;
		d.bytes[446 + 16 * i + 8] = (uint8_t)(i ? 0xff : 0);
		d.bytes[446 + 16 * i + 11] = (uint8_t)(i ? 0xff : 0);
		d.bytes[446 + 16 * i + 12] = 1;
	}
	ck_assert_int_eq(find(&d, list), 0);
}
END_TEST

Suite *filesystem_suite(void);

Suite *filesystem_suite(void)
{
	Suite *s = suite_create("filesystem");
	TCase *c = tcase_create("filesystem");

	tcase_add_test(c, hostile);
	tcase_add_test(c, unreadable);
	tcase_add_test(c, pointing_nowhere);
	suite_add_tcase(s, c);
	return s;
}
