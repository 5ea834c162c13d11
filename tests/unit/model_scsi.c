/* SCSI answers of a modelled gadget, against bytes laid out by hand from SPC-4 and SBC-3. */
#include "medium/model_scsi.h"

#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/scsi.h"
#include "medium/scsi_data.h"
#include "medium/scsi_sense.h"

static struct model_gadget g;
static uint8_t data[4096], cdb[16];
static struct model_scsi x;

static void opened(const char *tail)
{
	struct model_spec spec;
	struct error err = { 0 };
	char text[1024];

	snprintf(text, sizeof text,
		"gadget-model 1\ndevice:\nname = t\nvendor = INVENTED\nproduct = thing\n"
		"serial = S-12\ncapacity = 4Mi\nfill = FFh\nlink:\nrate = 4 MB/s\n"
		"request cost = 1 ms\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
		"firmware:\nunit = request\nwrite behind = 32Ki\n%s",
		tail);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_int_eq(model_gadget_init(&g, &spec, true, &err), 0);
}

/* Sends the bytes written in hex; data_len of the buffer is offered. */
static uint8_t sent(const char *hex, size_t data_len)
{
	x = (struct model_scsi){ .cdb = cdb, .data = data, .data_len = data_len };
	for (unsigned byte; sscanf(hex, "%2x", &byte) == 1; hex += hex[2] ? 3 : 2)
		cdb[x.cdb_len++] = (uint8_t)byte;
	ck_assert_int_eq(model_scsi_run(&g, &x), 0);
	return x.status;
}

static void expect_bytes(const char *hex)
{
	size_t n = 0;

	for (unsigned byte; sscanf(hex, "%2x", &byte) == 1; hex += hex[2] ? 3 : 2)
		ck_assert_msg(data[n++] == byte, "byte %zu is %02x", n - 1, data[n - 1]);
	ck_assert_uint_eq(x.moved, n);
}

static void expect_sense(uint8_t code, uint8_t key, uint8_t asc, uint8_t ascq)
{
	ck_assert_uint_eq(x.status, 2);
	ck_assert_uint_eq(x.sense[0] & 0x7F, code);
	ck_assert_uint_eq(x.sense[2], key);
	ck_assert_uint_eq(x.sense[7], 10);
	ck_assert_uint_eq(x.sense[12], asc);
	ck_assert_uint_eq(x.sense[13], ascq);
}

