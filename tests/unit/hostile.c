/* Records nobody but a stranger would write, found by fuzzing: they are shown as plain text or not at all. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/promise.h"
#include "base/text.h"
#include "findings/audit_view.h"
#include "findings/observe_view.h"
#include "findings/verify_view.h"
#include "report/text_lines.h"
#include "report/text_view.h"

static const struct text_style style = { .columns = 80 };

/* The name of a promise is a word of ours, unless somebody else wrote the record. */
START_TEST(a_finding_cannot_steer_the_terminal)
{
	struct promises *f = calloc(1, sizeof *f);
	struct run run = { 0 };
	struct error err = { 0 };
	struct view v;
	struct text t;

	ck_assert_ptr_nonnull(f);
	f->count = 1;
	text_copy(f->list[0].name, sizeof f->list[0].name, "a\033[2Jb\xff");
	text_init(&t);
	ck_assert_int_eq(audit_view(&v, &run, f, &err), 0);
	ck_assert_int_eq(text_view_add(&t, &v, &style, &err), 0);
	view_release(&v);
	ck_assert_ptr_nonnull(strstr(t.bytes, "a?[2Jb?"));
	ck_assert_ptr_null(strchr(t.bytes, '\033'));
	text_release(&t);
	free(f);
}
END_TEST

/* Damage was counted, but the lines of its ranges are lost: undefined behaviour under a sanitizer once. */
START_TEST(damage_without_ranges)
{
	struct verify_record v = { .planned = true, .stated = true };
	struct error err = { 0 };
	struct view view;
	struct text t;

	v.plan.region_bytes = 1 << 20;
	v.plan.write = v.plan.read = v.plan.sequential = true;
	v.state.totals.judged = 2048;
	v.state.totals.by_class[DAMAGE_NONE] = 2041;
	v.state.totals.region_bytes = 1 << 20;
	v.state.totals.block_bytes = 512;
	text_init(&t);
	ck_assert_int_eq(verify_view(&view, &v, &err), 0);
	ck_assert_int_eq(text_view_add(&t, &view, &style, &err), 0);
	view_release(&view);
	ck_assert_ptr_nonnull(strstr(t.bytes, "7 of 2048 blocks"));
	text_release(&t);
}
END_TEST

/* A device's name, a label, the reasons in the record. */
START_TEST(an_observation_cannot_steer_the_terminal)
{
	static const char bad[] = "x\033[2J\xff";
	struct observation o = { 0 };
	struct error err = { 0 };
	struct run run = { 0 };
	struct view v;
	struct text t;

	text_copy(run.head.id, sizeof run.head.id, bad);
	text_copy(run.target.path, sizeof run.target.path, bad);
	text_copy(run.target.vendor, sizeof run.target.vendor, bad);
	text_copy(run.target.model, sizeof run.target.model, bad);
	text_copy(run.head.label, sizeof run.head.label, bad);
	text_copy(run.end.reason, sizeof run.end.reason, bad);
	text_copy(o.why, sizeof o.why, bad);
	text_init(&t);
	ck_assert_int_eq(observe_view(&v, &run, &o, &err), 0);
	ck_assert_int_eq(text_view_add(&t, &v, &style, &err), 0);
	view_release(&v);
	ck_assert_ptr_nonnull(strstr(t.bytes, "x?[2J? x?[2J?"));
	for (size_t i = 0; i < t.length; i++)
		ck_assert(t.bytes[i] == '\n' || (t.bytes[i] >= ' ' && t.bytes[i] <= '~'));
	text_release(&t);
}
END_TEST

Suite *hostile_suite(void)
{
	Suite *s = suite_create("hostile");
	TCase *c = tcase_create("hostile");

	tcase_add_test(c, a_finding_cannot_steer_the_terminal);
	tcase_add_test(c, an_observation_cannot_steer_the_terminal);
	tcase_add_test(c, damage_without_ranges);
	suite_add_tcase(s, c);
	return s;
}
