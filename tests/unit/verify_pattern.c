/* report/verify_pattern and the sentences made of it: what the damage of a run has in common, and what it does not. */
#include "report/verify_pattern.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

#include "report/notices.h"
#include "report/verify_text.h"

static struct verify_record v;
static struct damage_totals *const t = &v.state.totals;
static char said[8192];

static void note(void *context, enum notice_kind kind, const char *sentence)
{
	size_t n = strlen(said);

	(void)context;
	(void)kind;
	snprintf(said + n, sizeof said - n, "%s\n", sentence);
}

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
	const struct notice_visitor visitor = { NULL, note };

	said[0] = 0;
	verify_sentences_visit(&v, &visitor);
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
	says_not("always bit");
	says_not("DAT");
	damage(DAMAGE_BIT_ERROR, 2);
	t->set_at[4] = 2;
	t->requests_damaged = t->request_middle = 2;
	speak();
	says("always bit 4 of byte 100 of the block, always 0 to 1");
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
	says("line DAT1 (bits 1 and 5 of the byte), always 1 to 0");
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
	says("7000 of the 8000 blocks judged carry the stamp of another run, with seed 11. Either "
	     "--seed");
	says_not("behind a cache");
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
	suite_add_tcase(s, c);
	return s;
}
