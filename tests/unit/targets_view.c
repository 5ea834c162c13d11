/* The view of what may be tested here: its verdicts and codes, and that text, page, CSV and JSON have all of it. */
#include "findings/targets_view.h"

#include <check.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "report/csv.h"
#include "report/page.h"
#include "report/sink.h"
#include "report/text_lines.h"
#include "report/text_view.h"
#include "support/view_check.h"

static struct text text;
static struct view view;
static bool viewed;

/* A gadget in use with two partitions, and a free one that this user cannot open. */
static struct target rows[4];

static struct target disk(const char *path, const char *token)
{
	return (struct target){ .path = path,
		.token = token,
		.may_read = true,
		.may_write = true,
		.why_not = "fine",
		.advice = "",
		.vendor = "",
		.model = "",
		.serial = "",
		.transport = "usb",
		.link_bits_per_second = 12000000,
		.backing_file = "",
		.removable = true,
		.size_bytes = 33554432,
		.logical_block_bytes = 512,
		.physical_block_bytes = 4096,
		.request_limit_bytes = 122880,
		.cache = "write through",
		.used_by = "",
		.holds = "",
		.kept_by = "",
		.restore = "" };
}

static void forbid(struct target *t, const char *why_not, const char *advice)
{
	t->may_write = false;
	t->why_not = why_not;
	t->advice = advice;
}

static void setup(void)
{
	rows[0] = disk("/dev/sdx", "BUOY-0001-33554432");
	rows[0].vendor = "INVENTED";
	rows[0].model = "buoy, \"logger\"";
	rows[0].serial = "=BUOY-0001";
	rows[0].used_by = "mounted on /media/buoy (sdx1)";
	rows[0].holds = "FAT32";
	rows[1] = disk("/dev/sdx1", "BUOY-0001-33554432-part1");
	rows[2] = disk("/dev/sdx2", "BUOY-0001-33554432-part2");
	rows[1].partition = rows[2].partition = true;
	for (int i = 0; i < 3; i++)
		forbid(&rows[i], "mounted", "'/dev/sdx' is mounted; unmount it first");
	rows[3] = disk("/dev/sdy", "BUOY-0002-33554432");
	rows[3].may_read = false;
	text_init(&text);
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
	text_release(&text);
}

static const char *verdict(size_t count, size_t unused_loops)
{
	struct error err = { 0 };

	finish();
	ck_assert_msg(!targets_view(&view, rows, count, unused_loops, &err), "%s", err.text);
	viewed = true;
	view_check(&view);
	return view.findings.list[0].code->code;
}

START_TEST(every_code_of_targets)
{
	ck_assert_str_eq(verdict(4, 1), "writable");
	ck_assert_str_eq(view.findings.list[0].sentence,
		"1 of 4 targets may be written to, with --erase TOKEN or --keep-data: /dev/sdy. "
		"Reading needs no token.");
	rows[3].kept_by = "verify 20261126T021500Z-1f3a9c07";
	rows[3].restore = "blkassay restore '/srv/a.run.kept' '/dev/sdy'";
	verdict(4, 1);
	ck_assert_str_eq(view.findings.list[1].sentence,
		"'/dev/sdy': its own data was saved by verify 20261126T021500Z-1f3a9c07. If it was "
		"not put back since, put it back:");
	ck_assert_str_eq(view.findings.list[1].command, rows[3].restore);
	ck_assert_str_eq(view.findings.list[2].sentence,
		"1 of these cannot be opened by this user: a run needs root, or the group that "
		"owns them (often 'disk').");
	ck_assert_str_eq(verdict(3, 0), "none-writable");
	ck_assert_str_eq(verdict(0, 0), "nothing");
	view_check_all_codes("targets");
}
END_TEST

START_TEST(many_are_counted)
{
	static struct target many[6];
	struct error err = { 0 };

	for (int i = 0; i < 6; i++)
		many[i] = disk("/dev/sdz", "T");
	ck_assert(!targets_view(&view, many, 6, 0, &err));
	viewed = true;
	ck_assert_ptr_nonnull(strstr(view.findings.list[0].sentence,
		": /dev/sdz, /dev/sdz, /dev/sdz, /dev/sdz and 2 more. Reading"));
}
END_TEST

