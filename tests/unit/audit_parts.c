/* audit: the acknowledge curve, judging waits, what an audit comes to, its record and its view. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "analysis/curve.h"
#include "audit/sample.h"
#include "base/error.h"
#include "base/promise.h"
#include "base/random.h"
#include "findings/audit_view.h"
#include "record/audit_lines.h"
#include "record/file.h"
#include "record/run.h"
#include "support/view_check.h"

/* The curve a buffer of B bytes gives, filled at L and drained at C, in requests of q: by hand. */
static void draw_curve(
	struct curve *c, double buffer, double head, double drain, double q, size_t n)
{
	double t = 0, w = 0;

	c->start_count = 0;
	for (c->count = 0; c->count < n; c->count++) {
		double free_at = (w + q - buffer) / drain;

		w += q;
		t += q / head;
		if (t < free_at)
			t = free_at;
		c->seconds[c->count] = t;
		c->bytes[c->count] = w;
	}
}

START_TEST(curve_finds_buffer_and_rate)
{
	struct curve c;
	struct curve_fit f;

	draw_curve(&c, 65536, 1e6, 4e5, 4096, 400);
	ck_assert(curve_fit(&c, &f));
	ck_assert_double_eq_tol(f.drain_rate, 4e5, 400);
	ck_assert_double_eq_tol(f.buffer_bytes, 65536, 700);
	ck_assert_double_eq_tol(f.head_rate, 1e6, 1e4);
	ck_assert(curve_has_knee(&c, &f));
	/* B L / (L - C) = 65536 * 1e6 / 6e5. */
	ck_assert_double_eq_tol(f.knee_bytes, 109227, 2500);
}
END_TEST

/* Thinned out to every 64th request, the first step is longer than the buffer: how fast that was filled shows in the start. */
START_TEST(curve_keeps_the_rate_of_a_small_buffer)
{
	struct curve fine, c = { .count = 0 };
	struct curve_fit f;

	draw_curve(&fine, 17408, 845e3, 450e3, 512, CURVE_MAX);
	memcpy(c.start_seconds, fine.seconds, sizeof c.start_seconds);
	memcpy(c.start_bytes, fine.bytes, sizeof c.start_bytes);
	draw_curve(&c, 17408, 845e3, 450e3, 64 * 512, 256);
	/* B L / C, then at C: by hand, as the coarse drawing knows no better. */
	for (size_t i = 0; i < c.count; i++)
		c.seconds[i] = (c.bytes[i] - 17408) / 450e3;
	ck_assert(curve_fit(&c, &f));
	ck_assert_double_eq_tol(f.drain_rate, 450e3, 450);
	ck_assert(f.head_rate > 1.1 * 845e3);
	c.start_count = CURVE_MAX;
	ck_assert(curve_fit(&c, &f));
	ck_assert_double_eq_tol(f.head_rate, 845e3, 1e3);
}
END_TEST

START_TEST(curve_without_buffer_has_no_knee)
{
	struct curve c;
	struct curve_fit f;

	draw_curve(&c, 1e12, 4e5, 4e5, 4096, 200);
	ck_assert(curve_fit(&c, &f));
	ck_assert(!curve_has_knee(&c, &f));
	/* A buffer never filled: the tail is as fast as the head. */
	draw_curve(&c, 4e6, 1e6, 4e5, 4096, 200);
	ck_assert(curve_fit(&c, &f));
	ck_assert(!curve_has_knee(&c, &f));
	c.count = 5;
	ck_assert(!curve_fit(&c, &f));
}
END_TEST

static struct sample sample_of(double a, double b, double c)
{
	return (struct sample){ .values = { a, b, c }, .count = 3 };
}

START_TEST(waits_are_judged)
{
	struct sample idle = sample_of(0.0010, 0.0011, 0.0010);
	struct sample quick = sample_of(0.0011, 0.0010, 0.0012);
	struct sample slow = sample_of(0.081, 0.080, 0.085);
	struct sample mixed = sample_of(0.0010, 0.0011, 0.070);
	struct sample noisy = sample_of(0.001, 0.040, 0.002);

	ck_assert_int_eq(sample_judge_wait(&slow, &idle, 0.08, 0.08), PROMISE_KEPT);
	ck_assert_int_eq(sample_judge_wait(&quick, &idle, 0.08, 0.08), PROMISE_BROKEN);
	/* One that did wait: no proof that it never does. */
	ck_assert_int_eq(sample_judge_wait(&mixed, &idle, 0.08, 0.08), PROMISE_NOT_SHOWN);
	/* Noise as large as the backlog, or a backlog too small to see. */
	ck_assert_int_eq(sample_judge_wait(&quick, &noisy, 0.08, 0.08), PROMISE_NOT_SHOWN);
	ck_assert_int_eq(sample_judge_wait(&quick, &idle, 0.0004, 0.0004), PROMISE_NOT_SHOWN);
	quick.count = 2;
	ck_assert_int_eq(sample_judge_wait(&quick, &idle, 0.08, 0.08), PROMISE_NOT_SHOWN);
}
END_TEST

