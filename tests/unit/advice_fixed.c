/* explain's sentence on the fixed cost: true at every ratio of the fitted cost to the measured time, also above it. */
#include <check.h>
#include <string.h>

#include "analysis/diagnose.h"
#include "base/text.h"
#include "findings/explain_advice.h"

static struct text said;

static void collect(void *context, bool caution, const char *sentence)
{
	(void)context;
	(void)caution;
	text_adds(&said, sentence);
	text_adds(&said, "\n");
}

/* 4 KiB take 66.0 us; the fit says fixed_s. */
static void advise(double fixed_s)
{
	struct cost_point point = {
		.request_bytes = 4096, .seconds = 66e-6, .passes = 5, .pieces = 1
	};
	struct explained x = { .line = { .known = true, .fixed_s = fixed_s, .rate = 1e9 },
		.point_count = 1 };
	struct diagnose_input in = {
		.line = &x.line, .points = &point, .point_count = 1, .usual_bytes = 4096
	};
	struct advice_visitor v = { .advice = collect };

	text_init(&said);
	diagnose(&x.diagnosis, &in);
	explain_advice_visit(&x, &v);
}

static void says(const char *words)
{
	ck_assert_msg(strstr(said.bytes, words) != NULL, "'%s' lacks '%s'", said.bytes, words);
}

START_TEST(most_of_it_is_fixed)
{
	advise(46.2e-6); /* 70 % */
	says("At 4 KiB, 46.2 us of 66.0 us is fixed cost (70 %)");
	/* 4096 B / (66.0 - 23.1) us */
	says("Half the fixed cost would give 95.5 MB/s there.");
	text_release(&said);
}
END_TEST

START_TEST(the_line_lies_above_the_point)
{
	advise(67.4e-6);
	says("At 4 KiB a request takes 66.0 us, and the line's fixed cost is 67.4 us: its size "
	     "hardly "
	     "counts there.");
	/* Half of what was measured: 4096 B / 33.0 us. */
	says("Half the fixed cost would give about 124 MB/s there.");
	ck_assert_ptr_null(strstr(said.bytes, "67.4 us of 66.0 us"));
	text_release(&said);
}
END_TEST

START_TEST(a_line_far_above_says_nothing)
{
	advise(150e-6);
	ck_assert_msg(!strstr(said.bytes, "fixed cost is") && !strstr(said.bytes, "is fixed cost"),
		"%s", said.bytes);
	text_release(&said);
	advise(20e-6); /* and one far below neither */
	ck_assert_ptr_null(strstr(said.bytes, "fixed cost"));
	text_release(&said);
}
END_TEST

Suite *advice_fixed_suite(void)
{
	Suite *s = suite_create("advice_fixed");
	TCase *t = tcase_create("advice_fixed");

	tcase_add_test(t, most_of_it_is_fixed);
	tcase_add_test(t, the_line_lies_above_the_point);
	tcase_add_test(t, a_line_far_above_says_nothing);
	suite_add_tcase(s, t);
	return s;
}
