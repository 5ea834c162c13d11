/* base/shell: what is quoted, a shell reads back byte for byte. */
#include "base/shell.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/clean.h"
#include "base/text.h"

static const char *const words[] = { "plain", "two words", "it's", "", "'", "''\\''",
	"$(x) `y` \"z\" \\", "a\nb", "tab\there", "\x1b[31mred", "bell\a", "-leading", "-",
	"caf\xc3\xa9", "bad\xff\xfeutf8",
	"right\xe2\x80\xae"
	"gnp.exe",
	"~/x*?[a]", "a'b\nc\\d'e", "\x7f", "1\n",
	"9\x01"
	"1" };

/* bash's own reading of it, compared with the word. */
static void read_back(const char *word, bool ascii)
{
	struct text script;
	char got[200];
	size_t n;
	FILE *f;

	text_init(&script);
	text_adds(&script, "printf %s ");
	shell_add_word(&script, word, ascii);
	ck_assert_int_eq(setenv("SCRIPT", script.bytes, 1), 0);
	text_release(&script);
	f = popen("exec bash -c \"$SCRIPT\"", "r");
	ck_assert_ptr_nonnull(f);
	n = fread(got, 1, sizeof got - 1, f);
	got[n] = 0;
	ck_assert_int_eq(pclose(f), 0);
	/* A file whose name begins like an option. */
	ck_assert_str_eq(got + (*word == '-' ? 2 : 0), word);
	ck_assert(*word != '-' || !strncmp(got, "./", 2));
}

START_TEST(read_back_by_a_shell)
{
	read_back(words[_i], false);
	read_back(words[_i], true);
}
END_TEST

/* Nothing in it moves the cursor, hides or reorders; with ascii, nothing is beyond ASCII. */
START_TEST(can_be_shown)
{
	for (int ascii = 0; ascii < 2; ascii++) {
		struct text t;

		text_init(&t);
		shell_add_word(&t, words[_i], ascii);
		for (const char *c = t.bytes; *c;) {
			uint32_t code;
			size_t n = clean_utf8_next(c, &code);

			ck_assert_uint_gt(n, 0);
			ck_assert(clean_is_printable(code));
			ck_assert(!ascii || code < 0x7f);
			c += n;
		}
		text_release(&t);
	}
}
END_TEST

START_TEST(simple_words_look_simple)
{
	struct text t;

	text_init(&t);
	shell_add_word(&t, "/srv/it's.kept", false);
	ck_assert_str_eq(t.bytes, "'/srv/it'\\''s.kept'");
	text_release(&t);
}
END_TEST

/* What was typed: options stay options, and only what a shell would take apart has quotes. */
START_TEST(typed)
{
	static const char *const pairs[][2] = { { "--label", "--label" },
		{ "build b", "'build b'" }, { "", "''" }, { "512..1Mi", "512..1Mi" },
		{ "/dev/sdX", "/dev/sdX" }, { "~", "'~'" }, { "a;b", "'a;b'" }, { "*", "'*'" },
		{ "x=1", "'x=1'" }, { "--seed=1", "--seed=1" },
		{ "./relay off; sleep 2; ./relay on", "'./relay off; sleep 2; ./relay on'" } };

	for (size_t i = 0; i < sizeof pairs / sizeof *pairs; i++) {
		struct text t;

		text_init(&t);
		shell_add_typed(&t, pairs[i][0], false);
		ck_assert_str_eq(t.bytes, pairs[i][1]);
		text_release(&t);
	}
}
END_TEST

Suite *shell_suite(void)
{
	Suite *s = suite_create("shell");
	TCase *t = tcase_create("shell");

	tcase_add_loop_test(t, can_be_shown, 0, sizeof words / sizeof *words);
	tcase_add_test(t, simple_words_look_simple);
	if (system("command -v bash >/dev/null") == 0)
		tcase_add_loop_test(t, read_back_by_a_shell, 0, sizeof words / sizeof *words);
	else
		fprintf(stderr, "shell: SKIPPED reading back: no bash here\n");
	tcase_add_test(t, typed);
	suite_add_tcase(s, t);
	return s;
}