static void add(struct promises *f, const char *id, enum promise_verdict v)
{
	struct promise *one = &f->list[f->count++];

	*one = (struct promise){ .verdict = v };
	snprintf(one->name, sizeof one->name, "%s", id);
	snprintf(one->claim, sizeof one->claim, "the claim of %s", id);
	snprintf(one->evidence, sizeof one->evidence, "3 of 4 \xC3\xA4 = 1%% ~");
	if (v == PROMISE_BROKEN)
		snprintf(one->mend, sizeof one->mend, "do it right");
}

START_TEST(conclusions)
{
	struct promises f = { 0 };

	ck_assert_int_eq(promises_conclude(&f), PROMISE_NOT_ASKED);
	add(&f, "eject", PROMISE_NOT_ASKED);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_NOT_ASKED);
	add(&f, "flush", PROMISE_KEPT);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_KEPT);
	f.partial = true;
	ck_assert_int_eq(promises_conclude(&f), PROMISE_NOT_SHOWN);
	f.partial = false;
	add(&f, "fua", PROMISE_NOT_SHOWN);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_NOT_SHOWN);
	add(&f, "eject", PROMISE_BROKEN);
	ck_assert_int_eq(promises_conclude(&f), PROMISE_BROKEN);
}
END_TEST

START_TEST(record_both_ways)
{
	char path[] = "/tmp/audit-test-XXXXXX";
	struct promises in = { 0 }, out;
	struct record_writer w;
	struct error err = { 0 };

	close(mkstemp(path));
	unlink(path);
	add(&in, "flush", PROMISE_KEPT);
	add(&in, "fua", PROMISE_BROKEN);
	add(&in, "eject", PROMISE_NOT_ASKED);
	in.list[0].tested_known = true;
	in.list[0].tested = 5;
	in.no_scsi = true;
	ck_assert_msg(record_create(&w, path, "audit", &err) == 0, "%s", err.text);
	for (size_t i = 0; i < in.count; i++)
		ck_assert_int_eq(audit_write_promise(&w, &in.list[i], &err), 0);
	/* Not closed yet: a crash here must read as partial. */
	ck_assert_int_eq(audit_load(&out, path, &err), 0);
	ck_assert(out.partial);
	ck_assert_uint_eq(out.count, 3);
	ck_assert_int_eq(audit_write_close(&w, &in, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(audit_load(&out, path, &err), 0);
	ck_assert(!out.partial && out.no_scsi);
	for (size_t i = 0; i < in.count; i++) {
		ck_assert_str_eq(out.list[i].name, in.list[i].name);
		ck_assert_str_eq(out.list[i].claim, in.list[i].claim);
		ck_assert_str_eq(out.list[i].evidence, in.list[i].evidence);
		ck_assert_str_eq(out.list[i].mend, in.list[i].mend);
		ck_assert_int_eq(out.list[i].verdict, in.list[i].verdict);
		ck_assert_int_eq(out.list[i].tested_known, in.list[i].tested_known);
		ck_assert_uint_eq(out.list[i].tested, in.list[i].tested);
	}
	unlink(path);
}
END_TEST

static const char *verdict_of(struct promises *f, bool modelled)
{
	static struct run run;
	struct error err = { 0 };
	struct view view;
	const char *code;

	run = (struct run){ .target.modelled = modelled };
	ck_assert_msg(!audit_view(&view, &run, f, &err), "%s", err.text);
	view_check(&view);
	code = view.findings.list[0].code->code;
	view_release(&view);
	return code;
}

START_TEST(every_code_of_an_audit)
{
	struct promises f = { .no_scsi = true };

	ck_assert_str_eq(verdict_of(&f, true), "not-asked");
	add(&f, "power-cut", PROMISE_NOT_ASKED);
	ck_assert_str_eq(verdict_of(&f, false), "not-asked");
	add(&f, "flush", PROMISE_KEPT);
	ck_assert_str_eq(verdict_of(&f, false), "kept");
	add(&f, "of a later version", PROMISE_NOT_SHOWN);
	ck_assert_str_eq(verdict_of(&f, false), "not-shown");
	f.partial = true;
	ck_assert_str_eq(verdict_of(&f, false), "not-finished");
	add(&f, "fua", PROMISE_BROKEN);
	ck_assert_str_eq(verdict_of(&f, false), "broken");
	/* As many long names as there can be. */
	while (f.count < PROMISES_MAX)
		add(&f, "twenty-three-characters", PROMISE_BROKEN);
	ck_assert_str_eq(verdict_of(&f, false), "broken");
	view_check_all_codes("audit");
}
END_TEST

Suite *audit_parts_suite(void)
{
	Suite *s = suite_create("audit_parts");
	TCase *c = tcase_create("audit_parts");

	tcase_add_test(c, curve_finds_buffer_and_rate);
	tcase_add_test(c, curve_keeps_the_rate_of_a_small_buffer);
	tcase_add_test(c, curve_without_buffer_has_no_knee);
	tcase_add_test(c, waits_are_judged);
	tcase_add_test(c, conclusions);
	tcase_add_test(c, record_both_ways);
	tcase_add_test(c, every_code_of_an_audit);
	suite_add_tcase(s, c);
	return s;
}
