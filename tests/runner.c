/* Runs every unit suite: one per file in tests/unit, which defines `Suite *NAME_suite(void)`. */
#include <check.h>
#include <stdlib.h>

#define SUITE(name) Suite *name##_suite(void);
#include "suites.inc"
#undef SUITE

int main(void)
{
	SRunner *runner = srunner_create(NULL);
	int failed;

#define SUITE(name) srunner_add_suite(runner, name##_suite());
#include "suites.inc"
#undef SUITE
	srunner_run_all(runner, CK_ENV);
	failed = srunner_ntests_failed(runner);
	srunner_free(runner);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}
