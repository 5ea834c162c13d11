/* The journal of a cut as reports read it: the counts of the cut itself, the verdict as recheck found it, and the sentence to
 * quote. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/cut_words.h"
#include "integrity/recheck.h"
#include "record/cut_load.h"
#include "report/cut_text.h"
#include "support/cut_run.h"

static struct cut_run c;
static struct cut_record r;
static struct run run;
static struct error err;

static void load(void)
{
	cut_record_release(&r);
	ck_assert_msg(cut_load(&r, c.path, &err) == 0, "%s", err.text);
}

static void begin(void)
{
	err = (struct error){ 0 };
	run = (struct run){ 0 };
	cut_run_begin(&c, 31, 150, PROMISE_FLUSHED, 0);
	load();
}

static void done(void)
{
	cut_record_release(&r);
	cut_run_end(&c);
}

static void recheck(bool uncut)
{
	struct recheck_result result;
	struct record_writer w;
	struct journal j;

	ck_assert_int_eq(journal_load(&j, c.path, &err), 0);
	ck_assert_int_eq(recheck_run(&c.ram->medium, &j, NULL, &result, &err), 0);
	result.uncut = uncut;
	ck_assert_int_eq(record_append(&w, c.path, JOURNAL_KIND, &err), 0);
	ck_assert_int_eq(recheck_write(&w, &result, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	recheck_result_release(&result);
	journal_release(&j);
	load();
}

static void concludes(const char *words)
{
	struct text t;

	text_init(&t);
	cut_conclude(&t, &run, &r);
	ck_assert_msg(strstr(t.bytes, words) != NULL, "'%s' lacks '%s'", t.bytes, words);
	text_release(&t);
}

START_TEST(counts_are_those_of_the_cut)
{
	const struct cut_cycle *y;

	begin();
	ck_assert_uint_eq(r.count, 1);
	y = &r.cycles[0];
	ck_assert_uint_eq(y->writes, c.summary.writes);
	ck_assert_uint_eq(y->bytes, c.summary.bytes);
	ck_assert_uint_eq(y->throughs, c.summary.throughs);
	ck_assert_uint_eq(y->flushes, c.summary.flushes);
	ck_assert_uint_eq(y->writes_at_risk, c.summary.writes_at_risk);
	ck_assert_uint_eq(y->bytes_at_risk, c.summary.bytes_at_risk);
	ck_assert_uint_gt(y->writes, 10);
	ck_assert_str_eq(y->stop, "gone");
	ck_assert(y->ready);
	ck_assert_uint_eq(y->region_bytes, CUT_RUN_BYTES);
	ck_assert_uint_eq(y->seed, 31);
	/* The last sign of life comes before the answer that told of the end. */
	ck_assert_uint_gt(y->ns, 0);
	ck_assert_uint_le(y->ns, c.summary.ns);
	ck_assert_uint_eq(y->rechecks, 0);
	concludes("No verdict yet: 1 of 1 cut is not rechecked.");
	done();
}
END_TEST

START_TEST(a_kept_verdict_is_read_back)
{
	begin();
	recheck(false);
	ck_assert_uint_eq(r.cycles[0].rechecks, 1);
	ck_assert_uint_gt(r.cycles[0].verdict.promises, 0);
	ck_assert_uint_eq(recheck_broken(&r.cycles[0].verdict), 0);
	ck_assert_str_eq(cut_verdict_name(&r.cycles[0]), "kept");
	/* One cut in which nothing broke leaves room for 95 % of cuts to break something: 1 - 0.05^(1/1). */
	concludes("at most 95 % of cuts break any.");
	run.damaged_lines = 1;
	concludes("No verdict: the journal is damaged.");
	done();
}
END_TEST

START_TEST(a_verdict_without_a_cut_shows_nothing)
{
	begin();
	recheck(true);
	ck_assert_str_eq(cut_verdict_name(&r.cycles[0]), "not shown");
	concludes("No verdict: no promise was tested by a cut.");
	done();
}
END_TEST

