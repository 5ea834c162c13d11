/* audit: the acknowledge curve, judging waits, the sentence, the record and text of an audit. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "audit/curve.h"
#include "audit/sample.h"
#include "base/error.h"
#include "base/promise.h"
#include "base/random.h"
#include "base/text.h"
#include "record/audit.h"
#include "record/file.h"
#include "report/audit_text.h"

/* The curve a buffer of B bytes gives, filled at L and drained at C, in requests of q: by hand. */
static void draw_curve(
	struct curve *c, double buffer, double head, double drain, double q, size_t n)
{
	double t = 0, w = 0;

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
	snprintf(one->id, sizeof one->id, "%s", id);
	snprintf(one->claim, sizeof one->claim, "the claim of %s", id);
	snprintf(one->evidence, sizeof one->evidence, "3 of 4 \xC3\xA4 = 1%% ~");
	if (v == PROMISE_BROKEN)
		snprintf(one->mend, sizeof one->mend, "do it right");
}

START_TEST(sentence)
{
	char out[PROMISES_SENTENCE_MAX];
	struct promises f = { 0 };

	ck_assert_str_eq(promises_conclude(&f, out), "No verdict: nothing could be shown.");
	add(&f, "flush", PROMISE_KEPT);
	ck_assert_str_eq(
		promises_conclude(&f, out), "No broken promise found: 1 kept, 0 not shown.");
	add(&f, "fua", PROMISE_NOT_SHOWN);
	ck_assert_str_eq(
		promises_conclude(&f, out), "No broken promise found: 1 kept, 1 not shown (fua).");
	f.partial = true;
	ck_assert_str_eq(promises_conclude(&f, out),
		"No verdict: the audit did not finish; 1 promises kept so far, none broken.");
	f.partial = false;
	add(&f, "eject", PROMISE_BROKEN);
	ck_assert_str_eq(
		promises_conclude(&f, out), "Not safe to ship: 1 of 3 promises broken (eject).");
	/* As many long names as there can be: cut, never overrun. */
	while (f.count < PROMISES_MAX)
		add(&f, "twenty-three-characters", PROMISE_BROKEN);
	ck_assert_uint_lt(strlen(promises_conclude(&f, out)), sizeof out);
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
	in.no_scsi = true;
	ck_assert_msg(record_create(&w, path, "audit", &err) == 0, "%s", err.text);
	for (size_t i = 0; i < in.count; i++)
		ck_assert_int_eq(audit_write_promise(&w, &in.list[i], &err), 0);
	/* Not closed yet: a crash here must read as partial. */
	ck_assert_int_eq(audit_load(&out, path, &err), 0);
	ck_assert(out.partial);
	ck_assert_uint_eq(out.count, 2);
	ck_assert_int_eq(audit_write_close(&w, &in, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(audit_load(&out, path, &err), 0);
	ck_assert(!out.partial && out.no_scsi);
	for (size_t i = 0; i < in.count; i++) {
		ck_assert_str_eq(out.list[i].id, in.list[i].id);
		ck_assert_str_eq(out.list[i].claim, in.list[i].claim);
		ck_assert_str_eq(out.list[i].evidence, in.list[i].evidence);
		ck_assert_str_eq(out.list[i].mend, in.list[i].mend);
		ck_assert_int_eq(out.list[i].verdict, in.list[i].verdict);
	}
	unlink(path);
}
END_TEST

START_TEST(text_fits_and_is_ascii)
{
	struct text_style style = { .columns = 80 };
	struct promises f = { 0 };
	struct run run = { 0 };
	struct error err = { 0 };
	struct text t;

	add(&f, "flush", PROMISE_KEPT);
	add(&f, "fua", PROMISE_BROKEN);
	memset(f.list[0].evidence, 'x', 300);
	f.list[0].evidence[300] = 0;
	text_init(&t);
	ck_assert_int_eq(audit_text_add(&t, &run, &f, &style, &err), 0);
	ck_assert_ptr_nonnull(strstr(t.bytes, "broken     fua: the claim of fua"));
	ck_assert_ptr_nonnull(strstr(t.bytes, "mend: do it right"));
	ck_assert_ptr_nonnull(strstr(t.bytes, "Not safe to ship: 1 of 2 promises broken (fua)."));
	for (char *row = strtok(t.bytes, "\n"); row; row = strtok(NULL, "\n")) {
		ck_assert_uint_le(strlen(row), 80);
		for (const char *c = row; *c; c++)
			ck_assert_int_ge(*c, 0x20);
	}
	text_release(&t);
}
END_TEST

Suite *audit_parts_suite(void)
{
	Suite *s = suite_create("audit_parts");
	TCase *c = tcase_create("audit_parts");

	tcase_add_test(c, curve_finds_buffer_and_rate);
	tcase_add_test(c, curve_without_buffer_has_no_knee);
	tcase_add_test(c, waits_are_judged);
	tcase_add_test(c, sentence);
	tcase_add_test(c, record_both_ways);
	tcase_add_test(c, text_fits_and_is_ascii);
	suite_add_tcase(s, c);
	return s;
}
