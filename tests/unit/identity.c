/* A medium that turns out to be another one: nothing reaches it after that, and everybody hears why. */
#include <check.h>
#include <errno.h>
#include <string.h>

#include "base/error.h"
#include "medium/failing.h"
#include "medium/medium.h"
#include "support/ram_medium.h"

enum { BLOCK = 512, BYTES = 64 * BLOCK };

static uint8_t block[BLOCK];

static int read_block(struct medium *m)
{
	size_t got = 1;
	int rc = medium_read(m, 0, block, BLOCK, &got);

	ck_assert_uint_eq(got, rc ? 0 : BLOCK);
	return rc;
}

static int write_block(struct medium *m)
{
	size_t got = 1;
	int rc = medium_write(m, 0, block, BLOCK, &got);

	ck_assert_uint_eq(got, rc ? 0 : BLOCK);
	return rc;
}

START_TEST(nothing_reaches_a_medium_that_changed)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = &r->medium;
	struct error err = { 0 };

	ck_assert_int_eq(write_block(m), 0);
	ck_assert_ptr_null(medium_lost(m));
	ck_assert_int_eq(medium_explain(m, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_NONE);
	r->swap_after = 1;
	ck_assert_int_eq(write_block(m), -ESTALE);
	ck_assert_int_eq(medium_flush(m), -ESTALE);
	ck_assert_int_eq(read_block(m), -ESTALE);
	ck_assert_uint_eq(r->writes, 1);
	ck_assert_uint_eq(r->flushes + r->reads, 0);
	/* Back again is too late: what was written to in between is not known. */
	r->swap_after = 0;
	ck_assert_int_eq(write_block(m), -ESTALE);
	ck_assert_uint_eq(r->writes, 1);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), -ESTALE);
	error_set(&err, ERROR_USAGE, "something else");
	ck_assert_int_eq(medium_explain(m, &err), -1);
	ck_assert_str_eq(err.text, "'memory' is another medium now");
	ck_assert_int_eq(err.kind, ERROR_IO);
	medium_close(m);
}
END_TEST

/* The read itself went through, but it may have been the other medium that answered. */
START_TEST(what_was_read_while_it_changed_is_not_handed_out)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);

	r->swap_after = 1;
	ck_assert_int_eq(read_block(&r->medium), -ESTALE);
	ck_assert_uint_eq(r->reads, 1);
	medium_close(&r->medium);
}
END_TEST

START_TEST(a_wrapper_passes_on_what_it_wraps)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = medium_failing(
		&r->medium, &(struct failing_plan){ .calls = FAILING_READ, .nth = 99 });

	r->swap_after = 1;
	r->swap_errno = ENODEV;
	ck_assert_int_eq(write_block(m), 0);
	ck_assert_int_eq(write_block(m), -ENODEV);
	ck_assert_str_eq(medium_lost(m)->text, "'memory' is another medium now");
	medium_close(m);
}
END_TEST

/* Who writes for a long time without a word is asked for the whole check now and then. */
START_TEST(a_batch_is_due_once_a_second_at_least)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, false);

	write_block(&r->medium);
	ck_assert_uint_eq(r->checks[MEDIUM_CHECK_BATCH], 1);
	for (int i = 0; i < 3; i++)
		write_block(&r->medium);
	ck_assert_uint_le(r->checks[MEDIUM_CHECK_BATCH], 4);
	medium_idle_ns(&r->medium, 1100000000);
	write_block(&r->medium);
	ck_assert_uint_ge(r->checks[MEDIUM_CHECK_BATCH], 2);
	medium_close(&r->medium);
}
END_TEST

Suite *identity_suite(void)
{
	Suite *s = suite_create("identity");
	TCase *t = tcase_create("identity");

	suite_add_tcase(s, t);
	tcase_add_test(t, nothing_reaches_a_medium_that_changed);
	tcase_add_test(t, what_was_read_while_it_changed_is_not_handed_out);
	tcase_add_test(t, a_wrapper_passes_on_what_it_wraps);
	tcase_add_test(t, a_batch_is_due_once_a_second_at_least);
	return s;
}