START_TEST(targets_as_text)
{
	static const struct text_style style = { .columns = 80 };
	struct error err = { 0 };

	verdict(4, 0);
	ck_assert_int_eq(text_view_add(&text, &view, &style, &err), 0);
	ck_assert_ptr_nonnull(strstr(text.bytes,
		"\nTargets\n"
		"/dev/sdx, 33.6 MB, INVENTED buoy, \"logger\", serial =BUOY-0001\n"
		"  link        usb, 12 Mb/s (full speed), removable\n"
		"  transfers   blocks of 512 B (4 KiB physical), requests of up to 120 KiB, cache\n"
		"              write through\n"
		"  used by     mounted on /media/buoy (sdx1)\n"
		"  holds       FAT32\n"
		"  token       BUOY-0001-33554432\n"
		"  may write   no, mounted: '/dev/sdx' is mounted; unmount it first\n"
		"  partitions  /dev/sdx1, 33.6 MB, token BUOY-0001-33554432-part1; /dev/sdx2,\n"
		"              33.6 MB, token BUOY-0001-33554432-part2\n"
		"\n"
		"/dev/sdy, 33.6 MB\n"));
	ck_assert_ptr_nonnull(strstr(text.bytes, "  used by     nothing\n"));
	ck_assert_ptr_nonnull(
		strstr(text.bytes, "  may write   yes, with --erase TOKEN or --keep-data\n"));
	/* What is not known takes no line. */
	ck_assert_ptr_null(strstr(text.bytes, "partitions  -"));
}
END_TEST

START_TEST(targets_on_a_page)
{
	rows[0].model = "<b>";
	verdict(4, 0);
	page_add_view(&text, &view, 0);
	ck_assert_ptr_nonnull(strstr(text.bytes, "<h3>/dev/sdx, 33.6 MB, INVENTED &lt;b&gt;"));
	ck_assert_ptr_nonnull(strstr(text.bytes, "<dt>token</dt><dd>BUOY-0002-33554432</dd>\n"));
}
END_TEST

static int keep(void *context, struct text *t, struct error *err)
{
	(void)err;
	text_add(context, t->bytes, t->length);
	text_reset(t);
	return 0;
}

START_TEST(targets_as_csv)
{
	struct sink sink = { &text, keep };
	struct error err = { 0 };
	struct text scratch;

	text_init(&scratch);
	verdict(4, 0);
	ck_assert_int_eq(csv_add_view(&scratch, &view, true, &sink, &err), 0);
	ck_assert_ptr_nonnull(strstr(text.bytes, "path,kind,token,may_read,may_write,why_not,"));
	ck_assert_ptr_nonnull(strstr(text.bytes,
		"\r\n/dev/sdx,disk,BUOY-0001-33554432,true,false,mounted,33554432,INVENTED,"
		"\"buoy, \"\"logger\"\"\",'=BUOY-0001,usb,12000000,,true,false,512,4096,122880,"
		"write through,mounted on /media/buoy (sdx1),'/dev/sdx' is mounted; unmount it "
		"first,FAT32\r\n"));
	ck_assert_ptr_nonnull(
		strstr(text.bytes, "\r\n/dev/sdx2,partition,BUOY-0001-33554432-part2,true,false,"));
	ck_assert_ptr_nonnull(strstr(
		text.bytes, "\r\n/dev/sdy,disk,BUOY-0002-33554432,false,true,,33554432,,,,usb,"));
	text_release(&scratch);
}
END_TEST

Suite *targets_view_suite(void)
{
	Suite *s = suite_create("targets_view");
	TCase *c = tcase_create("targets_view");

	tcase_add_checked_fixture(c, setup, teardown);
	tcase_add_test(c, every_code_of_targets);
	tcase_add_test(c, many_are_counted);
	tcase_add_test(c, targets_as_text);
	tcase_add_test(c, targets_on_a_page);
	tcase_add_test(c, targets_as_csv);
	suite_add_tcase(s, c);
	return s;
}
