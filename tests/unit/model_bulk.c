/* Bulk-only transport of a modelled gadget: the thirteen cases of BOT 1.0 section 6.7, sense, resets; and what a Linux host
 * makes of them through the medium. */
#include "medium/model_bulk.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/scsi.h"
#include "medium/scsi_sense.h"

static const char head[] =
	"gadget-model 1\ndevice:\nname = t\nvendor = INVENTED\nproduct = thing\n"
	"serial = S-12\ncapacity = 4Mi\nfill = FFh\nlink:\nspeed = full\nrate = 1 MB/s\n"
	"request cost = 1 ms\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
	"firmware:\nunit = request\n";

static struct model_gadget g;
static struct model_bulk b;
static struct model_bulk_command x;
static uint8_t data[4096];

static void parse(struct model_spec *spec, const char *tail)
{
	struct error err = { 0 };
	char text[1024];

	snprintf(text, sizeof text, "%s%s", head, tail);
	ck_assert_msg(model_spec_parse(spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
}

static void opened(const char *tail)
{
	struct model_spec spec;
	struct error err = { 0 };

	parse(&spec, tail);
	ck_assert_int_eq(model_gadget_init(&g, &spec, true, &err), 0);
	b = (struct model_bulk){ .gadget = &g };
}

static size_t bytes_of(const char *hex, uint8_t *to)
{
	size_t n = 0;

	for (unsigned byte; sscanf(hex, "%2x", &byte) == 1; hex += hex[2] ? 3 : 2)
		to[n++] = (uint8_t)byte;
	return n;
}

static void sent(const char *hex, char way, uint32_t length)
{
	x = (struct model_bulk_command){ .in = way == 'i', .length = length, .data = data };
	bytes_of(hex, x.cdb);
	ck_assert_int_eq(model_bulk_run(&b, &x), 0);
}

static void expect(uint8_t status, uint32_t moved, uint32_t residue, bool stalls)
{
	ck_assert_uint_eq(x.status, status);
	ck_assert_uint_eq(x.moved, moved);
	ck_assert_uint_eq(x.residue, residue);
	ck_assert_int_eq(x.stalls, stalls);
}

#define READ_1 "28 00 00 00 00 00 00 00 01 00"
#define WRITE_1 "2A 00 00 00 00 00 00 00 01 00"
#define WRITE_2 "2A 00 00 00 00 00 00 00 02 00"

/* Status 02 in the cases 2, 3, 7, 8, 10 and 13, 00 in all others; less than the host wants ends in a stall. */
START_TEST(the_thirteen_cases)
{
	opened("");
	sent("00 00 00 00 00 00", 'o', 0); /* 1: Hn = Dn */
	expect(0, 0, 0, false);
	sent(READ_1, 'i', 0); /* 2: Hn < Di */
	expect(2, 0, 0, false);
	sent("12 00 00 00 24 00", 'i', 0);
	expect(2, 0, 0, false);
	sent(WRITE_1, 'o', 0); /* 3: Hn < Do */
	expect(2, 0, 0, false);
	sent("00 00 00 00 00 00", 'i', 512); /* 4: Hi > Dn */
	expect(0, 0, 512, true);
	sent(READ_1, 'i', 1024); /* 5: Hi > Di */
	expect(0, 512, 512, true);
	sent("12 00 00 00 FF 00", 'i', 255);
	expect(0, 36, 219, true);
	sent(READ_1, 'i', 512); /* 6: Hi = Di */
	expect(0, 512, 0, false);
	sent("28 00 00 00 00 00 00 00 02 00", 'i', 512); /* 7: Hi < Di */
	expect(2, 0, 512, true);
	sent("12 00 00 00 24 00", 'i', 8);
	expect(2, 0, 8, true);
	sent(WRITE_1, 'i', 512); /* 8: Hi <> Do */
	expect(2, 0, 512, true);
	sent("00 00 00 00 00 00", 'o', 512); /* 9: Ho > Dn */
	expect(0, 0, 512, false);
	sent(READ_1, 'o', 512); /* 10: Ho <> Di */
	expect(2, 0, 512, false);
	sent("12 00 00 00 24 00", 'o', 36);
	expect(2, 0, 36, false);
	memset(data, 0x5A, sizeof data);
	sent(WRITE_1, 'o', 1024); /* 11: Ho > Do */
	expect(0, 512, 512, false);
	sent(WRITE_1, 'o', 512); /* 12: Ho = Do */
	expect(0, 512, 0, false);
	memset(data, 0x77, sizeof data);
	sent(WRITE_2, 'o', 512); /* 13: Ho < Do */
	expect(2, 0, 512, false);
	sent(READ_1, 'i', 512);
	ck_assert_uint_eq(data[0], 0x5A); /* nothing of a refused command was done */
	model_gadget_release(&g);
}
END_TEST

START_TEST(time_passes_in_all_of_them)
{
	double before;

	opened("");
	before = g.now_ns;
	sent(READ_1, 'o', 512);
	ck_assert_double_eq(g.now_ns - before, 1e6);
	model_gadget_release(&g);
}
END_TEST

START_TEST(sense_waits_until_it_is_asked_for)
{
	opened("");
	sent("C0 00 00 00 00 00", 'i', 0);
	expect(1, 0, 0, false);
	sent("03 00 00 00 12 00", 'i', 18);
	expect(0, 18, 0, false);
	ck_assert_uint_eq(data[2], 5);
	ck_assert_uint_eq(data[12], 0x20);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert_uint_eq(data[2], 0); /* once */
	/* The next command clears it as well. */
	sent("28 00 00 FF FF FF 00 00 01 00", 'i', 512);
	expect(1, 0, 512, true);
	sent("00 00 00 00 00 00", 'o', 0);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert_uint_eq(data[2], 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(a_reset_is_told_once)
{
	opened("");
	sent("1E 00 00 00 01 00", 'o', 0);
	model_bulk_reset(&b);
	sent("12 00 00 00 24 00", 'i', 36); /* INQUIRY is answered all the same: SAM-5 */
	expect(0, 36, 0, false);
	sent("00 00 00 00 00 00", 'o', 0);
	expect(1, 0, 0, false);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert_uint_eq(data[2], 6);
	ck_assert_uint_eq(data[12], 0x29);
	sent("00 00 00 00 00 00", 'o', 0);
	expect(0, 0, 0, false);
	model_gadget_release(&g);
}
END_TEST

static struct medium *medium_of(const char *tail)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;

	parse(&spec, tail);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	return m;
}

static struct scsi_exchange exchanged(
	struct medium *m, const char *hex, enum scsi_direction way, uint32_t length)
{
	struct scsi_exchange e = {
		.direction = way, .data = data, .data_length = length, .timeout_ms = 30000
	};

	e.cdb_length = (uint8_t)bytes_of(hex, e.cdb);
	ck_assert_int_eq(medium_scsi(m, &e), 0);
	return e;
}

/* Through SG_IO on Linux 6.1, the kernel's own gadget: host_status 7 in the cases of status 02, else the residue. */
START_TEST(as_linux_sees_them)
{
	struct medium *m = medium_of("");
	struct scsi_exchange e = exchanged(m, READ_1, SCSI_DATA_IN, 1024);
	struct scsi_sense sense;
	size_t got;

	ck_assert(scsi_succeeded(&e));
	ck_assert_uint_eq(e.residual, 512);
	e = exchanged(m, READ_1, SCSI_DATA_OUT, 512);
	ck_assert_uint_eq(e.host_status, 7);
	/* The reset behind it is told to the next command, and swallowed by block I/O. */
	e = exchanged(m, "00 00 00 00 00 00", SCSI_NO_DATA, 0);
	scsi_sense_decode(&sense, e.sense, e.sense_length);
	ck_assert_uint_eq(sense.code, SENSE_POWER_ON);
	exchanged(m, READ_1, SCSI_DATA_OUT, 512);
	ck_assert_int_eq(medium_read(m, 0, data, 512, &got), 0);
	e = exchanged(m, "00 00 00 00 00 00", SCSI_NO_DATA, 0);
	ck_assert(scsi_succeeded(&e));
	/* What the kernel does not even send. */
	e.data_length = 124 * 1024;
	ck_assert_int_eq(medium_scsi(m, &e), -EINVAL);
	medium_close(m);
}
END_TEST

Suite *model_bulk_suite(void)
{
	Suite *s = suite_create("model_bulk");
	TCase *c = tcase_create("model_bulk");

	tcase_add_test(c, the_thirteen_cases);
	tcase_add_test(c, time_passes_in_all_of_them);
	tcase_add_test(c, sense_waits_until_it_is_asked_for);
	tcase_add_test(c, a_reset_is_told_once);
	tcase_add_test(c, as_linux_sees_them);
	suite_add_tcase(s, c);
	return s;
}