START_TEST(damage_is_read_back_whole)
{
	struct recheck_result wrong = { 0 };
	const struct recheck_result *v;
	struct journal j;

	begin();
	memset(c.ram->bytes, 0, CUT_RUN_BYTES / 2);
	ck_assert_int_eq(journal_load(&j, c.path, &err), 0);
	ck_assert_int_eq(recheck_run(&c.ram->medium, &j, NULL, &wrong, &err), 0);
	journal_release(&j);
	recheck(false);
	v = &r.cycles[0].verdict;
	for (int d = 0; d < RECHECK_DUTIES; d++) {
		ck_assert_uint_eq(v->blocks[d], wrong.blocks[d]);
		ck_assert_uint_eq(v->broken[d], wrong.broken[d]);
	}
	ck_assert_uint_eq(v->promises, wrong.promises);
	ck_assert_uint_eq(v->promises_broken, wrong.promises_broken);
	ck_assert_uint_gt(v->promises_broken, 0);
	ck_assert_uint_eq(v->kind_count, wrong.kind_count);
	ck_assert_str_eq(v->kinds[0].name, wrong.kinds[0].name);
	ck_assert_uint_eq(v->kinds[0].blocks, wrong.kinds[0].blocks);
	ck_assert_uint_eq(v->ns_before_max, wrong.ns_before_max);
	ck_assert_uint_eq(v->bytes_before_min, wrong.bytes_before_min);
	/* Only the first ranges are kept, the others are counted. */
	ck_assert_uint_eq(v->damage_count + v->damages_more, wrong.damage_count);
	ck_assert_uint_gt(v->damage_count, 1);
	for (size_t i = 0; i < v->damage_count; i++) {
		ck_assert_uint_eq(v->damages[i].at, wrong.damages[i].at);
		ck_assert_uint_eq(v->damages[i].bytes, wrong.damages[i].bytes);
		ck_assert_int_eq(v->damages[i].duty, wrong.damages[i].duty);
		ck_assert_str_eq(v->damages[i].kind, wrong.damages[i].kind);
		ck_assert_uint_eq(v->damages[i].expected, wrong.damages[i].expected);
		ck_assert_uint_eq(v->damages[i].ns_before, wrong.damages[i].ns_before);
	}
	concludes("Not safe to ship: in 1 of 1 cut ");
	run.damaged_lines = 1; /* damage that was found stays found */
	concludes("Not safe to ship: in 1 of 1 cut ");
	recheck_result_release(&wrong);
	done();
}
END_TEST

START_TEST(the_last_recheck_counts)
{
	unsigned char *before = malloc(CUT_RUN_BYTES);

	ck_assert_ptr_nonnull(before);
	begin();
	memcpy(before, c.ram->bytes, CUT_RUN_BYTES);
	memset(c.ram->bytes, 0, CUT_RUN_BYTES / 2);
	recheck(false);
	ck_assert_str_eq(cut_verdict_name(&r.cycles[0]), "broken");
	memcpy(c.ram->bytes, before, CUT_RUN_BYTES);
	recheck(false);
	ck_assert_uint_eq(r.cycles[0].rechecks, 2);
	ck_assert_str_eq(cut_verdict_name(&r.cycles[0]), "kept");
	ck_assert_uint_eq(r.cycles[0].verdict.damage_count, 0);
	free(before);
	done();
}
END_TEST

static void line(struct record_writer *w, const char *kind, const char *fields)
{
	record_begin(w, kind);
	text_addf(&w->line, " %s", fields);
	ck_assert_int_eq(record_commit(w, false, &err), 0);
}

