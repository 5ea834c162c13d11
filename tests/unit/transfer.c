/* transfer: what a request that failed comes to when it is tried again block by block. */
#include <check.h>
#include <errno.h>
#include <string.h>

#include "integrity/transfer.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"

enum { BLOCK = 512, BLOCKS = 16, LENGTH = BLOCKS * BLOCK };

static uint8_t bytes[LENGTH];

/* From the nth call on every one fails, or moves only so many bytes. */
static struct medium *failing(struct ram_medium **ram, unsigned calls, uint64_t nth,
	enum failing_for lasts, int sys_errno, size_t short_bytes)
{
	struct failing_plan plan = { calls, nth, lasts, sys_errno, short_bytes };

	*ram = ram_medium_new(LENGTH, BLOCK, true);
	for (size_t i = 0; i < LENGTH; i++)
		bytes[i] = (uint8_t)(i / BLOCK + 1);
	return medium_failing(&(*ram)->medium, &plan);
}

/* Less than a block, or nothing, when it is tried again: not written, whatever the target answers. */
START_TEST(a_retried_write_that_ends_early_is_no_write)
{
	static const size_t moved[] = { 0, 1, 256, BLOCK - 1 };

	for (size_t i = 0; i < sizeof moved / sizeof *moved; i++) {
		struct transfer_failures f = { 0 };
		struct ram_medium *ram;
		struct medium *m = failing(&ram, FAILING_WRITE, 1, FAIL_LASTING, 0, moved[i]);

		ck_assert_int_eq(transfer_write(m, 0, bytes, LENGTH, BLOCK, &f), 0);
		ck_assert_uint_eq(f.requests, 1);
		ck_assert_int_eq(f.first_errno, 0);
		ck_assert_uint_eq(f.retries, BLOCKS);
		ck_assert_uint_eq(f.blocks, BLOCKS);
		medium_close(m);
	}
}
END_TEST

/* The first try moved some blocks and a half: what was not acknowledged whole is sent again, and arrives. */
START_TEST(the_rest_of_a_short_write_is_sent_again)
{
	for (size_t done = 0; done < BLOCKS; done++) {
		struct transfer_failures f = { 0 };
		struct ram_medium *ram;
		struct medium *m =
			failing(&ram, FAILING_WRITE, 1, FAIL_ONCE, 0, done * BLOCK + BLOCK / 2);

		ck_assert_int_eq(transfer_write(m, 0, bytes, LENGTH, BLOCK, &f), 0);
		ck_assert_uint_eq(f.requests, 1);
		ck_assert_uint_eq(f.retries, BLOCKS - done);
		ck_assert_uint_eq(f.blocks, 0);
		ck_assert_int_eq(memcmp(ram->bytes, bytes, LENGTH), 0);
		medium_close(m);
	}
}
END_TEST

START_TEST(a_retried_write_that_fails_is_counted)
{
	struct transfer_failures f = { 0 };
	struct ram_medium *ram;
	struct medium *m = failing(&ram, FAILING_WRITE, 1, FAIL_LASTING, EIO, 0);

	ck_assert_int_eq(transfer_write(m, 0, bytes, LENGTH, BLOCK, &f), 0);
	ck_assert_uint_eq(f.blocks, BLOCKS);
	ck_assert_int_eq(f.first_errno, EIO);
	medium_close(m);
	m = failing(&ram, FAILING_WRITE, 1, FAIL_LASTING, ENODEV, 0);
	ck_assert_int_eq(transfer_write(m, 0, bytes, LENGTH, BLOCK, &f), -ENODEV);
	medium_close(m);
}
END_TEST

START_TEST(a_retried_read_that_ends_early_is_unreadable)
{
	static const size_t moved[] = { 0, 1, 256, BLOCK - 1 };

	for (size_t i = 0; i < sizeof moved / sizeof *moved; i++) {
		struct transfer_failures f = { 0 };
		int16_t blocks[BLOCKS];
		struct transfer_refused refused = { blocks, BLOCK, false };
		struct ram_medium *ram;
		struct medium *m = failing(&ram, FAILING_READ, 1, FAIL_LASTING, 0, moved[i]);

		ck_assert_int_eq(transfer_read(m, 0, bytes, LENGTH, BLOCK, &refused, &f), 0);
		ck_assert(refused.any);
		ck_assert_uint_eq(f.blocks, BLOCKS);
		for (size_t b = 0; b < BLOCKS; b++)
			ck_assert_int_eq(blocks[b], -1);
		medium_close(m);
	}
}
END_TEST

Suite *transfer_suite(void)
{
	Suite *s = suite_create("transfer");
	TCase *t = tcase_create("transfer");

	tcase_add_test(t, a_retried_write_that_ends_early_is_no_write);
	tcase_add_test(t, the_rest_of_a_short_write_is_sent_again);
	tcase_add_test(t, a_retried_write_that_fails_is_counted);
	tcase_add_test(t, a_retried_read_that_ends_early_is_unreadable);
	suite_add_tcase(s, t);
	return s;
}
