/* The view of a verify: each verdict where it is due and nowhere else, and every code of the kind. */
#include "findings/verify_view.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "report/page.h"
#include "report/text_lines.h"
#include "report/text_view.h"
#include "support/view_check.h"

enum { BLOCKS = 8000, BLOCK = 512 };

static struct verify_record v;
static struct damage_totals *const t = &v.state.totals;
static struct view view;
static struct text shown;
static bool viewed;

/* A verify of 1000 requests of 4 KiB, all of the target, which found nothing. */
static void start(void)
{
	v = (struct verify_record){ .planned = true,
		.stated = true,
		.run.target.size_bytes = BLOCKS * BLOCK,
		.run.target.logical_block_bytes = BLOCK,
		.run.end = { .present = true, .status = "complete" },
		.plan = { .region_bytes = BLOCKS * BLOCK,
			.sizes = { 4096 },
			.size_count = 1,
			.sequential = true,
			.rewrites = 1,
			.write = true,
			.read = true },
		.state = { .outcome = "complete",
			.pass = 1,
			.passes = 1,
			.written_bytes = BLOCKS * BLOCK,
			.totals = { .block_bytes = BLOCK,
				.region_bytes = BLOCKS * BLOCK,
				.judged = BLOCKS,
				.by_class = { BLOCKS },
				.cell_bytes = 6656 } } };
	for (size_t i = 0; i < DAMAGE_MAP_CELLS; i++)
		t->cell_judged[i] = 13;
}

static void setup(void)
{
	start();
	text_init(&shown);
	viewed = false;
}

static void finish(void)
{
	if (viewed)
		view_release(&view);
	viewed = false;
}

static void teardown(void)
{
	finish();
	text_release(&shown);
}

static void damage(enum damage_class class, uint64_t count)
{
	t->by_class[class] = count;
	t->by_class[DAMAGE_NONE] = t->judged;
	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++)
		t->by_class[DAMAGE_NONE] -= t->by_class[c];
}

static const char *verdict(void)
{
	struct error err = { 0 };

	finish();
	ck_assert_msg(!verify_view(&view, &v, &err), "%s", err.text);
	viewed = true;
	view_check(&view);
	return view.findings.list[0].code->code;
}

static bool says(const char *code)
{
	for (size_t i = 0; i < view.findings.count; i++)
		if (!strcmp(view.findings.list[i].code->code, code))
			return true;
	return false;
}

static uint64_t capacity(void)
{
	const struct verify_summary *s = view_find_table(&view, "summary")->rows;

	return s->capacity_bytes;
}

/* ---- verdicts ---- */

static void try_clean_is_said_of_what_is_clean(void)
{
	ck_assert_str_eq(verdict(), "clean");
	ck_assert_uint_eq(capacity(), BLOCKS * BLOCK);
	v.plan.region_bytes = t->region_bytes = BLOCKS * BLOCK / 2; /* half of the target */
	ck_assert_str_eq(verdict(), "clean");
	ck_assert_uint_eq(capacity(), 0);
}

START_TEST(clean_is_said_of_what_is_clean)
{
	try_clean_is_said_of_what_is_clean();
}
END_TEST

/* What a gadget may answer from its memory: not what was read by itself, and not an image. */
START_TEST(reading_under_power_is_said)
{
	ck_assert_str_eq(verdict(), "clean");
	ck_assert(says("read-under-power"));
	v.plan.write = false;
	ck_assert_str_eq(verdict(), "clean");
	ck_assert(!says("read-under-power"));
	v.plan.write = true;
	strcpy(v.run.target.kind, "image");
	ck_assert_str_eq(verdict(), "clean");
	ck_assert(!says("read-under-power"));
}
END_TEST

