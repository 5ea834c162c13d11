/* The table of options: one row each, in its place. */
#include "cli/options.h"

#include <check.h>
#include <string.h>

#include "cli/command.h"

START_TEST(every_option_has_its_row)
{
	for (int id = 0; id < OPTION_ID_COUNT; id++) {
		const struct option_spec *s = option_spec((enum option_id)id);

		ck_assert_msg(s->name && s->help, "option %d has no row", id);
		ck_assert_msg((int)s->id == id, "--%s is not in its place", s->name);
		ck_assert_msg((s->value == NULL) == (s->type == OPTION_IS_FLAG), "--%s", s->name);
	}
}
END_TEST

/* One name means one thing in every command, and every option belongs to one at least. */
START_TEST(no_name_stands_twice)
{
	for (int a = 0; a < OPTION_ID_COUNT; a++) {
		const char *name = option_spec((enum option_id)a)->name;
		size_t commands_with = 0;

		for (size_t i = 0; options_common[i] != OPTION_END; i++)
			commands_with += (int)options_common[i] == a;

		for (int b = 0; b < a; b++)
			ck_assert_str_ne(name, option_spec((enum option_id)b)->name);
		for (size_t c = 0; c < command_count; c++)
			for (size_t i = 0; commands[c].options[i] != OPTION_END; i++)
				commands_with += (int)commands[c].options[i] == a;
		ck_assert_msg(commands_with, "no command has --%s", name);
	}
}
END_TEST

Suite *options_suite(void)
{
	Suite *s = suite_create("options");
	TCase *c = tcase_create("options");

	tcase_add_test(c, every_option_has_its_row);
	tcase_add_test(c, no_name_stands_twice);
	suite_add_tcase(s, c);
	return s;
}
