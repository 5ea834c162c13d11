/* findings/verify_pattern and the sentences made of it: what the damage of a run has in common, and what it does not. */
#include "findings/verify_pattern.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "findings/verify_view.h"
#include "support/view_check.h"

static struct verify_record v;
static struct damage_totals *const t = &v.state.totals;
static char said[8192];

/* A read of 1000 requests of 4 KiB. */
static void setup(void)
{
	v = (struct verify_record){ .planned = true,
		.stated = true,
		.plan = { .region_bytes = 4096000,
			.sizes = { 4096 },
			.size_count = 1,
			.sequential = true,
			.rewrites = 1,
			.read = true },
		.state = { .outcome = "complete",
			.totals = { .block_bytes = 512,
				.region_bytes = 4096000,
				.judged = 8000,
				.cell_bytes = 6656 } } };
	said[0] = 0;
}

static void damage(enum damage_class class, uint64_t count)
{
	t->by_class[class] = count;
	t->by_class[DAMAGE_NONE] = t->judged - count;
}

static void speak(void)
{
	struct error err = { 0 };
	struct view view;
	size_t n = 0;

	ck_assert_msg(!verify_view(&view, &v, &err), "%s", err.text);
	view_check(&view);
	for (size_t i = 0; i < view.findings.count; i++)
		n += (size_t)snprintf(
			said + n, sizeof said - n, "%s\n", view.findings.list[i].sentence);
	view_release(&view);
}

static void says(const char *text)
{
	ck_assert_msg(strstr(said, text) != NULL, "nobody says '%s' in\n%s", text, said);
}

static void says_not(const char *text)
{
	ck_assert_msg(strstr(said, text) == NULL, "somebody says '%s' in\n%s", text, said);
}

/* One block tells nothing about always. */
START_TEST(bits_of_one_block_and_of_two)
{
	damage(DAMAGE_BIT_ERROR, 1);
	t->set_at[4] = 1;
	t->bit_lowest = t->bit_highest = 100 * 8 + 4;
	t->requests_damaged = t->request_middle = 1;
	speak();
	says("usually timing or power");
	says("a worn-out card");
	says_not("always bit");
	says_not("DAT");
	damage(DAMAGE_BIT_ERROR, 2);
	t->set_at[4] = 2;
	t->requests_damaged = t->request_middle = 2;
	speak();
	says("always bit 4 of byte 100 of the block, always read 1, expected 0");
	t->bit_highest = 100 * 8 + 6;
	t->set_at[6] = 1;
	speak();
	says("always in byte 100");
	says_not("always bit");
}
END_TEST

/* A 4-bit bus carries bits 1 and 5 on DAT1. */
START_TEST(bits_of_one_line)
{
	damage(DAMAGE_BIT_ERROR, 3);
	t->cleared_at[1] = 2;
	t->cleared_at[5] = 1;
	t->bit_lowest = 1;
	t->bit_highest = 4000;
	t->requests_damaged = t->request_middle = 3;
	speak();
	says_not("DAT");
	t->cleared_at[5] = 2;
	speak();
	says("line DAT1 (bits 1 and 5 of the byte), always read 0, expected 1");
	t->set_at[0] = 1;
	speak();
	says_not("DAT");
}
END_TEST

START_TEST(places_in_the_request)
{
	damage(DAMAGE_BLANK, 3);
	t->request_last = t->requests_damaged = 3;
	speak();
	says("Only the last block of a request is ever damaged: the end of a multi-block write "
	     "gets lost");
	damage(DAMAGE_BLANK, 0);
	damage(DAMAGE_BIT_ERROR, 3);
	speak();
	says("Only the last block of a request is ever damaged: look at how the end");
	t->request_first = 3;
	t->request_last = 0;
	speak();
	says("Only the first block");
	/* whole requests: of several blocks, all damaged */
	damage(DAMAGE_BIT_ERROR, 0);
	damage(DAMAGE_BLANK, 8);
	t->requests_damaged = t->requests_whole = t->request_first = t->request_last = 1;
	t->request_middle = 6;
	speak();
	says("One whole request is damaged, and no other");
	damage(DAMAGE_BLANK, 16);
	t->requests_damaged = t->requests_whole = 2;
	speak();
	says("whole or not at all");
	t->requests_damaged = 3;
	speak();
	says_not("whole");
}
END_TEST