static void try_clean_is_not_said_where_something_failed(void)
{
	v.state.reads.requests = 1;
	ck_assert_str_eq(verdict(), "requests-failed");
	ck_assert_uint_eq(capacity(), 0);
	v.state.reads.requests = 0;
	v.state.flush_errno = EIO;
	ck_assert_str_eq(verdict(), "requests-failed");
	v.state.flush_errno = 0;
	v.state.writes.requests = 1;
	v.plan.read = false;
	t->judged = t->by_class[DAMAGE_NONE] = 0;
	ck_assert_str_eq(verdict(), "requests-failed");
	v.state.writes.requests = 0;
	ck_assert_str_eq(verdict(), "written");
}

START_TEST(clean_is_not_said_where_something_failed)
{
	try_clean_is_not_said_where_something_failed();
}
END_TEST

static void try_clean_is_not_said_of_what_did_not_end(void)
{
	static const char *const outcomes[] = { "running", "interrupted", "gave up", "failed" };

	for (size_t i = 0; i < sizeof outcomes / sizeof *outcomes; i++) {
		start();
		text_copy(v.state.outcome, sizeof v.state.outcome, outcomes[i]);
		v.state.reading = true;
		v.state.pass = 0;
		t->judged = t->by_class[DAMAGE_NONE] = BLOCKS / 2;
		ck_assert_str_eq(verdict(), "stopped");
		ck_assert_ptr_nonnull(
			strstr(view.findings.list[0].sentence, "The rest was not judged."));
		ck_assert_uint_eq(capacity(), 0);
		ck_assert(says("go-on"));
		damage(DAMAGE_BLANK, 1);
		ck_assert_str_eq(verdict(), "damaged");
		ck_assert(says("stopped"));
	}
	v.plan.kept_data = true; /* its own data is back: there is nothing to go on with */
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert(!says("go-on"));
	v.stated = false;
	memset(&v.state, 0, sizeof v.state);
	ck_assert_str_eq(verdict(), "nothing");
}

START_TEST(clean_is_not_said_of_what_did_not_end)
{
	try_clean_is_not_said_of_what_did_not_end();
}
END_TEST

/* A read alone, of a target that nobody has written to as far as anyone can see. */
static void try_nothing_is_called_damaged_where_nobody_wrote(void)
{
	v.plan.write = false;
	damage(DAMAGE_BLANK, BLOCKS - 3);
	damage(DAMAGE_FOREIGN, 3);
	ck_assert_str_eq(verdict(), "not-written");
	ck_assert(!says("usual-cause"));
	ck_assert(verify_has_no_trace(t, false));
	/* It wrote itself: then all is lost. */
	v.plan.write = true;
	ck_assert_str_eq(verdict(), "damaged");
	v.plan.write = false;
	/* One right block, one with flipped bits, or one of an older generation: the seed wrote here. */
	damage(DAMAGE_FOREIGN, 2);
	ck_assert_str_eq(verdict(), "damaged");
	damage(DAMAGE_BIT_ERROR, 1);
	ck_assert_str_eq(verdict(), "damaged");
	damage(DAMAGE_BIT_ERROR, 0);
	damage(DAMAGE_STALE, 1);
	ck_assert_str_eq(verdict(), "damaged");
	t->other_run = 1; /* of another seed: it did not */
	t->other_seed = 11;
	ck_assert_str_eq(verdict(), "other-run");
	/* What cannot be read is damage whoever wrote it. */
	damage(DAMAGE_STALE, 0);
	t->other_run = 0;
	damage(DAMAGE_UNREADABLE, 1);
	ck_assert_str_eq(verdict(), "damaged");
}

START_TEST(nothing_is_called_damaged_where_nobody_wrote)
{
	try_nothing_is_called_damaged_where_nobody_wrote();
}
END_TEST

/* Addresses that repeat after a third of the target. */
static void repeat(uint64_t bytes)
{
	uint64_t kept = bytes / BLOCK;

	damage(DAMAGE_MISPLACED, BLOCKS - kept);
	t->distance_gcd = t->distance_min = bytes;
	t->distance_max = 2 * bytes;
	t->found_ahead = BLOCKS - kept; /* written in order, later blocks overwrite earlier ones */
	t->requests_damaged = t->requests_whole = (BLOCKS - kept) / 8;
}