START_TEST(says_who_it_is)
{
	opened("");
	ck_assert_uint_eq(sent("12 00 00 00 24 00", 36), 0);
	expect_bytes("00 80 06 02 1f 00 00 00 49 4e 56 45 4e 54 45 44 74 68 69 6e 67 20 20 20 20 "
		     "20 20 20 20 20 20 20 31 2e 30 30");
	sent("12 00 00 00 05 00", 36);
	ck_assert_uint_eq(x.moved, 5);
	sent("12 01 80 00 ff 00", 255);
	expect_bytes("00 80 00 04 53 2d 31 32");
	sent("12 01 83 00 ff 00", 255);
	expect_sense(0x70, 5, 0x24, 0);
	sent("25 00 00 00 00 00 00 00 00 00", 8);
	expect_bytes("00 00 1f ff 00 00 02 00");
	sent("9e 10 00 00 00 00 00 00 00 00 00 00 00 0c 00 00", 32);
	expect_bytes("00 00 00 00 00 00 1f ff 00 00 02 00");
	sent("c0 00 00 00 00 00", 0);
	expect_sense(0x70, 5, 0x20, 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(mode_pages)
{
	opened("claims:\nwrite cache = yes\nfua = yes\n");
	ck_assert_uint_eq(sent("1A 00 08 00 C0 00", 192), 0);
	expect_bytes("17 00 10 00 08 12 04 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00");
	sent("5A 00 08 00 00 00 00 00 C0 00", 192);
	expect_bytes("00 1A 00 10 00 00 00 00 08 12 04 00 00 00 00 00 00 00 00 00 00 00 00 00 00 "
		     "00 00 00");
	sent("1A 00 48 00 C0 00", 192); /* what can be changed: nothing */
	ck_assert_uint_eq(data[6], 0);
	sent("1A 00 C8 00 C0 00", 192);
	expect_sense(0x70, 5, 0x39, 0);
	model_gadget_release(&g);

	opened("claims:\ncaching page = no\n");
	sent("1A 00 3F 00 C0 00", 192);
	expect_bytes("03 00 00 00");
	sent("1A 00 08 00 C0 00", 192);
	expect_sense(0x70, 5, 0x24, 0);
	model_gadget_release(&g);

	opened("claims:\ncaching page = no\nwrite protected = yes\n");
	sent("1A 00 3F 00 C0 00", 192);
	expect_bytes("03 00 80 00");
	sent("2A 00 00 00 00 00 00 00 01 00", 512);
	expect_sense(0x70, 7, 0x27, 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(moves_data)
{
	opened("claims:\nwrite cache = yes\nfua = yes\n");
	memset(data, 0x5A, 1024);
	ck_assert_uint_eq(sent("2A 00 00 00 08 00 00 00 02 00", 1024), 0);
	memset(data, 0, 1024);
	ck_assert_uint_eq(sent("88 00 00 00 00 00 00 00 08 00 00 00 00 03 00 00", 1536), 0);
	ck_assert_uint_eq(x.moved, 1536);
	ck_assert_uint_eq(data[1023], 0x5A);
	ck_assert_uint_eq(data[1024], 0xFF);
	/* FUA: stored when it returns. */
	memset(data, 0x77, 512);
	sent("2A 08 00 00 00 05 00 00 01 00", 512);
	ck_assert_uint_eq(g.pending.count, 0);
	sent("2A 00 00 00 00 05 00 00 01 00", 512);
	ck_assert_uint_eq(g.pending.count, 1);
	sent("35 00 00 00 00 00 00 00 00 00", 0);
	ck_assert_uint_eq(g.pending.count, 0);
	sent("2A 00 00 00 00 05 00 00 00 00", 512); /* length 0: nothing, no error */
	ck_assert_uint_eq(x.moved, 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(the_end_is_the_end)
{
	opened("");
	sent("2A 00 00 00 20 00 00 00 01 00", 512);
	expect_sense(0x70, 5, 0x21, 0);
	sent("28 00 00 00 1F FF 00 00 02 00", 1024);
	expect_sense(0x70, 5, 0x21, 0);
	sent("28 00 FF FF FF FF 00 00 01 00", 512);
	expect_sense(0x70, 5, 0x21, 0);
	ck_assert_uint_eq(sent("28 00 00 00 1F FF 00 00 01 00", 512), 0);
	model_gadget_release(&g);

	opened("faults:\npast end accepted = yes\n");
	ck_assert_uint_eq(sent("2A 00 00 00 20 00 00 00 01 00", 512), 0);
	ck_assert_uint_eq(x.moved, 512);
	model_gadget_release(&g);
}
END_TEST

START_TEST(a_failed_background_write_is_deferred)
{
	opened("claims:\nwrite cache = yes\nfua = yes\nfaults:\nbad range = 1Mi+512\n");
	ck_assert_uint_eq(sent("2A 00 00 00 08 00 00 00 01 00", 512), 0); /* acknowledged */
	g.now_ns += 1e9; /* the card gets to it */
	sent("28 00 00 00 00 00 00 00 01 00", 512);
	expect_sense(0x71, 3, 0x0C, 0);
	ck_assert_uint_eq(x.moved, 0); /* this command was not done */
	ck_assert_uint_eq(x.sense[0], 0xF1);
	ck_assert_uint_eq(scsi_get_u16(x.sense + 5), 2048);
	ck_assert_uint_eq(sent("28 00 00 00 00 00 00 00 01 00", 512), 0); /* told once */
	/* REQUEST SENSE hands it out as data. */
	sent("2A 00 00 00 08 00 00 00 01 00", 512);
	g.now_ns += 1e9;
	ck_assert_uint_eq(sent("03 00 00 00 12 00", 18), 0);
	expect_bytes("F1 00 03 00 00 08 00 0A 00 00 00 00 0C 00 00 00 00 00");
	/* With FUA the error is the write's own. */
	sent("2A 08 00 00 08 00 00 00 01 00", 512);
	expect_sense(0x70, 3, 0x0C, 0);
	/* A flush that meets it says so at once. */
	sent("2A 00 00 00 08 00 00 00 01 00", 512);
	sent("35 00 00 00 00 00 00 00 00 00", 0);
	expect_sense(0x71, 3, 0x0C, 0);
	model_gadget_release(&g);

	opened("claims:\nwrite cache = yes\nfaults:\nbad range = 1Mi+512\nbad range report = "
	       "flush\n");
	sent("2A 00 00 00 08 00 00 00 01 00", 512);
	sent("35 00 00 00 00 00 00 00 00 00", 0);
	expect_sense(0x70, 3, 0x0C, 0);
	ck_assert_uint_eq(scsi_get_u16(x.sense + 5), 2048);
	model_gadget_release(&g);

	opened("claims:\nwrite cache = yes\nfaults:\nbad range = 1Mi+512\nbad range report = "
	       "never\n");
	sent("2A 00 00 00 08 00 00 00 01 00", 512);
	ck_assert_uint_eq(sent("35 00 00 00 00 00 00 00 00 00", 0), 0);
	ck_assert_uint_eq(sent("00 00 00 00 00 00", 0), 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(eject_stores_first)
{
	opened("claims:\nwrite cache = yes\nfaults:\nprevent accepted = yes\n");
	sent("2A 00 00 00 08 00 00 00 08 00", 4096);
	ck_assert_uint_eq(sent("1E 00 00 00 01 00", 0), 0);
	sent("1B 00 00 00 02 00", 0);
	expect_sense(0x70, 5, 0x53, 2); /* removal is prevented */
	sent("1E 00 00 00 00 00", 0);
	ck_assert_uint_gt(g.pending.count, 0);
	ck_assert_uint_eq(sent("1B 00 00 00 02 00", 0), 0);
	ck_assert_uint_eq(g.pending.count, 0);
	sent("28 00 00 00 00 00 00 00 01 00", 512);
	expect_sense(0x70, 2, 0x3A, 0);
	ck_assert_uint_eq(sent("1B 00 00 00 03 00", 0), 0);
	sent("00 00 00 00 00 00", 0);
	expect_sense(0x70, 6, 0x28, 0);
	ck_assert_uint_eq(sent("00 00 00 00 00 00", 0), 0);
	model_gadget_release(&g);

	opened("claims:\nwrite cache = yes\nfaults:\neject without drain = yes\n");
	sent("2A 00 00 00 08 00 00 00 08 00", 4096);
	ck_assert_uint_eq(sent("1B 00 00 00 02 00", 0), 0);
	ck_assert_uint_gt(g.pending.count, 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(what_no_adapter_would_send)
{
	opened("");
	x = (struct model_scsi){ .cdb = cdb, .data = data };
	ck_assert_int_eq(model_scsi_run(&g, &x), -EINVAL);
	memcpy(cdb, "\x2A\0\0\0\0\0\0\0\x08\0", 10);
	x.cdb_len = 6;
	ck_assert_int_eq(model_scsi_run(&g, &x), -EINVAL); /* cut short */
	x.cdb_len = 10;
	x.data_len = 512;
	ck_assert_int_eq(model_scsi_run(&g, &x), -EINVAL); /* less data than it moves */
	model_gadget_release(&g);
}
END_TEST

/* Through the medium, with the builders and decoders the rest of the tool uses. */
START_TEST(as_a_medium)
{
	static const char text[] =
		"gadget-model 1\ndevice:\nname = t\ncapacity = 4Mi\nlink:\nrate = 4 MB/s\n"
		"request cost = 1 ms\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
		"firmware:\nunit = request\nclaims:\nwrite protected = yes\n";
	struct model_spec spec;
	struct error err = { 0 };
	struct scsi_exchange e;
	struct scsi_sense sense;
	struct scsi_mode mode;
	struct scsi_capacity capacity;
	struct medium *m;

	ck_assert_int_eq(model_spec_parse(&spec, text, strlen(text), "t", &err), 0);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	scsi_build_read_capacity_16(&e, data);
	ck_assert_int_eq(medium_scsi(m, &e), 0);
	ck_assert(scsi_capacity_16_decode(&capacity, data, scsi_transferred(&e)));
	ck_assert_uint_eq(capacity.blocks, 8192);
	ck_assert_uint_eq(e.duration_ns, 1000000);
	scsi_build_mode_sense_10(&e, SCSI_CURRENT, SCSI_PAGE_CACHING, data, 192);
	ck_assert_int_eq(medium_scsi(m, &e), 0);
	ck_assert_uint_eq(e.residual, 192 - 28);
	ck_assert(scsi_mode_decode(&mode, data, scsi_transferred(&e), true));
	ck_assert(mode.write_protected && mode.has_caching && !mode.write_cache);
	scsi_build_write(&e, 0, 1, 512, data, 0);
	ck_assert_int_eq(medium_scsi(m, &e), 0);
	ck_assert(!scsi_succeeded(&e));
	scsi_sense_decode(&sense, e.sense, e.sense_length);
	ck_assert(sense.valid && !sense.deferred);
	ck_assert_uint_eq(sense.code, SENSE_WRITE_PROTECTED);
	medium_close(m);
	/* Opened for reading: no command takes data out. */
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_ONLY, &err), 0);
	ck_assert_int_eq(medium_scsi(m, &e), -EPERM);
	medium_close(m);
}
END_TEST

Suite *model_scsi_suite(void)
{
	Suite *s = suite_create("model_scsi");
	TCase *c = tcase_create("model_scsi");

	tcase_add_test(c, says_who_it_is);
	tcase_add_test(c, mode_pages);
	tcase_add_test(c, moves_data);
	tcase_add_test(c, the_end_is_the_end);
	tcase_add_test(c, a_failed_background_write_is_deferred);
	tcase_add_test(c, eject_stores_first);
	tcase_add_test(c, what_no_adapter_would_send);
	tcase_add_test(c, as_a_medium);
	suite_add_tcase(s, c);
	return s;
}
