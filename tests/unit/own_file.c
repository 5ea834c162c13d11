/* own_file: a name is acted on only while it means the file behind the descriptor. */
#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/own_file.h"

static char folder[] = "/tmp/own-file.XXXXXX";
static char mine[64], away[64], other[64];
static int fd;

static void make(const char *path, int flags)
{
	int made = open(path, O_WRONLY | O_CREAT | flags, 0600);

	ck_assert_int_ge(made, 0);
	close(made);
}

static void set_up(void)
{
	memcpy(folder + sizeof folder - 7, "XXXXXX", 6);
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(mine, sizeof mine, "%s/mine", folder);
	snprintf(away, sizeof away, "%s/away", folder);
	snprintf(other, sizeof other, "%s/other", folder);
	fd = open(mine, O_RDWR | O_CREAT | O_EXCL, 0600);
	ck_assert_int_ge(fd, 0);
}

static void tear_down(void)
{
	close(fd);
	unlink(mine);
	unlink(away);
	unlink(other);
	ck_assert_int_eq(rmdir(folder), 0);
}

static bool exists(const char *path)
{
	struct stat st;

	return lstat(path, &st) == 0;
}

START_TEST(own_name_is_removed)
{
	ck_assert_int_eq(own_file_name(fd, mine), OWN_NAME_SAME);
	ck_assert_int_eq(own_file_unlink(fd, mine), 0);
	ck_assert(!exists(mine));
	ck_assert_int_eq(own_file_name(fd, mine), OWN_NAME_GONE);
	ck_assert_int_eq(own_file_unlink(fd, mine), 1);
}
END_TEST

/* Another file in its place, a link to it, a hard link to another: all left alone. */
START_TEST(others_are_left)
{
	ck_assert_int_eq(rename(mine, away), 0);
	ck_assert_int_eq(own_file_name(fd, mine), OWN_NAME_GONE);
	make(other, O_EXCL);
	ck_assert_int_eq(link(other, mine), 0);
	ck_assert_int_eq(own_file_name(fd, mine), OWN_NAME_OTHER);
	ck_assert_int_eq(own_file_unlink(fd, mine), 1);
	ck_assert(exists(mine));
	ck_assert_int_eq(unlink(mine), 0);
	ck_assert_int_eq(symlink(away, mine), 0); /* leads to the very file, but is not its name */
	ck_assert_int_eq(own_file_unlink(fd, mine), 1);
	ck_assert(exists(mine) && exists(away));
	ck_assert_int_eq(own_file_rename(fd, mine, other), 1);
	ck_assert(exists(mine));
}
END_TEST

/* A hard link is a name of the file as good as any. */
START_TEST(hard_link_is_own)
{
	ck_assert_int_eq(link(mine, away), 0);
	ck_assert_int_eq(own_file_unlink(fd, away), 0);
	ck_assert(!exists(away) && exists(mine));
}
END_TEST

START_TEST(rename_replaces)
{
	make(other, O_EXCL);
	ck_assert_int_eq(own_file_rename(fd, mine, other), 0);
	ck_assert_int_eq(own_file_name(fd, other), OWN_NAME_SAME);
	ck_assert(!exists(mine));
	ck_assert_int_eq(own_file_rename(fd, mine, away), 1);
	/* A folder that is not there is an error, and the file stays. */
	ck_assert_int_eq(own_file_rename(fd, other, "/nonexistent/x"), -ENOENT);
	ck_assert(exists(other));
}
END_TEST

Suite *own_file_suite(void)
{
	Suite *s = suite_create("own_file");
	TCase *t = tcase_create("own_file");

	tcase_add_checked_fixture(t, set_up, tear_down);
	tcase_add_test(t, own_name_is_removed);
	tcase_add_test(t, others_are_left);
	tcase_add_test(t, hard_link_is_own);
	tcase_add_test(t, rename_replaces);
	suite_add_tcase(s, t);
	return s;
}