static void try_a_capacity_is_called_wrong_when_addresses_repeat(void)
{
	repeat(2048 * BLOCK);
	ck_assert_str_eq(verdict(), "capacity-wrong");
	ck_assert_uint_eq(capacity(), 2048 * BLOCK);
	ck_assert(says("damaged"));
	ck_assert(says("power-of-two")); /* 2^11 */
	repeat(2040 * BLOCK);
	ck_assert_str_eq(verdict(), "capacity-wrong");
	ck_assert(!says("power-of-two"));
	/* What was written first is still there: only reads repeat, and nothing is known of the capacity. */
	t->found_ahead = 0;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert_uint_eq(capacity(), 0);
	ck_assert(says("reads-repeat"));
	/* In random order each request belongs further on by an even chance. */
	v.plan.random = true;
	t->found_ahead = 8;
	ck_assert_str_eq(verdict(), "capacity-wrong");
	t->found_ahead = 0;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert(says("reads-repeat"));
	t->requests_damaged = 4; /* which all fall alike once in sixteen times */
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert(!says("reads-repeat"));
	ck_assert(says("repeats-undecided"));
	v.plan.random = false;
	/* Two blocks that changed places are off by the same distance, and no false capacity. */
	damage(DAMAGE_MISPLACED, 2);
	t->found_ahead = 1;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert_uint_eq(capacity(), 0);
}

START_TEST(a_capacity_is_called_wrong_when_addresses_repeat)
{
	try_a_capacity_is_called_wrong_when_addresses_repeat();
}
END_TEST

/* Everything beyond `kept` blocks lands in the last of them: it holds the very last block written. */
static void fold(uint64_t kept)
{
	damage(DAMAGE_MISPLACED, BLOCKS - kept);
	t->first_offset = (kept - 1) * BLOCK;
	t->last_offset = (BLOCKS - 2) * BLOCK;
	t->source_first = t->source_last = (BLOCKS - 1) * BLOCK;
	t->distance_gcd = t->distance_min = BLOCK;
	t->distance_max = (BLOCKS - kept) * BLOCK;
	t->found_ahead = BLOCKS - kept;
}

START_TEST(storage_that_ends_in_one_place)
{
	fold(5000);
	ck_assert_str_eq(verdict(), "capacity-wrong");
	ck_assert_uint_eq(capacity(), 5000 * BLOCK);
	/* What it holds was not written to the very end. */
	t->source_first = t->last_offset;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert_uint_eq(capacity(), 0);
	fold(5000);
	v.plan.random = true; /* the last one written to a place is any */
	ck_assert_str_eq(verdict(), "damaged");
	v.plan.random = false;
	v.plan.region_start = BLOCK; /* what lies before was not looked at */
	ck_assert_str_eq(verdict(), "damaged");
	v.plan.region_start = 0;
	t->by_class[DAMAGE_MISPLACED]--; /* and something else is damaged */
	t->by_class[DAMAGE_BLANK]++;
	ck_assert_str_eq(verdict(), "damaged");
	/* One request that lies in two places. */
	fold(BLOCKS - 8);
	t->first_offset = 0;
	t->last_offset = 7 * BLOCK;
	t->source_first = (BLOCKS - 8) * BLOCK;
	t->requests_damaged = 1;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert_uint_eq(capacity(), 0);
}
END_TEST

/* ---- every code ---- */

static void bits(uint64_t lowest, uint64_t highest, int set_at)
{
	t->bit_lowest = lowest;
	t->bit_highest = highest;
	memset(t->set_at, 0, sizeof t->set_at);
	t->set_at[set_at] = 4;
	t->set_at[(highest) % 8] += 1;
}

