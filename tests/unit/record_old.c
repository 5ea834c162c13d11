/* Records of version 1, one of each kind (tests/data/v1, written by the last version that wrote them): they read as they did.
 * The values asserted are those that stand in the files. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "integrity/journal.h"
#include "record/audit_lines.h"
#include "record/cut_load.h"
#include "record/field.h"
#include "record/file.h"
#include "record/kinds.h"
#include "record/line.h"
#include "record/observe_lines.h"
#include "record/old_names.h"
#include "record/verify_lines.h"

#define OLD(kind) "tests/data/v1/" kind ".run"

static struct error err;

static void note_histogram(
	void *context, uint64_t index, const uint64_t *bin_ns, const uint64_t *count, size_t bins)
{
	if (index || !bins)
		return;
	ck_assert_uint_eq(bins, 1);
	ck_assert_uint_eq(bin_ns[0], 104333311);
	ck_assert_uint_eq(count[0], 1);
	++*(int *)context;
}

static void note_trace(
	void *context, uint64_t index, uint64_t step_ns, const uint64_t *bytes, size_t steps)
{
	if (index)
		return;
	ck_assert_uint_eq(step_ns, 5000000);
	ck_assert_uint_eq(steps, 11);
	ck_assert_uint_eq(bytes[10], 65536);
	++*(int *)context;
}

START_TEST(a_sweep)
{
	int seen = 0;
	const struct run_histogram_visitor visit = { &seen, note_histogram, note_trace };
	const struct run_pass *p;
	struct run r;

	ck_assert_msg(run_load(&r, OLD("sweep"), &err) == 0, "%s", err.text);
	ck_assert(!r.cut && !r.damaged_lines);
	ck_assert_str_eq(r.head.label, "build b");
	ck_assert_uint_eq(r.pass_count, 16);
	p = &r.passes[0];
	ck_assert_int_eq(p->direction, RUN_READ);
	ck_assert_int_eq(p->order, RUN_RANDOM);
	ck_assert_uint_eq(p->busy_ns, 104016457);
	ck_assert_uint_eq(p->lat_min_ns, 104016457);
	ck_assert_uint_eq(p->lat_p99_ns, 104016457);
	ck_assert_uint_eq(p->flags, RUN_PASS_SHORT);
	ck_assert(p->device_known);
	ck_assert_uint_eq(r.passes[1].at_ns, 104516457);
	run_release(&r);
	ck_assert_int_eq(run_visit_details(OLD("sweep"), &visit, &err), 0);
	ck_assert_int_eq(seen, 2);
}
END_TEST

START_TEST(a_verify)
{
	struct verify_record v;

	ck_assert_msg(verify_load(&v, OLD("verify"), &err) == 0, "%s", err.text);
	ck_assert(v.planned && v.stated && !v.run.damaged_lines);
	ck_assert_str_eq(v.state.outcome, "complete");
	ck_assert_uint_eq(v.state.write_ns, 545740015);
	ck_assert_uint_eq(v.state.flush_ns, 49885164);
	ck_assert_uint_eq(v.state.read_ns, 579090171);
	ck_assert_uint_eq(v.state.totals.judged, 1024);
	ck_assert_uint_eq(v.state.totals.by_class[DAMAGE_SHIFTED], 8);
	ck_assert_uint_eq(v.range_count, 1);
	ck_assert_int_eq(v.ranges[0].class, DAMAGE_SHIFTED);
	ck_assert_uint_eq(v.ranges[0].offset, 200704);
	ck_assert_uint_eq(v.ranges[0].bytes, 4096);
	verify_record_release(&v);
}
END_TEST

START_TEST(an_observation)
{
	struct observation o;
	struct run r;

	ck_assert_msg(observe_load(&r, &o, OLD("observe"), &err) == 0, "%s", err.text);
	ck_assert(o.traced);
	ck_assert_uint_eq(o.second_count, 2);
	ck_assert_uint_eq(o.seconds[0].ns, 1002442950);
	ck_assert_uint_eq(o.seconds[0].wait_ms[RUN_READ], 4);
	ck_assert_uint_eq(o.total.ns, 1200085583);
	ck_assert_uint_eq(o.total.busy_ms, 4);
	ck_assert_uint_eq(o.size_count, 2);
	ck_assert_uint_eq(o.sizes[0].bytes, 4096);
	ck_assert_uint_eq(o.sizes[0].service_ns, 3959000);
	ck_assert_uint_eq(o.latency[RUN_READ].p99_ns, 3260000);
	ck_assert_uint_eq(o.latency[RUN_WRITE].max_at_ns, 192679626);
	observation_release(&o);
	run_release(&r);
}
END_TEST

START_TEST(a_journal)
{
	struct cut_record c;
	struct journal j;

	ck_assert_msg(journal_load(&j, OLD("journal"), &err) == 0, "%s", err.text);
	ck_assert_uint_eq(j.cycle.number, 2);
	ck_assert_str_eq(j.stop, "time");
	journal_release(&j);
	ck_assert_msg(cut_load(&c, OLD("journal"), &err) == 0, "%s", err.text);
	ck_assert_uint_eq(c.count, 2);
	ck_assert_uint_eq(c.cycles[0].writes + c.cycles[1].writes, 72);
	ck_assert_uint_eq(c.cycles[0].flushes + c.cycles[1].flushes, 16);
	ck_assert_uint_eq(c.cycles[0].verdict.blocks[RECHECK_FLUSHED], 285);
	ck_assert_uint_eq(c.cycles[0].verdict.broken[RECHECK_FLUSHED], 1);
	ck_assert_uint_eq(c.cycles[0].verdict.blocks[RECHECK_IN_FLIGHT], 163);
	ck_assert_uint_eq(c.cycles[0].verdict.ns_before_min, 271044971);
	ck_assert_uint_eq(c.cycles[0].verdict.kind_count, 1);
	ck_assert_uint_eq(c.cycles[0].verdict.damages[0].at, 4608);
	ck_assert_uint_eq(c.cycles[0].verdict.damages[0].bytes, 512);
	ck_assert_uint_eq(c.cycles[0].verdict.damages[0].ns_before, 271044971);
	ck_assert_int_eq(recheck_conclude(&c.cycles[1].verdict), RECHECK_KEPT);
	cut_record_release(&c);
}
END_TEST

/* ---- nothing in them is left unread ---- */