/* Lines that no writer of ours makes: nothing is believed that cannot be. */
START_TEST(a_hostile_journal_is_tamed)
{
	struct text_style style = { .columns = 80 };
	struct record_writer w;
	struct text t;

	begin();
	ck_assert_int_eq(record_append(&w, c.path, JOURNAL_KIND, &err), 0);
	line(&w, "damage",
		"offset_bytes=1 length_bytes=512 duty=flushed kind=lost"); /* of no recheck */
	line(&w, "recheck", "cycle=77 promises=5"); /* of no cut */
	line(&w, "recheck",
		"cycle=1 promises=1 promises_broken=3 flushed_blocks=1 flushed_broken=4 "
		"kind-%1B%5B31m=4 kind-averyveryverylongname=2 kind-=1");
	line(&w, "damage",
		"offset_bytes=0 length_bytes=512 duty=flushed kind=%1B%5B2J detail=%07%0Along "
		"expected=9");
	line(&w, "damage", "offset_bytes=0 length_bytes=512 duty=nonsense kind=x");
	line(&w, "stop", "reason=%1B%5B31m at_seconds=0");
	ck_assert_int_eq(record_close(&w, &err), 0);
	load();
	ck_assert_uint_eq(r.count, 1);
	ck_assert_uint_eq(r.cycles[0].rechecks, 1);
	ck_assert_uint_eq(r.cycles[0].verdict.promises, 3);
	ck_assert_uint_eq(r.cycles[0].verdict.blocks[RECHECK_FLUSHED], 4);
	ck_assert_uint_eq(r.cycles[0].verdict.damage_count, 1);
	text_init(&t);
	ck_assert_int_eq(cut_text_add(&t, &run, &r, &style, &err), 0);
	for (size_t i = 0; i < t.length; i++)
		ck_assert_msg(t.bytes[i] == '\n' || (t.bytes[i] >= ' ' && t.bytes[i] <= '~'),
			"byte %02X reached the terminal", (unsigned char)t.bytes[i]);
	text_release(&t);
	done();
}
END_TEST

static struct journal_plug plug(uint64_t sequence, const char *boot)
{
	struct journal_plug p = { .disk_sequence = sequence };

	text_copy(p.boot, sizeof p.boot, boot);
	return p;
}

static bool same(struct journal_plug a, struct journal_plug b)
{
	return journal_plug_is_same(&a, &b);
}

/* After a reboot the kernel counts disks from the start again. */
START_TEST(a_plug_is_the_same_only_when_that_is_sure)
{
	ck_assert(same(plug(7, "boot a"), plug(7, "boot a")));
	ck_assert(!same(plug(7, "boot a"), plug(8, "boot a")));
	ck_assert(!same(plug(7, "boot a"), plug(7, "boot b")));
	ck_assert(!same(plug(0, "boot a"), plug(0, "boot a")));
	ck_assert(!same(plug(7, ""), plug(7, "")));
}
END_TEST

START_TEST(shares_read_as_percent)
{
	char buf[RECHECK_PERCENT_MAX];

	ck_assert_str_eq(recheck_percent(buf, 1), "100");
	ck_assert_str_eq(recheck_percent(buf, 0.996), "100");
	ck_assert_str_eq(recheck_percent(buf, 0.994), "99");
	ck_assert_str_eq(recheck_percent(buf, 0.0073), "0.73");
}
END_TEST

Suite *cut_record_suite(void)
{
	Suite *s = suite_create("cut_record");
	TCase *t = tcase_create("cut_record");

	tcase_add_test(t, counts_are_those_of_the_cut);
	tcase_add_test(t, a_kept_verdict_is_read_back);
	tcase_add_test(t, a_verdict_without_a_cut_shows_nothing);
	tcase_add_test(t, damage_is_read_back_whole);
	tcase_add_test(t, the_last_recheck_counts);
	tcase_add_test(t, a_hostile_journal_is_tamed);
	tcase_add_test(t, a_plug_is_the_same_only_when_that_is_sure);
	tcase_add_test(t, shares_read_as_percent);
	suite_add_tcase(s, t);
	return s;
}