START_TEST(every_code_of_a_verify)
{
	static struct damage_range ranges[3] = {
		{ .class = DAMAGE_BLANK, .offset = 0, .bytes = 4096, .detail = "all 0x00" },
		{ .class = DAMAGE_BLANK, .offset = 16384, .bytes = 4096 },
		{ .class = DAMAGE_BLANK, .offset = 32768, .bytes = 4096 },
	};

	try_clean_is_said_of_what_is_clean();
	start();
	v.run.end.present = false;
	v.plan.spot_count = 3; /* which show only some capacities */
	v.plan.spots[1] = 409600;
	v.plan.spots[2] = 4091904;
	t->judged = t->by_class[DAMAGE_NONE] = 24;
	ck_assert_str_eq(verdict(), "clean");
	ck_assert(says("capacity-not-shown"));
	v.plan.region_bytes = t->region_bytes = 2 * 4096;
	v.plan.spot_count = 2; /* the halves, side by side: everything */
	v.plan.spots[1] = 4096;
	t->judged = t->by_class[DAMAGE_NONE] = 16;
	ck_assert_str_eq(verdict(), "clean");
	ck_assert(says("no-false-capacity"));

	start();
	v.ranges = ranges;
	v.range_count = 3;
	damage(DAMAGE_BLANK, 24);
	t->last_offset = 36352;
	t->requests_damaged = t->requests_whole = 3;
	t->request_first = t->request_last = 3;
	t->request_middle = 18;
	t->unlisted = 5;
	v.state.writes = (struct verify_record_failures){ 2, 16, 3, 4096, EIO };
	v.state.reads = (struct verify_record_failures){ 1, 8, 0, 0, 0 };
	v.state.flush_errno = ENOSPC;
	v.state.device_errors = 1;
	ck_assert_str_eq(verdict(), "damaged");
	ck_assert(says("period") && says("alignment") && says("whole-requests"));
	t->request_first = t->request_middle = 0;
	verdict();
	ck_assert(says("request-end"));
	t->request_first = t->request_last;
	t->request_last = 0;
	verdict();
	ck_assert(says("request-start"));

	start();
	damage(DAMAGE_STALE, 2);
	damage(DAMAGE_MISPLACED, 2);
	damage(DAMAGE_SHIFTED, 2);
	damage(DAMAGE_BIT_ERROR, 2);
	t->other_run = 1;
	t->distance_min = t->distance_max = BLOCK;
	t->slip_min = t->slip_max = -3;
	bits(801, 801, 1);
	v.state.places_tried = v.state.places_apart = 2;
	verdict();
	ck_assert(says("copies"));
	ck_assert(says("one-bit") && says("one-slip") && says("one-distance"));
	ck_assert(says("earlier-run"));
	bits(801, 1605, 1);
	verdict();
	ck_assert(says("one-data-line"));
	bits(801, 802, 1);
	verdict();
	ck_assert(says("one-byte"));

	start();
	damage(DAMAGE_BLANK, 1);
	t->first_offset = t->last_offset = (BLOCKS - 1) * BLOCK;
	verdict();
	ck_assert(says("storage-ends") && says("last-block"));

	start();
	v.plan.spot_count = 2;
	v.plan.spots[1] = 2048000;
	t->judged = 16;
	damage(DAMAGE_MISPLACED, 8);
	t->distance_gcd = t->distance_min = t->distance_max = 2048000;
	t->found_ahead = 8;
	verdict();
	ck_assert(says("addresses-repeat"));

	start();
	v.plan.read = false;
	t->judged = t->by_class[DAMAGE_NONE] = 0;
	ck_assert_str_eq(verdict(), "written");
	ck_assert(says("read-later"));
	start();
	try_a_capacity_is_called_wrong_when_addresses_repeat();
	start();
	try_nothing_is_called_damaged_where_nobody_wrote();
	start();
	try_clean_is_not_said_of_what_did_not_end();
	start();
	try_clean_is_not_said_where_something_failed();
	view_check_all_codes("verify");
}
END_TEST

/* ---- classes ---- */

