/* The text of a gadget model: what it says is what comes out, and every mistake is named with its line. */
#include "medium/model_spec.h"

#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/error.h"

static const char whole[] = "# a comment\n"
			    "\n"
			    "gadget-model 1\r\n"
			    "device:\n"
			    "  name = full house # with a comment\n"
			    "  vendor = INVENTED\n"
			    "  product = thing\n"
			    "  serial = S-1\n"
			    "  capacity = 1GB\n"
			    "  block = 512\n"
			    "  fill = a5h\n"
			    "  jitter = 2.5 %\n"
			    "  seed = 18446744073709551615\n"
			    "link:\n"
			    "\tspeed=high\n"
			    "\trate = 40.5 MB/s\n"
			    "\trequest cost = 80us\n"
			    "\thost gap = 0.25 ms\n"
			    "\trequest limit = 64Ki\n"
			    "card :\n"
			    "read rate = 870 kB/s\n"
			    "write rate = unlimited\n"
			    "write command cost = 1 s\n"
			    "write unit = 16Ki\n"
			    "stall every = 1Mi\n"
			    "stall time = 250 ms\n"
			    "firmware:\n"
			    "unit = sector\n"
			    "transfer = overlapped\n"
			    "chunk = 2Ki\n"
			    "write behind = 32Ki\n"
			    "reads = from-buffer\n"
			    "claims:\n"
			    "caching page = yes\n"
			    "write cache = yes\n"
			    "fua = no\n"
			    "faults:\n"
			    "lose write = 1 in 50\n"
			    "bad range = 1Mi+4Ki\n"
			    "bad range report = flush\n"
			    "stuck line = 0\n"
			    "stuck level = high"; /* no newline at the end */

START_TEST(says_what_it_means)
{
	struct model_spec s;
	struct error err = { 0 };

	ck_assert_msg(model_spec_parse(&s, whole, strlen(whole), "t", &err) == 0, "%s", err.text);
	ck_assert_str_eq(s.device.name, "full house");
	ck_assert_uint_eq(s.device.capacity_bytes, 1000000000);
	ck_assert_uint_eq(s.device.fill, 0xA5);
	ck_assert_double_eq_tol(s.device.jitter, 0.025, 1e-12);
	ck_assert_uint_eq(s.device.seed, UINT64_MAX);
	ck_assert_int_eq(s.link.speed, MODEL_SPEED_HIGH);
	ck_assert_double_eq(s.link.rate, 40.5e6);
	ck_assert_double_eq(s.link.request_cost_ns, 80e3);
	ck_assert_double_eq(s.link.host_gap_ns, 250e3);
	ck_assert_uint_eq(s.link.request_limit_bytes, 65536);
	ck_assert_double_eq(s.card.read_rate, 870e3);
	ck_assert(s.card.write_rate > 1e300);
	ck_assert_double_eq(s.card.write_command_ns, 1e9);
	ck_assert_int_eq(s.firmware.unit, MODEL_UNIT_SECTOR);
	ck_assert_int_eq(s.firmware.reads, MODEL_READ_FROM_BUFFER);
	ck_assert_int_eq(s.claims.write_cache, 1);
	ck_assert_int_eq(s.claims.fua, 0);
	ck_assert_uint_eq(s.faults.lose_write, 50);
	ck_assert_uint_eq(s.faults.bad_range.start, 1 << 20);
	ck_assert_uint_eq(s.faults.bad_range.bytes, 4096);
	ck_assert_int_eq(s.faults.bad_report, MODEL_REPORT_FLUSH);
	ck_assert_uint_eq(s.faults.stuck_bit, 1);
}
END_TEST