static const struct line_kind *find_kind(const char *name)
{
	for (size_t g = 0; g < kind_group_count; g++)
		for (size_t i = 0; i < kind_groups[g].count; i++)
			if (!strcmp(kind_groups[g].kinds[i]->name, name))
				return kind_groups[g].kinds[i];
	ck_abort_msg("no kind '%s'", name);
	return NULL;
}

static bool is_read(const struct line_kind *k, const char *key, size_t length)
{
	for (size_t i = 0; i < k->count; i++) {
		const char *now = k->fields[i].key, *then = old_names_key(k->name, now);

		if ((strlen(now) == length && !strncmp(now, key, length)) ||
			(then && strlen(then) == length && !strncmp(then, key, length)))
			return true;
	}
	return !strncmp(key, "kind-", 5); /* of a recheck */
}

static const char *const files[] = { OLD("sweep"), OLD("verify"), OLD("audit"), OLD("observe"),
	OLD("journal") };

START_TEST(every_key_is_known)
{
	struct record_reader reader;
	struct line l;
	size_t lines = 0;

	ck_assert_msg(record_open(&reader, files[_i], &err) == 0, "%s", err.text);
	ck_assert_uint_eq(reader.version, 1);
	while (record_next(&reader, &l, &err) > 0) {
		const struct line_kind *k = find_kind(l.kind);

		for (const char *f = l.fields; *f; f += strlen(f) + 1)
			ck_assert_msg(is_read(k, f, strcspn(f, "=")),
				"%s: '%s' of '%s' is read by "
				"nobody",
				files[_i], f, l.kind);
		lines++;
	}
	ck_assert_uint_gt(lines, 8);
	ck_assert_uint_eq(reader.damaged, 0);
	record_reader_release(&reader);
}
END_TEST

/* What goes on with an old record is read from it with what was there before. */
START_TEST(an_old_journal_takes_a_new_recheck)
{
	char copy[] = "/tmp/blkassay-test-XXXXXX";
	struct recheck_result verdict = { .cycle = 2,
		.promises = 15,
		.promises_broken = 1,
		.blocks = { 10, 0, 438, 64 },
		.broken = { 1 },
		.ages_known = true,
		.ns_before_min = 1500,
		.ns_before_max = 2500 };
	struct record_writer w;
	struct cut_record c;
	char command[200];

	close(mkstemp(copy));
	snprintf(command, sizeof command, "cp '%s' '%s'", OLD("journal"), copy);
	ck_assert_int_eq(system(command), 0);
	ck_assert_msg(record_append(&w, copy, JOURNAL_KIND, &err) == 0, "%s", err.text);
	ck_assert_int_eq(recheck_write(&w, &verdict, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(cut_load(&c, copy, &err), 0);
	ck_assert_uint_eq(c.cycles[1].rechecks, 2);
	ck_assert_uint_eq(c.cycles[1].verdict.blocks[RECHECK_IN_FLIGHT], 438);
	ck_assert_uint_eq(c.cycles[1].verdict.broken[RECHECK_FLUSHED], 1);
	ck_assert_uint_eq(c.cycles[1].verdict.ns_before_max, 2500);
	cut_record_release(&c);
	remove(copy);
}
END_TEST

Suite *record_old_suite(void)
{
	Suite *s = suite_create("record_old");
	TCase *t = tcase_create("record_old");

	tcase_add_test(t, a_sweep);
	tcase_add_test(t, a_verify);
	tcase_add_test(t, an_observation);
	tcase_add_test(t, a_journal);
	tcase_add_loop_test(t, every_key_is_known, 0, 5);
	tcase_add_test(t, an_old_journal_takes_a_new_recheck);
	suite_add_tcase(s, t);
	return s;
}
