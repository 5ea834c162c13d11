/* findings/kept_words, and the line of a record they rest on: what is said of kept data, and when nothing is. */
#include "findings/kept_words.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "record/file.h"
#include "record/run.h"

static char folder[64], record[96], saved[96];
static struct text sentence, command;
static struct error err;

static void setup(void)
{
	snprintf(folder, sizeof folder, "/tmp/blkassay-words-XXXXXX");
	ck_assert_ptr_nonnull(mkdtemp(folder));
	snprintf(record, sizeof record, "%s/a.assay", folder);
	snprintf(saved, sizeof saved, "%s/it's.kept", folder);
	text_init(&sentence);
	text_init(&command);
}

static void teardown(void)
{
	char beside[120];

	snprintf(beside, sizeof beside, "%s.kept", record);
	unlink(beside);
	unlink(record);
	unlink(saved);
	rmdir(folder);
	text_release(&sentence);
	text_release(&command);
}

static void make_file(const char *path)
{
	FILE *f = fopen(path, "w");

	ck_assert_ptr_nonnull(f);
	fclose(f);
}

/* A record that says so much of it, and has an end or not; what is said of it then. */
static bool said(enum run_kept_state last, bool ended)
{
	struct run_kept k = { .start = 4096, .bytes = 2 << 20 };
	struct run_head head = { .kind = "verify" };
	struct run_end end = { .status = "failed", .exit_status = 3 };
	struct record_writer w;
	struct run run;
	bool any;

	snprintf(k.saved, sizeof k.saved, "%s", saved);
	snprintf(k.target, sizeof k.target, "/dev/my disk");
	unlink(record);
	run_head_complete(&head);
	ck_assert_int_eq(record_create(&w, record, "verify", &err), 0);
	ck_assert_int_eq(run_write_head(&w, &head, &err), 0);
	for (int s = RUN_KEPT_SAVING; s <= (int)last; s++) {
		k.state = (enum run_kept_state)s;
		ck_assert(s == RUN_KEPT_LEFT && last == RUN_KEPT_BACK
				  ? true
				  : run_write_kept(&w, &k, &err) == 0);
	}
	ck_assert(!ended || run_write_end(&w, &end, &err) == 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_msg(run_load(&run, record, &err) == 0, "%s", err.text);
	ck_assert_uint_eq(run.damaged_lines, 0);
	text_reset(&sentence);
	text_reset(&command);
	any = kept_words(&sentence, &command, &run);
	ck_assert(any == (sentence.length > 0));
	run_release(&run);
	return any;
}

static void expect_command(void)
{
	char wanted[200];

	snprintf(wanted, sizeof wanted, "blkassay restore '%s/it'\\''s.kept' '/dev/my disk'",
		folder);
	ck_assert_str_eq(command.bytes, wanted);
}

static bool tells(const char *words)
{
	return strstr(sentence.bytes, words) != NULL;
}

START_TEST(nothing_to_say)
{
	ck_assert(!said(RUN_KEPT_NONE, false));
	ck_assert(!said(RUN_KEPT_BACK, true));
	ck_assert(!said(RUN_KEPT_BACK, false));
	ck_assert(!said(RUN_KEPT_SAVING, true)); /* it has said why it failed */
	make_file(saved);
	ck_assert(!said(RUN_KEPT_BACK, true));
}
END_TEST

START_TEST(stopped_while_saving)
{
	ck_assert(said(RUN_KEPT_SAVING, false));
	ck_assert(tells("nothing was written to the target"));
	ck_assert(!tells("can be deleted"));
	ck_assert_uint_eq(command.length, 0);
	make_file(saved);
	ck_assert(said(RUN_KEPT_SAVING, false));
	ck_assert(tells("is not whole and can be deleted"));
	ck_assert_uint_eq(command.length, 0);
}
END_TEST

/* Killed, or with an end: a putting back that failed comes before it. */
START_TEST(not_back)
{
	make_file(saved);
	for (int ended = 0; ended < 2; ended++) {
		ck_assert(said(RUN_KEPT_SAVED, ended));
		ck_assert(tells("2 MiB from byte 4096"));
		ck_assert(tells(saved));
		expect_command();
	}
	ck_assert(said(RUN_KEPT_LEFT, true));
	ck_assert(tells("Recheck first"));
	expect_command();
}
END_TEST

START_TEST(file_is_gone)
{
	ck_assert(said(RUN_KEPT_SAVED, false));
	ck_assert(tells("any more: it was put back and deleted, or moved"));
	ck_assert_uint_eq(command.length, 0);
}
END_TEST

/* Moved together with its record. */
START_TEST(file_beside_its_record)
{
	char beside[120];

	snprintf(beside, sizeof beside, "%s.kept", record);
	make_file(beside);
	ck_assert(said(RUN_KEPT_SAVED, false));
	ck_assert_ptr_nonnull(strstr(command.bytes, beside));
}
END_TEST

Suite *kept_words_suite(void)
{
	Suite *s = suite_create("kept_words");
	TCase *t = tcase_create("kept_words");

	tcase_add_checked_fixture(t, setup, teardown);
	tcase_add_test(t, nothing_to_say);
	tcase_add_test(t, stopped_while_saving);
	tcase_add_test(t, not_back);
	tcase_add_test(t, file_is_gone);
	tcase_add_test(t, file_beside_its_record);
	suite_add_tcase(s, t);
	return s;
}
