/* The journal of a cut as reports read it: the counts of the cut itself, the verdict as recheck found it, and the sentence to
 * quote. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "findings/cut_view.h"
#include "integrity/recheck.h"
#include "record/cut_load.h"
#include "report/page.h"
#include "report/text_lines.h"
#include "report/text_view.h"
#include "support/cut_run.h"
#include "support/view_check.h"

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
	run = (struct run){ .end.present = true, .end.status = "complete" };
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

static struct view view;

static void show(void)
{
	ck_assert_msg(!cut_view(&view, &run, &r, &err), "%s", err.text);
	view_check(&view);
}

/* The verdict has this code and these words. */
static void concludes(const char *code, const char *words)
{
	const struct finding *verdict;

	show();
	verdict = &view.findings.list[0];
	ck_assert_str_eq(verdict->code->code, code);
	ck_assert_msg(
		strstr(verdict->sentence, words), "'%s' lacks '%s'", verdict->sentence, words);
	view_release(&view);
}

static bool says(const char *code)
{
	bool found = false;

	show();
	for (size_t i = 0; i < view.findings.count; i++)
		found = found || !strcmp(view.findings.list[i].code->code, code);
	view_release(&view);
	return found;
}

static const char *verdict_of(const struct cut_cycle *y)
{
	static const char *const names[] = { "kept", "broken", "not shown" };

	return names[recheck_conclude(&y->verdict)];
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
	/* The last answer comes before the answer that told of the end. */
	ck_assert_uint_gt(y->ns, 0);
	ck_assert_uint_le(y->ns, c.summary.ns);
	ck_assert_uint_eq(y->rechecks, 0);
	concludes("not-rechecked", "No verdict yet: 1 of 1 cut is not rechecked.");
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
	ck_assert_str_eq(verdict_of(&r.cycles[0]), "kept");
	concludes("not-shown", "nothing was lost that was not promised either");
	run.damaged_lines = 1;
	concludes("not-shown", "the journal is damaged.");
	done();
}
END_TEST