/* Each mistake is put at the end of a good model; a line that starts with '-' takes one out instead. */
static const struct {
	const char *lines; /* added */
	const char *says;
} mistakes[] = {
	{ "colour = blue\n",
		"t:13: faults: there is no 'colour' here; expected one of: 'lose write'" },
	{ "colours:\n", "t:13: there is no section 'colours'; expected device, link" },
	{ "nonsense\n", "t:13: 'nonsense' is neither a heading nor a setting" },
	{ "lose write = often\n", "'lose write' is 'often'; expected a frequency such as 1 in 50" },
	{ "lose write = 1 in 0\n", "expected 1 in 1 to 1 in 1000000000" },
	{ "lose write =\n", "t:13: faults: 'lose write' is ''" },
	{ "lose write = 1 in 5\nlose write = 1 in 5\n",
		"t:14: faults: 'lose write' is given twice" },
	{ "stale reads = perhaps\n", "expected yes or no" },
	{ "stale reads = yes\n",
		"t:13: faults: 'stale reads' does not fit: expected 'write behind'" },
	{ "slip bytes = 1\n", "expected 'slip write = 1 in N' beside it" },
	{ "slip bytes = 512\nslip write = 1 in 2\n", "expected 1 to 511" },
	{ "stuck line = 8\nstuck level = low\n", "expected 0 to 7" },
	{ "real capacity = 1Gi\nbeyond = wraps\n",
		"expected whole blocks, fewer than the capacity" },
	{ "real capacity = 16Ki\n", "expected 'beyond' beside it" },
	{ "beyond = sideways\n", "expected one of: wraps drops block slot half" },
	{ "bad range = 4096\n", "expected a range START+LENGTH" },
	{ "bad range = 1Gi+512\n", "expected whole blocks inside the capacity" },
	{ "bad range = 100+512\n", "expected whole blocks inside the capacity" },
	{ "device:\nblock = 700\n", "t:14: device: 'block' does not fit: expected 512, 1024" },
	{ "device:\nfill = FF\n", "expected a byte such as 00h or FFh" },
	{ "device:\njitter = 30 %\n", "expected 0 % to 20 %" },
	{ "device:\nvendor = MUCH TOO LONG\n", "expected at most 8 printable ASCII characters" },
	{ "device:\nserial = \xc3\xa4\n", "printable ASCII" },
	{ "link:\nframes = yes\n", "expected 'speed = full' or 'speed = high'" },
	{ "link:\nspeed = full\nframes = yes\n", "either a rate or 'frames = yes'" },
	{ "link:\nrequest cost = 5 minutes\n", "expected a time such as 80 us" },
	{ "link:\nrequest cost = -5 ms\n", "expected a time such as 80 us" },
	{ "link:\nrequest limit = 5000\n", "expected a multiple of 4Ki" },
	{ "link:\nrequest limit = 2Mi\n", "expected 4 KiB to 1 MiB" },
	{ "card:\nwrite unit = 1000\n", "expected a whole number of blocks" },
	{ "card:\nstall every = 1Mi\n", "'stall every' and 'stall time' together" },
	{ "card:\nread sector cost = inf us\n", "expected a time" },
	{ "firmware:\nchunk = 4Ki\n", "expected 'transfer = overlapped' beside it" },
	{ "firmware:\nreads = from-buffer\n", "expected 'write behind' beside it" },
	{ "firmware:\nwrite behind = 1Gi\n", "expected 512 B to 8 MiB" },
	{ "firmware:\nwrite behind = 1000\n", "expected a whole number of blocks" },
	{ "claims:\nwrite cache = yes\ncaching page = no\n", "'caching page = yes' beside it" },
};

static const char good[] =
	"gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\nlink:\nrate = 1 MB/s\n"
	"card:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\nfirmware:\n"
	"unit = request\nfaults:\n";

START_TEST(names_the_mistake)
{
	struct model_spec s;
	struct error err = { 0 };
	char text[1024];

	ck_assert_int_eq(model_spec_parse(&s, good, strlen(good), "t", &err), 0);
	snprintf(text, sizeof text, "%s%s", good, mistakes[_i].lines);
	ck_assert_int_eq(model_spec_parse(&s, text, strlen(text), "t", &err), -1);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	ck_assert_msg(strstr(err.text, mistakes[_i].says) != NULL, "it says: %s", err.text);
}
END_TEST

