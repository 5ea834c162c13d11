/* Every model in scripts/models parses, and no setting in them is unknown. */
#include <check.h>
#include <glob.h>
#include <string.h>

#include "base/error.h"
#include "medium/model_spec.h"

START_TEST(examples_parse)
{
	glob_t found;

	ck_assert_int_eq(glob("scripts/models/*.model", 0, NULL, &found), 0);
	ck_assert_uint_ge(found.gl_pathc, 5);
	for (size_t i = 0; i < found.gl_pathc; i++) {
		struct model_spec s;
		struct error err = { 0 };

		ck_assert_msg(model_spec_load(&s, found.gl_pathv[i], &err) == 0, "%s", err.text);
		/* Invented gadgets only. */
		ck_assert_str_eq(s.device.vendor, "INVENTED");
	}
	globfree(&found);
}
END_TEST

Suite *model_examples_suite(void)
{
	Suite *s = suite_create("model_examples");
	TCase *c = tcase_create("model_examples");

	tcase_add_test(c, examples_parse);
	suite_add_tcase(s, c);
	return s;
}