START_TEST(a_verdict_without_a_cut_shows_nothing)
{
	begin();
	recheck(true);
	ck_assert_str_eq(verdict_of(&r.cycles[0]), "not shown");
	concludes("not-shown", "no promise was tested by a cut.");
	ck_assert(says("not-cut"));
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
	concludes("broken", "Not safe to ship: in 1 of 1 cut ");
	run.damaged_lines = 1; /* damage that was found stays found */
	concludes("broken", "Not safe to ship: in 1 of 1 cut ");
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
	ck_assert_str_eq(verdict_of(&r.cycles[0]), "broken");
	memcpy(c.ram->bytes, before, CUT_RUN_BYTES);
	recheck(false);
	ck_assert_uint_eq(r.cycles[0].rechecks, 2);
	ck_assert_str_eq(verdict_of(&r.cycles[0]), "kept");
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
	show();
	ck_assert_int_eq(text_view_add(&t, &view, &style, &err), 0);
	view_release(&view);
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

/* ---- what it means ---- */

static struct cut_cycle cycles[20];

/* A record of n rechecked cuts without a fault, each with so many promises and one block lost that none covered. */
static void many(size_t n, uint64_t promises)
{
	memset(cycles, 0, sizeof cycles);
	for (size_t i = 0; i < n; i++) {
		struct recheck_result *v = &cycles[i].verdict;

		cycles[i] = (struct cut_cycle){
			.number = (uint32_t)i + 1, .ready = true, .stop = "gone", .rechecks = 1
		};
		v->cycle = (uint32_t)i + 1;
		v->promises = promises;
		v->blocks[RECHECK_FLUSHED] = 8 * promises;
		v->blocks[RECHECK_IN_FLIGHT] = v->in_flight_old = v->forgotten = 1;
		v->flushes = (struct flush_pairs){ .telling = 7, .grew = 7 };
		v->order_kept = v->complete = true;
	}
	r = (struct cut_record){ cycles, n };
	run = (struct run){ .path = "it's.assay",
		.end.present = true,
		.end.status = "complete",
		.target.path = "/dev/sdx" };
	err = (struct error){ 0 };
}

static void break_promises(size_t cut, enum recheck_duty d, uint64_t n)
{
	struct recheck_result *v = &cycles[cut].verdict;

	v->promises_broken += d == RECHECK_FLUSHED || d == RECHECK_ACKNOWLEDGED ? n : 0;
	v->blocks[d] += n;
	v->broken[d] += n;
	v->ages_known = true;
	v->ns_before_min = 1000000;
	v->ns_before_max = 2000000;
}

/* The promises of one cut fail together: a thousand broken in one of twenty cuts are one bad cut, not half of all promises. */
START_TEST(chance_deals_out_cuts_not_promises)
{
	many(20, 100);
	/* Hanley and Lippman-Hand, JAMA 249 (1983): none of 20 gives at most 1 - 0.05^(1/20) = 13.9 %. */
	concludes("kept",
		"none of 2000 in 20 cuts that tested any; with 95 % confidence at most 14 %");
	break_promises(7, RECHECK_FLUSHED, 100);
	/* Clopper and Pearson for 1 of 20: 0.13 % to 24.9 %, as R's binom.test(1, 20) has it (from memory). */
	concludes("broken",
		"in 1 of 20 cuts something is broken (95 % sure: in 0.13 to 25 % of such cuts). "
		"100 of 2000");
	ck_assert(says("flushed-broken") && says("ages"));
	r = (struct cut_record){ 0 };
}
END_TEST

/* After the end of the writing a target has all the time it needs: nothing that is there then shows that it was in time. */
START_TEST(a_late_cut_tests_nothing)
{
	many(2, 50);
	cycles[1].verdict.late = true;
	concludes("kept", "none of 50 in 1 cut that tested any; with 95 % confidence at most 95 %");
	ck_assert(says("cut-late"));
	cycles[0].verdict.late = true;
	concludes("not-shown", "no promise was tested by a cut");
	/* What is broken is broken, whenever it was cut. */
	break_promises(1, RECHECK_FLUSHED, 1);
	concludes("broken", "in 1 of 1 cut something");
	r = (struct cut_record){ 0 };
}
END_TEST

static struct flush_pairs two(uint64_t bytes, uint64_t ns, uint64_t then_bytes, uint64_t then_ns)
{
	struct flush_pairs p = { 0 };

	flush_pairs_wrote(&p, bytes, false);
	flush_pairs_flushed(&p, ns);
	flush_pairs_wrote(&p, then_bytes, false);
	flush_pairs_flushed(&p, then_ns);
	return p;
}

/* Pairs alike in what they had to store, or in time, tell nothing; nor does what a write-through has stored. */
START_TEST(pairs_of_flushes)
{
	struct flush_pairs p = two(1000, 50, 2000, 75);

	ck_assert(p.telling == 1 && p.grew == 1 && !p.half);
	p = two(2000, 75, 1000, 50);
	ck_assert(p.telling == 1 && p.grew == 1);
	p = two(2000, 50, 1000, 75);
	ck_assert(p.telling == 1 && p.grew == 0);
	p = two(1000, 50, 1999, 500);
	ck_assert(p.telling == 0);
	p = two(1000, 50, 2000, 74);
	ck_assert(p.telling == 0);
	p = two(0, 0, 0, 0);
	ck_assert(p.telling == 0);
	flush_pairs_wrote(&p, 1000, false);
	flush_pairs_flushed(&p, 50);
	flush_pairs_wrote(&p, 9000, false);
	flush_pairs_wrote(&p, 500, true);
	flush_pairs_wrote(&p, 500, false);
	flush_pairs_flushed(&p, 10);
	ck_assert(p.telling == 1 && p.grew == 1);
}
END_TEST

/* Flushes that come after each write with FUA store what it wrote, whatever FUA is worth: so many cuts as leave at most a half,
 * 1 - 0.05^(1/5) = 45 %, have to have met one that none had covered. */
START_TEST(fua_that_flushes_cover_is_not_tested)
{
	many(20, 50);
	concludes("kept", "none of 1000 in 20 cuts");
	cycles[3].verdict.throughs = 3;
	concludes("not-shown", "so few say little of what FUA alone is worth");
	ck_assert(says("fua-untested"));
	for (size_t i = 0; i < 5; i++)
		cycles[i].verdict.through_alone = cycles[i].verdict.through_last = 1;
	concludes("not-shown", "of what FUA alone is worth"); /* nobody counted */
	for (size_t i = 0; i < 4; i++)
		cycles[i].verdict.through_alone_known = true;
	concludes("not-shown", "of what FUA alone is worth");
	cycles[4].verdict.through_alone_known = true;
	concludes("kept", "none of 1000 in 20 cuts");
	ck_assert(!says("fua-untested"));
	cycles[0].verdict.through_last = false; /* something else came after it */
	concludes("not-shown", "of what FUA alone is worth");
	cycles[0].verdict.through_last = true;
	/* A cut that tested nothing tested no FUA either. */
	cycles[4].verdict.late = true;
	concludes("not-shown", "of what FUA alone is worth");
	/* None was sent, or in a cut that tested nothing. */
	cycles[4].verdict.throughs = 3;
	cycles[3].verdict.throughs = 0;
	concludes("kept", "none of 950 in 19 cuts");
	ck_assert(!says("fua-untested"));
}
END_TEST

/* All of n cuts, of a target that claims no write cache. */
static void answers_promise(size_t n)
{
	many(n, 50);
	for (size_t i = 0; i < n; i++)
		cycles[i].verdict = (struct recheck_result){ .cycle = (uint32_t)i + 1,
			.acknowledged_counts = true,
			.promises = 50,
			.blocks[RECHECK_ACKNOWLEDGED] = 400,
			.order_kept = true,
			.complete = true };
}

/* A buffer that is empty a moment after each answer is met by few cuts: 1 - 0.05^(1/13) = 21 %, 1 - 0.05^(1/14) = 19 %. */
START_TEST(answers_are_kept_by_many_cuts_only)
{
	answers_promise(13);
	concludes("not-shown", "so few say little of what an answer alone is worth");
	ck_assert(says("few-cuts") && !says("nothing-lost"));
	answers_promise(14);
	concludes("kept",
		"none of 700 in 14 cuts that tested any; with 95 % confidence at most 19 %");
	ck_assert(!says("few-cuts"));
	/* But what a flush covered as well says nothing of the answers: nothing that only an answer had promised was left. */
	cycles[0].verdict.unflushed_known = true;
	concludes("not-shown", "none of 650 promises in 13 cuts is broken, but so few");
	ck_assert(says("all-flushed"));
	cycles[0].verdict.unflushed = 1;
	concludes("kept", "none of 700 in 14 cuts");
	for (size_t i = 0; i < 14; i++) {
		cycles[i].verdict.unflushed_known = true;
		cycles[i].verdict.unflushed = 0;
	}
	concludes("not-shown", "no promise was tested by a cut");
	cycles[0].verdict.broken[RECHECK_FLUSHED] = 1;
	concludes("broken", "in 1 of 1 cut something");
	r = (struct cut_record){ 0 };
}
END_TEST

/* One cut of 14 whose answers were promises says nothing of what an answer is worth, whatever the others say of flushes. */
START_TEST(cuts_before_which_a_cache_was_claimed_test_no_answers)
{
	many(14, 50);
	concludes("kept", "none of 700 in 14 cuts");
	cycles[13].by_answer = cycles[13].verdict.acknowledged_counts = true;
	concludes("not-shown", "so few say little of what an answer alone is worth");
	ck_assert(says("claims-changed") && !says("claims-no-cache") && says("few-cuts"));
	/* Enough of these, and one of flushes alone that shows nothing of flushes. */
	answers_promise(14);
	for (size_t i = 0; i < 14; i++)
		cycles[i].by_answer = true;
	concludes("kept", "none of 700 in 14 cuts");
	ck_assert(says("claims-no-cache") && !says("claims-changed"));
	answers_promise(15);
	concludes("kept", "none of 750 in 15 cuts");
	cycles[14].by_answer = cycles[14].verdict.acknowledged_counts = false;
	cycles[14].verdict.forgotten = 0;
	concludes("not-shown", "nothing was lost that was not promised either");
	r = (struct cut_record){ 0 };
}
END_TEST

/* A target that loses nothing at all had nothing to lose, or still had power: its flushes may do nothing. */
START_TEST(a_cut_that_loses_nothing_shows_no_flush)
{
	many(2, 50);
	cycles[0].verdict.forgotten = 0;
	concludes("kept", "none of 100 in 2 cuts");
	cycles[1].verdict.forgotten = 0;
	concludes("not-shown", "none of 100 promises in 2 cuts is broken, but nothing was lost");
	ck_assert(says("nothing-lost"));
	/* Nor does a loss where flushes take as long after little as after much: 2^-7 is less than 1 %, 2^-6 is more. */
	cycles[1].verdict.forgotten = 1;
	cycles[0].verdict.flushes.telling = cycles[0].verdict.flushes.grew = 0;
	concludes("kept", "none of 100 in 2 cuts");
	cycles[1].verdict.flushes.telling = cycles[1].verdict.flushes.grew = 6;
	concludes("not-shown", "is broken, but nothing shows that flushes store anything");
	ck_assert(says("flat-flushes"));
	cycles[0].verdict.flushes.telling = cycles[0].verdict.flushes.grew = 7;
	/* Nor does a loss in a cut that tested nothing. */
	cycles[1].verdict.forgotten = 1;
	cycles[1].verdict.late = true;
	concludes("not-shown", "none of 50 promises in 1 cut is broken, but nothing was lost");
	r = (struct cut_record){ 0 };
}
END_TEST

/* The verdict stands first, on the page too, before what else is to be said. */
START_TEST(a_page_begins_with_its_verdict)
{
	const char *verdict, *modelled;
	struct text t;

	many(3, 10);
	run.target.modelled = true;
	break_promises(1, RECHECK_FLUSHED, 2);
	show();
	text_init(&t);
	page_add_view(&t, &view, 0);
	view_release(&view);
	verdict = strstr(t.bytes, "Not safe to ship");
	modelled = strstr(t.bytes, "These figures are modelled");
	ck_assert_ptr_nonnull(verdict);
	ck_assert_ptr_nonnull(modelled);
	ck_assert(verdict < modelled);
	text_release(&t);
	r = (struct cut_record){ 0 };
}
END_TEST

START_TEST(every_code_of_cuts)
{
	many(6, 50);
	ck_assert(says("kept"));
	for (size_t i = 0; i < 6; i++)
		cycles[i].verdict.forgotten = 0;
	ck_assert(says("nothing-lost"));
	cycles[5].verdict.forgotten = 1;
	for (size_t i = 0; i < 6; i++)
		cycles[i].verdict.flushes.grew = 3;
	ck_assert(says("flat-flushes"));
	cycles[0].verdict.uncut = true;
	cycles[1].verdict.late = true;
	cycles[2].verdict.unended = true;
	cycles[3].verdict.beyond = 3;
	cycles[4].verdict.promises = 0;
	cycles[0].by_answer = true;
	cycles[5].verdict.forgotten = cycles[5].verdict.in_flight_old = 8;
	cycles[5].verdict.order_kept = false;
	ck_assert(says("not-cut") && says("cut-late") && says("no-stop") && says("journal-short"));
	ck_assert(says("no-promise") && says("claims-changed") && says("unpromised-lost"));
	ck_assert(says("order-not-kept"));
	for (size_t i = 1; i < 6; i++)
		cycles[i].by_answer = true;
	ck_assert(says("claims-no-cache"));
	cycles[4] = cycles[5];
	cycles[4].verdict.acknowledged_counts = cycles[4].verdict.unflushed_known = true;
	ck_assert(says("all-flushed"));
	break_promises(5, RECHECK_FLUSHED, 1);
	break_promises(5, RECHECK_ACKNOWLEDGED, 1);
	break_promises(5, RECHECK_IN_FLIGHT, 1);
	break_promises(5, RECHECK_UNTOUCHED, 1);
	ck_assert(says("broken") && says("flushed-broken") && says("acknowledged-broken"));
	ck_assert(says("in-flight-broken") && says("untouched-broken"));
	cycles[0].device_errors = 2; /* in which nothing broke */
	ck_assert(!says("disturbed"));
	cycles[5].device_errors = 2;
	ck_assert(says("disturbed"));
	many(1, 50);
	cycles[0].verdict.throughs = 1;
	cycles[0].verdict.through_alone_known = true;
	ck_assert(says("fua-untested"));
	/* What to do about the last one, pasted as it is. */
	many(2, 50);
	cycles[1].rechecks = 0;
	show();
	ck_assert_str_eq(view.findings.list[0].code->code, "not-rechecked");
	ck_assert_str_eq(view.findings.list[view.findings.count - 1].command,
		"blkassay recheck 'it'\\''s.assay' '/dev/sdx'");
	view_release(&view);
	many(0, 0);
	concludes("not-shown", "no promise was tested by a cut");
	view_check_all_codes("cut");
	r = (struct cut_record){ 0 };
}
END_TEST

START_TEST(a_recheck_is_of_the_last_cut)
{
	many(3, 10);
	break_promises(0, RECHECK_FLUSHED, 1);
	cycles[2].rechecks = 0;
	ck_assert_msg(!recheck_view(&view, &run, &r, &err), "%s", err.text);
	view_check(&view);
	ck_assert_str_eq(view.kind, "recheck");
	ck_assert_str_eq(view.findings.list[0].code->code, "kept");
	ck_assert_uint_eq(view_find_table(&view, "cuts")->count, 1);
	view_release(&view);
	r = (struct cut_record){ 0 };
}
END_TEST

/* Older rechecks did not ask when the cut came: of a target that answered to the end nobody knows. */
START_TEST(an_old_recheck_after_the_writing_is_late)
{
	struct record_writer w;

	begin();
	ck_assert_int_eq(record_append(&w, c.path, JOURNAL_KIND, &err), 0);
	line(&w, "recheck", "cycle=1 promises=5 flushed_blocks=9 order_kept=1 complete=1");
	ck_assert_int_eq(record_close(&w, &err), 0);
	load();
	ck_assert_int_eq(recheck_conclude(&r.cycles[0].verdict), RECHECK_KEPT); /* it was gone */
	ck_assert_int_eq(record_append(&w, c.path, JOURNAL_KIND, &err), 0);
	line(&w, "stop", "reason=time at_seconds=0");
	line(&w, "recheck", "cycle=1 promises=5 flushed_blocks=9 order_kept=1 complete=1");
	ck_assert_int_eq(record_close(&w, &err), 0);
	load();
	ck_assert_int_eq(recheck_conclude(&r.cycles[0].verdict), RECHECK_NOT_SHOWN);
	done();
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
	tcase_add_test(t, chance_deals_out_cuts_not_promises);
	tcase_add_test(t, a_late_cut_tests_nothing);
	tcase_add_test(t, pairs_of_flushes);
	tcase_add_test(t, fua_that_flushes_cover_is_not_tested);
	tcase_add_test(t, answers_are_kept_by_many_cuts_only);
	tcase_add_test(t, cuts_before_which_a_cache_was_claimed_test_no_answers);
	tcase_add_test(t, a_cut_that_loses_nothing_shows_no_flush);
	tcase_add_test(t, a_page_begins_with_its_verdict);
	tcase_add_test(t, every_code_of_cuts);
	tcase_add_test(t, a_recheck_is_of_the_last_cut);
	tcase_add_test(t, an_old_recheck_after_the_writing_is_late);
	suite_add_tcase(s, t);
	return s;
}
