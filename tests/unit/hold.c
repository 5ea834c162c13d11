/* hold, file_lock, openers: an image is kept from everybody else, and whoever comes all the same is noticed. */
#include "platform/hold.h"

#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "base/error.h"
#include "platform/file_lock.h"
#include "platform/openers.h"

static char folder[] = "/tmp/hold.XXXXXX";
static char image[64], away[64];
static struct hold *held;
static struct error err;
static pid_t other; /* another program */
static int from_other; /* it writes a byte here when it is ready */

static void make(const char *path, off_t bytes)
{
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL, 0600);

	ck_assert_int_ge(fd, 0);
	ck_assert_int_eq(ftruncate(fd, bytes), 0);
	close(fd);
}

static void set_up(void)
{
	memcpy(folder + sizeof folder - 7, "XXXXXX", 6);
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(image, sizeof image, "%s/card.img", folder);
	snprintf(away, sizeof away, "%s/away.img", folder);
	make(image, 65536);
	held = NULL;
	other = 0;
	err = (struct error){ 0 };
}

static void end_other(void)
{
	if (!other)
		return;
	kill(other, SIGKILL);
	ck_assert_int_eq(waitpid(other, NULL, 0), other);
	close(from_other);
	other = 0;
}

static void tear_down(void)
{
	end_other();
	hold_release(held);
	unlink(image);
	unlink(away);
	ck_assert_int_eq(rmdir(folder), 0);
}

enum deed { OPENS, LOCKS_DESCRIPTION, LOCKS_FILE, LOCKS_PROCESS };

static void do_deed(enum deed deed, const char *path, int flags)
{
	struct flock all = { .l_type = flags == O_RDONLY ? F_RDLCK : F_WRLCK,
		.l_whence = SEEK_SET };
	int fd = open(path, flags), rc = 0;

	if (fd < 0)
		_exit(1);
	if (deed == LOCKS_DESCRIPTION)
		rc = fcntl(fd, F_OFD_SETLK, &all);
	else if (deed == LOCKS_FILE)
		rc = flock(fd, flags == O_RDONLY ? LOCK_SH : LOCK_EX);
	else if (deed == LOCKS_PROCESS)
		rc = fcntl(fd, F_SETLK, &all);
	if (rc < 0)
		_exit(2);
}

/* Another program that has done it by the time this returns, and stays. */
static void another(enum deed deed, const char *path, int flags)
{
	int ends[2];
	char ready;

	ck_assert_int_eq(pipe(ends), 0);
	other = fork();
	ck_assert_int_ge(other, 0);
	if (!other) {
		/* Without what it inherited from us. */
		if (dup2(ends[1], 3) != 3 || close_range(4, UINT_MAX, 0) < 0)
			_exit(4);
		do_deed(deed, path, flags);
		if (write(3, "x", 1) != 1)
			_exit(3);
		for (;;)
			pause();
	}
	close(ends[1]);
	from_other = ends[0];
	ck_assert_int_eq(read(from_other, &ready, 1), 1);
}

static void expect_refused(int rc, const char *words)
{
	ck_assert_int_eq(rc, -1);
	ck_assert_int_eq(err.kind, ERROR_REFUSED);
	ck_assert_msg(strstr(err.text, words), "'%s' does not say '%s'", err.text, words);
}

static void expect_named(void)
{
	char pid[32];

	snprintf(pid, sizeof pid, "process %d (", (int)other);
	ck_assert_msg(strstr(err.text, pid), "'%s' does not name %s", err.text, pid);
}

static void hold_to_write(void)
{
	ck_assert_msg(hold_image(&held, image, true, &err) == 0, "%s", err.text);
	ck_assert_msg(hold_for_writing(held, &err) == 0, "%s", err.text);
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text);
}

/* Any one of the kernel's locks keeps a run from writing, and all that is alone keep it from reading. */
START_TEST(locks_of_others)
{
	static const enum deed kinds[] = { LOCKS_DESCRIPTION, LOCKS_FILE, LOCKS_PROCESS };

	another(kinds[_i], image, O_RDWR);
	expect_refused(hold_image(&held, image, true, &err), "has locked it");
	expect_named();
	expect_refused(hold_image(&held, image, false, &err), "has locked it");
	ck_assert_ptr_null(held);
	end_other();
	another(kinds[_i], image, O_RDONLY);
	expect_refused(hold_image(&held, image, true, &err), "has locked it");
	ck_assert_msg(hold_image(&held, image, false, &err) == 0, "%s", err.text);
}
END_TEST