/* A good model with one line taken out. */
START_TEST(names_what_is_missing)
{
	static const char *const lines[][2] = {
		{ "gadget-model 1\n", "t:1: this is not a gadget model" },
		{ "name = t\n", "t: device: expected 'name', which is missing" },
		{ "capacity = 64Mi\n", "t: device: expected 'capacity'" },
		{ "rate = 1 MB/s\n", "t: link: expected 'rate', or 'speed' with 'frames = yes'" },
		{ "read rate = 1 MB/s\n", "t: card: expected 'read rate'" },
		{ "write rate = 1 MB/s\n", "t: card: expected 'write rate'" },
		{ "unit = request\n", "t: firmware: expected 'unit' (sector or request)" },
		{ "device:\n", "t:2: 'name' stands outside a section" },
	};

	for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
		struct model_spec s;
		struct error err = { 0 };
		char text[1024];
		const char *at = strstr(good, lines[i][0]);
		size_t n = strlen(lines[i][0]);

		snprintf(text, sizeof text, "%.*s%s", (int)(at - good), good, at + n);
		ck_assert_int_eq(model_spec_parse(&s, text, strlen(text), "t", &err), -1);
		ck_assert_msg(strstr(err.text, lines[i][1]) != NULL, "it says: %s", err.text);
	}
}
END_TEST

/* A request has to take some time: a pass of such a model would never end. */
START_TEST(takes_no_time)
{
	static const char quick[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 64Mi\n"
				    "link:\nrate = unlimited\n%s"
				    "card:\nread rate = %s\nwrite rate = %s\n"
				    "firmware:\nunit = request\n";
	static const struct {
		const char *link, *read, *write, *says;
	} cases[] = {
		{ "", "unlimited", "1 MB/s", "t:8: card: 'read rate' does not fit" },
		{ "", "1 MB/s", "unlimited", "t:9: card: 'write rate' does not fit" },
		{ "", "900 GB/s", "1 MB/s", "t:8: card: 'read rate' does not fit" },
		{ "request cost = 1 us\n", "unlimited", "unlimited", NULL },
		{ "", "1 GB/s", "1 GB/s", NULL },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		struct model_spec s;
		struct error err = { 0 };
		char text[1024];

		snprintf(text, sizeof text, quick, cases[i].link, cases[i].read, cases[i].write);
		ck_assert_int_eq(model_spec_parse(&s, text, strlen(text), "t", &err),
			cases[i].says ? -1 : 0);
		ck_assert_msg(
			!cases[i].says || strstr(err.text, cases[i].says), "it says: %s", err.text);
	}
}
END_TEST

START_TEST(odd_files)
{
	struct model_spec s;
	struct error err = { 0 };
	char *big = malloc(MODEL_TEXT_MAX * 2);

	ck_assert_int_eq(model_spec_parse(&s, "", 0, "t", &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "t: the file is empty"));
	ck_assert_int_eq(model_spec_parse(&s, "gadget-model 1\n\0x", 17, "t", &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "t:2: the line is too long or has a NUL"));
	memset(big, 'x', MODEL_TEXT_MAX);
	ck_assert_int_eq(model_spec_parse(&s, big, MODEL_TEXT_MAX, "t", &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "t:1: the line is too long"));
	free(big);
	ck_assert_int_eq(model_spec_load(&s, "no/such.model", &err), -1);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	ck_assert_int_eq(model_spec_load(&s, ".", &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
}
END_TEST

/* The manual describes every key, under its own section. */
START_TEST(the_manual_has_every_key)
{
	FILE *f = fopen("man/blkassay-model.5", "r");
	const char *section, *key, *before = "";
	char *text = calloc(1, 1 << 17), *at = text;

	ck_assert_ptr_nonnull(f);
	ck_assert_uint_gt(fread(text, 1, (1 << 17) - 1, f), 0);
	fclose(f);
	for (size_t i = 0; model_spec_key(i, &section, &key); i++) {
		char item[80];

		if (strcmp(section, before) != 0) {
			snprintf(item, sizeof item, "\n.Ss %s:\n", section);
			at = strstr(text, item);
			ck_assert_msg(at != NULL, "no part for %s", section);
			before = section;
		}
		snprintf(item, sizeof item, "\n.It Cm %s = ", key);
		ck_assert_msg(strstr(at, item) != NULL, "no entry for %s: %s", section, key);
	}
	free(text);
}
END_TEST

Suite *model_spec_suite(void)
{
	Suite *s = suite_create("model_spec");
	TCase *c = tcase_create("model_spec");

	tcase_add_test(c, says_what_it_means);
	tcase_add_loop_test(c, names_the_mistake, 0, (int)(sizeof mistakes / sizeof *mistakes));
	tcase_add_test(c, names_what_is_missing);
	tcase_add_test(c, takes_no_time);
	tcase_add_test(c, odd_files);
	tcase_add_test(c, the_manual_has_every_key);
	suite_add_tcase(s, c);
	return s;
}