/* One row each, whole; signs differ from each other and from those of no class. */
START_TEST(every_class_has_its_row)
{
	char signs[DAMAGE_CLASSES + 3] = { DAMAGE_SIGN_SEVERAL, DAMAGE_SIGN_NOT_JUDGED };

	for (int c = 0; c < DAMAGE_CLASSES; c++) {
		const struct damage_row *row = damage_row((enum damage_class)c);

		ck_assert_msg(row->name && row->code && row->counted && row->meaning && row->cause,
			"class %d has no row", c);
		ck_assert_int_eq(damage_class_parse(row->name), c);
		ck_assert_ptr_null(strpbrk(row->code, " +"));
		ck_assert_msg(
			row->sign > ' ' && !strchr(signs, row->sign), "sign of %s", row->name);
		signs[2 + c] = row->sign;
	}
	ck_assert_int_eq(damage_class_parse("mouldy"), -1);
}
END_TEST

/* Each is counted, explained and shown on the map, on every screen. */
START_TEST(every_class_is_shown)
{
	static const struct text_style style = { .columns = 80 };
	struct error err = { 0 };

	for (int c = DAMAGE_NONE + 1; c < DAMAGE_CLASSES; c++) {
		const struct damage_row *row = damage_row((enum damage_class)c);
		char sign[] = { '=', row->sign, '=', 0 };

		start();
		damage((enum damage_class)c, 7);
		t->slip_max = 1; /* nothing special about them */
		t->distance_max = 2;
		t->cell_damaged[5] = 7;
		t->cell_classes[5] = 1U << c;
		ck_assert_str_eq(verdict(), "damaged");
		text_reset(&shown);
		ck_assert_int_eq(text_view_add(&shown, &view, &style, &err), 0);
		ck_assert_ptr_nonnull(strstr(shown.bytes, row->counted));
		ck_assert_msg(strstr(shown.bytes, sign) != NULL, "no %s on the map", sign);
		page_add_view(&shown, &view, 0);
		ck_assert_ptr_nonnull(strstr(shown.bytes, row->meaning));
	}
}
END_TEST

/* ---- the map ---- */

static size_t count(const char *in, const char *what)
{
	size_t n = 0;

	for (const char *at = strstr(in, what); at; at = strstr(at + 1, what))
		n++;
	return n;
}

/* The area that marks of damage have on a page, as a share of their strips: 478 x 24 units each. */
static double painted(void)
{
	double area = 0, x, y, width, height;
	const char *at;

	text_reset(&shown);
	page_add_view(&shown, &view, 0);
	for (at = strstr(shown.bytes, "class=\"strip hit\""); at;
		at = strstr(at + 1, "class=\"strip hit\"")) {
		ck_assert_int_eq(sscanf(at,
					 "class=\"strip hit\" x=\"%lf\" y=\"%lf\" width=\"%lf\" "
					 "height=\"%lf\"",
					 &x, &y, &width, &height),
			4);
		area += width * height;
	}
	return area / (478.0 * 24);
}

/* Damage of 0.2 % that is scattered over half of the cells. */
START_TEST(little_damage_paints_little)
{
	damage(DAMAGE_BIT_ERROR, BLOCKS / 500);
	for (size_t i = 0; i < DAMAGE_MAP_CELLS; i += 2) {
		t->cell_damaged[i] = 1;
		t->cell_judged[i] = 500;
		t->cell_classes[i] = 1U << DAMAGE_BIT_ERROR;
	}
	verdict();
	ck_assert_double_lt(painted(), 0.15);
	ck_assert_double_gt(painted(), 0);
	/* All from the 321st of 616 cells on. */
	memset(t->cell_damaged, 0, sizeof t->cell_damaged);
	memset(t->cell_classes, 0, sizeof t->cell_classes);
	for (size_t i = DAMAGE_MAP_CELLS / 2; i < DAMAGE_MAP_CELLS; i++) {
		t->cell_damaged[i] = t->cell_judged[i] = 13;
		t->cell_classes[i] = 1U << DAMAGE_BLANK;
	}
	verdict();
	ck_assert_double_eq_tol(painted(), 296.0 / 616, 0.005);
}
END_TEST

