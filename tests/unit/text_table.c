/* Tables on plain text: words in the last column wrap within it. */
#include "report/text_table.h"

#include <check.h>

#include "base/text.h"
#include "findings/table.h"
#include "report/text_lines.h"

static struct text text;

struct row {
	uint64_t n;
	const char *words;
};

COLUMN_VALUE(row_n, struct row, r, value_count(r->n))
COLUMN_VALUE(row_words, struct row, r, value_text(r->words))

static const struct column columns[] = {
	{ "n", "how many", "of them", 40, false, NULL, row_n },
	{ "words", "what", "in words", 0, true, NULL, row_words },
};

static const struct table_spec spec = {
	.key = "t", .row_bytes = sizeof(struct row), TABLE_COLUMNS(columns)
};

static const struct row rows[] = { { 1, "short" },
	{ 2, "longer than what is left of eighty columns" } };

static void paint(unsigned wide)
{
	struct text_style style = { .columns = wide };
	struct table t = { &spec, rows, 2 };
	struct text_lines v;

	text_reset(&text);
	text_lines_begin(&v, &text, &style);
	text_table_add(&v, &t);
	text_lines_end(&v);
}

static void setup(void)
{
	text_init(&text);
}

static void teardown(void)
{
	text_release(&text);
}

START_TEST(words_wrap_in_the_last_column)
{
	paint(80);
	ck_assert_str_eq(text.bytes,
		"                                how many  what\n"
		"                                       1  short\n"
		"                                       2  longer than what is left of eighty\n"
		"                                          columns\n");
	paint(200);
	ck_assert_str_eq(text.bytes, "                                how many  what\n"
				     "                                       1  short\n"
				     "                                       2  longer than what "
				     "is left of eighty columns\n");
}
END_TEST

START_TEST(however_little_room_there_is)
{
	paint(60);
	ck_assert_str_eq(text.bytes, "                                how many  what\n"
				     "                                       1  short\n"
				     "                                       2  longer than what\n"
				     "                                          is left of eighty\n"
				     "                                          columns\n");
}
END_TEST

Suite *text_table_suite(void)
{
	Suite *s = suite_create("text_table");
	TCase *c = tcase_create("text_table");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_add_test(c, words_wrap_in_the_last_column);
	tcase_add_test(c, however_little_room_there_is);
	suite_add_tcase(s, c);
	return s;
}
