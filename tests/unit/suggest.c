/* Which word is taken for a mistyped one. */
#include <check.h>
#include <stdint.h>

#include "base/suggest.h"

/* Distances as Damerau's paper counts single errors: one wrong, one missing, one extra letter, one transposition. The
 * pair kitten/sitting is the usual example of the plain edit distance (common practice, no source); ca/abc is where the
 * restricted form (3) and the full one (2) part. */
START_TEST(edits)
{
	ck_assert_uint_eq(suggest_distance("sweep", "sweep"), 0);
	ck_assert_uint_eq(suggest_distance("sweap", "sweep"), 1);
	ck_assert_uint_eq(suggest_distance("swep", "sweep"), 1);
	ck_assert_uint_eq(suggest_distance("sweeep", "sweep"), 1);
	ck_assert_uint_eq(suggest_distance("sewep", "sweep"), 1);
	ck_assert_uint_eq(suggest_distance("kitten", "sitting"), 3);
	ck_assert_uint_eq(suggest_distance("ca", "abc"), 3);
	ck_assert_uint_eq(suggest_distance("", "abc"), 3);
}
END_TEST

START_TEST(too_long)
{
	ck_assert_uint_eq(suggest_distance("abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz",
				  "abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyz"),
		SIZE_MAX);
}
END_TEST

static const char *meant(const char *word)
{
	static const char *const words[] = { "targets", "sweep", "verify", "cut", "report" };
	struct suggest s;

	suggest_begin(&s, word);
	for (size_t i = 0; i < sizeof words / sizeof *words; i++)
		suggest_try(&s, words[i]);
	return s.nearest ? s.nearest : "";
}

START_TEST(what_was_meant)
{
	ck_assert_str_eq(meant("swep"), "sweep");
	ck_assert_str_eq(meant("target"), "targets");
	ck_assert_str_eq(meant("repotr"), "report");
	ck_assert_str_eq(meant("rep"), "report"); /* begun */
	ck_assert_str_eq(meant("cat"), "cut");
}
END_TEST

/* Nothing is suggested for what is no slip: a short word two letters away is another word. */
START_TEST(nothing_meant)
{
	ck_assert_str_eq(meant("xyzzy"), "");
	ck_assert_str_eq(meant("cab"), "");
	ck_assert_str_eq(meant(""), "");
	ck_assert_str_eq(meant("c"), "");
}
END_TEST

Suite *suggest_suite(void);

Suite *suggest_suite(void)
{
	Suite *s = suite_create("suggest");
	TCase *c = tcase_create("suggest");

	tcase_add_test(c, edits);
	tcase_add_test(c, too_long);
	tcase_add_test(c, what_was_meant);
	tcase_add_test(c, nothing_meant);
	suite_add_tcase(s, c);
	return s;
}