/* What is held for writing is locked for both kinds of asking; for reading, others may read. */
START_TEST(others_find_it_locked)
{
	struct flock all = { .l_type = F_RDLCK, .l_whence = SEEK_SET };
	int fd = open(image, O_RDONLY);

	hold_to_write();
	ck_assert_int_eq(flock(fd, LOCK_SH | LOCK_NB), -1);
	ck_assert_int_eq(fcntl(fd, F_OFD_SETLK, &all), -1);
	ck_assert_int_eq(file_lock(fd, false), -EAGAIN);
	hold_release(held);
	ck_assert_int_eq(hold_image(&held, image, false, &err), 0);
	ck_assert_int_eq(file_lock(fd, false), 0);
	ck_assert_int_eq(file_lock(fd, true), -EAGAIN);
	close(fd);
}
END_TEST

START_TEST(open_for_writing_elsewhere)
{
	another(OPENS, image, O_RDWR);
	ck_assert_int_eq(hold_image(&held, image, true, &err), 0);
	expect_refused(hold_for_writing(held, &err), "is open for writing by another program");
	expect_named();
	end_other();
	another(OPENS, image, O_RDONLY);
	ck_assert_msg(hold_for_writing(held, &err) == 0, "%s", err.text);
}
END_TEST

START_TEST(leases_tell_who_writes)
{
	int fd = open(image, O_RDONLY), writer;

	ck_assert_int_eq(file_is_written(fd), 0);
	writer = open(image, O_WRONLY);
	ck_assert_int_eq(file_is_written(fd), 1);
	close(writer);
	ck_assert_int_eq(file_is_written(fd), 0);
	close(fd);
}
END_TEST

static void expect_lost(const char *words)
{
	struct error again = { 0 };

	ck_assert_int_eq(hold_check(held, HOLD_NOW, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_msg(strstr(err.text, words), "'%s' does not say '%s'", err.text, words);
	ck_assert_msg(strstr(err.text, "nothing more was written"), "%s", err.text);
	/* For good, and at once. */
	ck_assert_int_eq(hold_check(held, HOLD_DUE, &again), -1);
	ck_assert_str_eq(again.text, err.text);
}

START_TEST(opened_for_writing_later)
{
	hold_to_write();
	another(OPENS, image, O_RDONLY); /* harmless */
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text);
	end_other();
	another(OPENS, image, O_WRONLY);
	expect_lost("was opened for writing by another program");
	expect_named();
	end_other();
	expect_lost("was opened for writing by another program");
}
END_TEST

START_TEST(another_length)
{
	hold_to_write();
	ck_assert_int_eq(truncate(image, 65536), 0);
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text);
	ck_assert_int_eq(truncate(image, _i ? 65537 : 4096), 0);
	expect_lost("changed during this run");
}
END_TEST

START_TEST(removed)
{
	hold_to_write();
	ck_assert_int_eq(link(image, away), 0);
	ck_assert_int_eq(unlink(image), 0);
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text); /* has a name yet */
	ck_assert_int_eq(unlink(away), 0);
	ck_assert_int_eq(hold_check_name(held, &err), -1);
	ck_assert_msg(strstr(err.text, "no longer has a name"), "%s", err.text);
	expect_lost("was removed");
}
END_TEST