/* No pipes, no addresses at the left, groups of sixteen, and no sign that elsewhere means something else. */
START_TEST(the_map_on_plain_text)
{
	static const struct text_style narrow = { .columns = 80 }, wide = { .columns = 400 };
	struct error err = { 0 };
	const char *row;

	damage(DAMAGE_BLANK, 13);
	damage(DAMAGE_STALE, 1);
	for (size_t i = 2; i < 4; i++) {
		t->cell_damaged[i] = 7;
		t->cell_classes[i] = 1U << DAMAGE_BLANK | (i == 3 ? 1U << DAMAGE_STALE : 0);
	}
	t->cell_judged[5] = 0;
	verdict();
	ck_assert_int_eq(text_view_add(&shown, &view, &narrow, &err), 0);
	row = strstr(shown.bytes, "One sign for 6.66 kB:\n");
	ck_assert_ptr_nonnull(row);
	ck_assert_ptr_nonnull(strstr(row, "\n==BX=-========== ================ ================ "
					  "================  to 426 kB\n"));
	/* 8000 blocks in cells of 13: the 616th has 5 of them. */
	ck_assert_ptr_nonnull(strstr(row, "\n================ ================ ======== "));
	ck_assert_ptr_nonnull(strstr(row, "  to 4.10 MB\n"));
	ck_assert_ptr_nonnull(strstr(row, "\n= right   B blank   X several   - not judged\n"));
	ck_assert_uint_eq(count(row, "  to "), 10);
	text_reset(&shown);
	ck_assert_int_eq(text_view_add(&shown, &view, &wide, &err), 0);
	ck_assert_uint_eq(count(shown.bytes, "  to "), 5);
}
END_TEST

/* Neighbouring cells that are alike are one stretch, and the stretches are the whole region. */
START_TEST(the_map_for_programs)
{
	const struct table *map;
	const struct verify_stretch *s;
	uint64_t end = 0, judged = 0;

	damage(DAMAGE_BLANK, 2);
	t->cell_damaged[7] = t->cell_damaged[8] = 1;
	t->cell_classes[7] = t->cell_classes[8] = 1U << DAMAGE_BLANK;
	t->cell_judged[9] = 0;
	verdict();
	map = view_find_table(&view, "map");
	s = map->rows;
	ck_assert_uint_eq(map->count, 4);
	ck_assert_uint_eq(s[1].offset, 7 * 6656);
	ck_assert_uint_eq(s[1].bytes, 2 * 6656);
	ck_assert_uint_eq(s[1].damaged, 2);
	ck_assert_str_eq(s[1].classes, "blank");
	for (size_t i = 0; i < map->count; i++) {
		ck_assert_uint_eq(s[i].offset, end);
		end += s[i].bytes;
		judged += s[i].judged;
	}
	ck_assert_uint_eq(end, BLOCKS * BLOCK);
	ck_assert_uint_eq(judged, 615 * 13);
}
END_TEST

Suite *verify_view_suite(void)
{
	Suite *s = suite_create("verify_view");
	TCase *c = tcase_create("verify_view");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_add_test(c, storage_that_ends_in_one_place);
	tcase_add_test(c, clean_is_said_of_what_is_clean);
	tcase_add_test(c, reading_under_power_is_said);
	tcase_add_test(c, clean_is_not_said_where_something_failed);
	tcase_add_test(c, clean_is_not_said_of_what_did_not_end);
	tcase_add_test(c, nothing_is_called_damaged_where_nobody_wrote);
	tcase_add_test(c, a_capacity_is_called_wrong_when_addresses_repeat);
	tcase_add_test(c, every_code_of_a_verify);
	tcase_add_test(c, every_class_has_its_row);
	tcase_add_test(c, every_class_is_shown);
	tcase_add_test(c, little_damage_paints_little);
	tcase_add_test(c, the_map_on_plain_text);
	tcase_add_test(c, the_map_for_programs);
	suite_add_tcase(s, c);
	return s;
}