START_TEST(stamps_of_another_run)
{
	damage(DAMAGE_STALE, 7000);
	t->other_run = 7000;
	t->other_seed = 11;
	speak();
	says("7000 of the blocks judged carry the stamp of another run, with seed 11. Either "
	     "--seed");
	damage(DAMAGE_STALE, 10);
	t->other_run = 10;
	speak();
	says("behind a cache");
	says("10 of the blocks found belong to an earlier run (seed 11)");
	t->other_run = 0;
	speak();
	says_not("seed 11");
}
END_TEST

/* Every third request: said as such only where the period is whole requests. */
START_TEST(one_request_in_so_many)
{
	static struct damage_range ranges[3] = {
		{ .class = DAMAGE_BLANK, .offset = 3584, .bytes = 512 },
		{ .class = DAMAGE_BLANK, .offset = 15872, .bytes = 512 },
		{ .class = DAMAGE_BLANK, .offset = 28160, .bytes = 512 }
	};

	damage(DAMAGE_BLANK, 3);
	t->request_last = t->requests_damaged = 3;
	v.ranges = ranges;
	v.range_count = 3;
	speak();
	says("begin every 12288 bytes");
	says("one request in 3");
	ranges[1].offset = 15872 + 512;
	ranges[2].offset = 28160 + 1024;
	speak();
	says("begin every 12800 bytes");
	says_not("one request in");
}
END_TEST

/* A target that lets go of what lies beyond its end. */
START_TEST(storage_that_ends)
{
	v.run.target.size_bytes = v.plan.region_bytes;
	damage(DAMAGE_BLANK, 2000);
	t->first_offset = 6000 * 512;
	t->requests_damaged = t->requests_whole = 250;
	speak();
	says("Nothing from byte 3072000 on was kept");
	says("end there, at 3.07 MB, whatever it states, or has lost what was written last, or the "
	     "run that wrote stopped there");
	says_not("READ CAPACITY");
	v.plan.write = true;
	speak();
	says("written last.");
	t->first_offset -= 512; /* one of them was kept */
	speak();
	says_not("seems to end");
	t->first_offset = 0;
	damage(DAMAGE_BLANK, 8000);
	speak();
	says_not("seems to end");
	/* The last block alone, unreadable; read twice over. */
	t->judged = 16000;
	damage(DAMAGE_BLANK, 0);
	damage(DAMAGE_UNREADABLE, 2);
	t->first_offset = 7999 * 512;
	speak();
	says("Nothing from byte 4095488 on");
	says("READ CAPACITY has to answer with the address of the last block");
	damage(DAMAGE_UNREADABLE, 1); /* only once of twice */
	speak();
	says_not("seems to end");
	/* Another kind of damage is no end. */
	damage(DAMAGE_UNREADABLE, 0);
	damage(DAMAGE_BIT_ERROR, 2);
	speak();
	says_not("seems to end");
}
END_TEST

/* Places with gaps between them: at 0, 409600 and 4091904. */
START_TEST(storage_that_ends_between_places)
{
	v.plan.write = true;
	v.plan.spot_count = 3;
	v.plan.spots[1] = 409600;
	v.plan.spots[2] = 4091904;
	t->judged = 24;
	damage(DAMAGE_FOREIGN, 8);
	t->first_offset = 4091904;
	speak();
	says("Nothing from byte 4091904 on was kept, and everything up to byte 413696:");
	damage(DAMAGE_FOREIGN, 11); /* and the last three blocks of the second place */
	t->first_offset = 409600 + 5 * 512;
	speak();
	says("the target seems to end there, at 412 kB");
	damage(DAMAGE_FOREIGN, 10);
	speak();
	says_not("seems to end");
}
END_TEST

Suite *verify_pattern_suite(void)
{
	Suite *s = suite_create("verify_pattern");
	TCase *c = tcase_create("verify_pattern");

	tcase_add_checked_fixture(c, setup, NULL);
	tcase_add_test(c, bits_of_one_block_and_of_two);
	tcase_add_test(c, bits_of_one_line);
	tcase_add_test(c, places_in_the_request);
	tcase_add_test(c, stamps_of_another_run);
	tcase_add_test(c, one_request_in_so_many);
	tcase_add_test(c, storage_that_ends);
	tcase_add_test(c, storage_that_ends_between_places);
	suite_add_tcase(s, c);
	return s;
}