/* What is opened again is what was held, whatever its name means by now. */
START_TEST(name_means_another)
{
	struct stat held_one, st;
	int fd;

	hold_to_write();
	ck_assert_int_eq(hold_stat(held, &held_one), 0);
	ck_assert_int_eq(hold_check_name(held, &err), 0);
	ck_assert_int_eq(rename(image, away), 0);
	ck_assert_int_eq(symlink(away, image), 0); /* still leads there */
	ck_assert_int_eq(hold_check_name(held, &err), 0);
	ck_assert_int_eq(unlink(image), 0);
	ck_assert_int_eq(hold_check_name(held, &err), -1);
	make(image, 65536);
	ck_assert_int_eq(hold_check_name(held, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_msg(strstr(err.text, away), "%s", err.text);
	fd = hold_reopen(held, O_RDWR);
	ck_assert_int_ge(fd, 0);
	ck_assert_int_eq(fstat(fd, &st), 0);
	ck_assert(st.st_ino == held_one.st_ino && st.st_dev == held_one.st_dev);
	close(fd);
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text);
}
END_TEST

START_TEST(made_here)
{
	int fd;

	ck_assert_int_eq(unlink(image), 0);
	fd = open(image, O_RDWR | O_CREAT | O_EXCL, 0600);
	ck_assert_int_eq(ftruncate(fd, 4096), 0);
	ck_assert_int_eq(hold_made(&held, fd, image, &err), 0);
	ck_assert_msg(hold_for_writing(held, &err) == 0, "%s", err.text);
	ck_assert_msg(hold_check(held, HOLD_NOW, &err) == 0, "%s", err.text);
	ck_assert_int_eq(rename(image, away), 0);
	make(image, 0);
	ck_assert_int_eq(hold_unlink(held), 1);
	ck_assert_int_eq(access(image, F_OK), 0);
	ck_assert_int_eq(rename(away, image), 0);
	ck_assert_int_eq(hold_unlink(held), 0);
	ck_assert_int_eq(access(image, F_OK), -1);
}
END_TEST

START_TEST(not_made_here)
{
	hold_to_write();
	ck_assert_int_eq(hold_unlink(held), 1);
	ck_assert_int_eq(access(image, F_OK), 0);
}
END_TEST

START_TEST(no_image)
{
	ck_assert_int_eq(hold_image(&held, folder, true, &err), 1);
	ck_assert_int_eq(hold_image(&held, "/dev/null", true, &err), 1);
	ck_assert_int_eq(hold_image(&held, away, true, &err), 1);
	ck_assert_ptr_null(held);
	/* That it cannot be looked at does not mean that there is none. */
	ck_assert_int_eq(symlink(away, away), 0);
	ck_assert_int_eq(hold_image(&held, away, true, &err), -1);
	ck_assert_ptr_null(held);
	ck_assert_ptr_nonnull(strstr(err.text, strerror(ELOOP)));
}
END_TEST

/* What the kernel calls it in another place, which is not "unit" where an emulator runs it. */
static const char *name_of(pid_t pid)
{
	static char name[32];
	char path[40];
	FILE *f;

	snprintf(path, sizeof path, "/proc/%d/status", (int)pid);
	f = fopen(path, "r");
	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(fscanf(f, "Name: %31[^\n]", name), 1);
	fclose(f);
	return name;
}

START_TEST(openers)
{
	struct opener o;
	struct stat st;
	char words[112], expected[64];

	ck_assert_int_eq(stat(image, &st), 0);
	ck_assert(!opener_find(&o, &st, OPENER_ANY));
	another(LOCKS_FILE, image, O_RDONLY);
	ck_assert(opener_find(&o, &st, OPENER_ANY));
	ck_assert_int_eq(o.pid, other);
	ck_assert(!o.writes);
	ck_assert(!opener_find(&o, &st, OPENER_WRITES));
	ck_assert(opener_find(&o, &st, OPENER_LOCKS));
	ck_assert_int_eq(o.pid, other);
	ck_assert(o.locks);
	snprintf(expected, sizeof expected, "process %d (%s)", (int)other, name_of(other));
	ck_assert_str_eq(opener_words(words, &o), expected);
	/* Under another name it is the same file. */
	ck_assert_int_eq(rename(image, away), 0);
	ck_assert(opener_find(&o, &st, OPENER_ANY));
	end_other();
	ck_assert(!opener_find(&o, &st, OPENER_ANY));
	ck_assert_str_eq(opener_words(words, NULL), "another program");
}
END_TEST

Suite *hold_suite(void)
{
	Suite *s = suite_create("hold");
	TCase *t = tcase_create("hold");

	tcase_add_checked_fixture(t, set_up, tear_down);
	tcase_add_loop_test(t, locks_of_others, 0, 3);
	tcase_add_test(t, others_find_it_locked);
	tcase_add_test(t, open_for_writing_elsewhere);
	tcase_add_test(t, leases_tell_who_writes);
	tcase_add_test(t, opened_for_writing_later);
	tcase_add_loop_test(t, another_length, 0, 2);
	tcase_add_test(t, removed);
	tcase_add_test(t, name_means_another);
	tcase_add_test(t, made_here);
	tcase_add_test(t, not_made_here);
	tcase_add_test(t, no_image);
	tcase_add_test(t, openers);
	suite_add_tcase(s, t);
	return s;
}
