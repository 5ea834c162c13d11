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

START_TEST(an_unknown_command)
{
	static const char *const unknown[] = { "C0 00 00 00 00 00", "35 00 00 00 00 00 00 00 00 00",
		"1E 00 00 00 01 00" };
	struct medium *m;
	struct scsi_exchange e;

	for (int k = 0; k < 3; k++) {
		opened("claims:\nsynchronize cache = no\n");
		sent(unknown[k], 'o', 0);
		expect(1, 0, 0, false);
		ck_assert(!x.silent);
		model_gadget_release(&g);
		opened("claims:\nsynchronize cache = no\nfaults:\nunknown command = silence\n");
		sent(unknown[k], 'o', 0);
		ck_assert(x.silent && !x.stalls);
		sent("00 00 00 00 00 00", 'o', 0);
		ck_assert(x.silent); /* nothing helps but a reset */
		model_bulk_reset(&b);
		sent("00 00 00 00 00 00", 'o', 0);
		ck_assert(!x.silent && x.status == MODEL_BULK_FAILED);
		model_gadget_release(&g);
		opened("claims:\nsynchronize cache = no\nfaults:\nunknown command = stall\n");
		sent(unknown[k], 'o', 0);
		ck_assert(x.silent && x.stalls);
		model_gadget_release(&g);
	}
	m = medium_of("faults:\nunknown command = silence\n");
	e = exchanged(m, "C0 00 00 00 00 00", SCSI_NO_DATA, 0);
	ck_assert_uint_eq(e.host_status, 3);
	ck_assert_uint_eq(e.duration_ns, UINT64_C(30000000000));
	e = exchanged(m, "00 00 00 00 00 00", SCSI_NO_DATA, 0);
	ck_assert_uint_eq(e.status, 2); /* 29/00: it was reset */
	e = exchanged(m, "00 00 00 00 00 00", SCSI_NO_DATA, 0);
	ck_assert(scsi_succeeded(&e));
	medium_close(m);
}
END_TEST

/* Without an answer to its flush the kernel tries six times for a minute; an unknown one it takes for success. */
START_TEST(an_unknown_flush)
{
	struct medium *m = medium_of("write behind = 32Ki\nclaims:\nwrite cache = yes\n"
				     "synchronize cache = no\n");
	uint64_t before = medium_now_ns(m);

	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_uint_le(medium_now_ns(m) - before, 2000000);
	medium_close(m);
	m = medium_of("write behind = 32Ki\nclaims:\nwrite cache = yes\nsynchronize cache = no\n"
		      "faults:\nunknown command = stall\n");
	before = medium_now_ns(m);
	ck_assert_int_eq(medium_flush(m), -EIO);
	ck_assert_uint_eq(medium_now_ns(m) - before, UINT64_C(360000000000));
	medium_close(m);
}
END_TEST

START_TEST(a_short_answer)
{
	struct medium *m;
	struct scsi_exchange e;

	opened("faults:\nshort answer = ended\n");
	sent("12 00 00 00 FF 00", 'i', 255);
	expect(0, 36, 219, false);
	ck_assert(!x.silent);
	sent("28 00 00 FF FF FF 00 00 01 00", 'i', 512); /* an error is no short answer */
	expect(1, 0, 512, true);
	model_gadget_release(&g);
	opened("faults:\nshort answer = lost\n");
	sent("12 00 00 00 24 00", 'i', 36); /* whole: nothing is lost */
	ck_assert(!x.silent);
	sent("12 00 00 00 FF 00", 'i', 255);
	expect(0, 36, 219, true);
	ck_assert(x.silent);
	model_gadget_release(&g);
	m = medium_of("claims:\nwrite cache = yes\nfua = yes\nfaults:\nshort answer = lost\n");
	/* The driver never learns of a cache, as its question is one of those. */
	ck_assert_int_eq(medium_traits(m)->cache, MEDIUM_CACHE_WRITE_THROUGH);
	e = exchanged(m, "1A 00 3F 00 C0 00", SCSI_DATA_IN, 192);
	ck_assert_uint_eq(e.host_status, 3);
	medium_close(m);
}
END_TEST

static int reads(struct medium *m, int count)
{
	size_t got;
	int rc = 0;

	for (int i = 0; i < count && !rc; i++)
		rc = medium_read(m, (uint64_t)i * 512, data, 512, &got);
	return rc;
}

START_TEST(a_wrong_tag)
{
	struct medium *m;
	struct scsi_exchange e;
	uint64_t before;

	opened("faults:\nwrong tag = 1 in 3\n");
	for (int i = 1; i <= 9; i++) {
		sent("00 00 00 00 00 00", 'o', 0);
		ck_assert(!x.wrong_tag);
		sent(i % 2 ? READ_1 : WRITE_1, i % 2 ? 'i' : 'o', 512);
		ck_assert_int_eq(x.wrong_tag, i % 3 == 0);
		expect(0, 512, 0, false);
	}
	model_gadget_release(&g);
	m = medium_of("faults:\nwrong tag = 1 in 2\n");
	before = medium_now_ns(m);
	ck_assert_int_eq(reads(m, 9), 0); /* every second one is read again */
	ck_assert_uint_eq(medium_now_ns(m) - before, 17 * UINT64_C(2024000));
	e = exchanged(m, READ_1, SCSI_DATA_IN, 512);
	ck_assert_uint_eq(e.host_status, 7); /* told to who sent it himself */
	medium_close(m);
	m = medium_of("faults:\nwrong tag = 1 in 1\n");
	ck_assert_int_eq(reads(m, 1), -EIO);
	medium_close(m);
}
END_TEST

START_TEST(a_wrong_residue)
{
	struct medium *m;
	struct scsi_exchange e;

	opened("faults:\nwrong residue = 1 in 2\n");
	sent(WRITE_2, 'o', 1024);
	expect(0, 1024, 0, false);
	sent(WRITE_2, 'o', 1024);
	expect(0, 1024, 512, false);
	model_gadget_release(&g);
	m = medium_of("faults:\nwrong residue = 1 in 2\n");
	ck_assert_int_eq(reads(m, 9), 0);
	e = exchanged(m, READ_1, SCSI_DATA_IN, 512);
	ck_assert(scsi_succeeded(&e));
	ck_assert_uint_eq(e.residual, 512);
	medium_close(m);
	m = medium_of("faults:\nwrong residue = 1 in 1\n");
	ck_assert_int_eq(reads(m, 1), -EIO);
	medium_close(m);
}
END_TEST

START_TEST(mode_sense_of_the_wrong_length)
{
	struct medium *m;
	struct scsi_exchange e;

	opened("claims:\nwrite cache = yes\nfaults:\nmode sense = long\n");
	sent("1A 00 3F 00 C0 00", 'i', 192);
	expect(0, 192, 0, false);
	ck_assert_uint_eq(x.excess, 60);
	ck_assert_uint_eq(data[0], 23);
	ck_assert_uint_eq(data[191], 0);
	sent("1A 00 3F 00 FF 00", 'i', 255);
	expect(0, 252, 3, true);
	sent("12 00 00 00 24 00", 'i', 8); /* no other command */
	expect(2, 0, 8, true);
	ck_assert_uint_eq(x.excess, 0);
	model_gadget_release(&g);
	opened("claims:\nwrite cache = yes\nfaults:\nmode sense = short\n");
	sent("1A 00 3F 00 C0 00", 'i', 192);
	expect(0, 4, 188, true);
	ck_assert_uint_eq(data[0], 23);
	sent("5A 00 3F 00 00 00 00 00 C0 00", 'i', 192);
	expect(0, 8, 184, true);
	ck_assert_uint_eq(data[1], 26);
	model_gadget_release(&g);
	m = medium_of("claims:\nwrite cache = yes\nfaults:\nmode sense = long\n");
	ck_assert_int_eq(medium_traits(m)->cache, MEDIUM_CACHE_WRITE_THROUGH);
	e = exchanged(m, "1A 00 3F 00 C0 00", SCSI_DATA_IN, 192);
	ck_assert_uint_eq(e.host_status, 7);
	medium_close(m);
	m = medium_of("claims:\nwrite cache = yes\nfaults:\nmode sense = short\n");
	ck_assert_int_eq(medium_traits(m)->cache, MEDIUM_CACHE_WRITE_THROUGH);
	medium_close(m);
	m = medium_of("claims:\nwrite cache = yes\nfaults:\nmode sense = right\n");
	ck_assert_int_eq(medium_traits(m)->cache, MEDIUM_CACHE_WRITE_BACK);
	medium_close(m);
	/* The kernel does not know of the protection, and the device refuses. */
	m = medium_of("claims:\nwrite protected = yes\nfaults:\nmode sense = long\n");
	ck_assert(!medium_traits(m)->read_only);
	ck_assert_int_eq(medium_write(m, 0, data, 512, &(size_t){ 0 }), -EREMOTEIO);
	medium_close(m);
}
END_TEST

START_TEST(confused_vital_pages)
{
	opened("faults:\nvital pages confused = yes\n");
	for (unsigned page = 0; page < 256; page += 0x40) {
		char cdb[32];

		snprintf(cdb, sizeof cdb, "12 01 %02X 00 FF 00", page);
		sent(cdb, 'i', 255);
		expect(0, 36, 219, true);
		ck_assert_mem_eq(data + 8, "INVENTED", 8);
	}
	model_gadget_release(&g);
}
END_TEST

START_TEST(a_vital_page_that_hangs_it)
{
	struct medium *m;
	struct scsi_exchange e;

	opened("faults:\nvital pages unanswered = yes\n");
	sent("12 00 00 00 24 00", 'i', 36);
	expect(0, 36, 0, false);
	sent("12 01 80 00 FF 00", 'i', 255);
	ck_assert(x.silent && !x.stalls);
	ck_assert_uint_eq(x.moved, 0);
	sent("00 00 00 00 00 00", 'o', 0); /* nothing before a reset */
	ck_assert(x.silent);
	model_bulk_reset(&b);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert(!x.silent);
	model_gadget_release(&g);
	m = medium_of("faults:\nvital pages unanswered = yes\n");
	e = exchanged(m, "12 01 00 00 FF 00", SCSI_DATA_IN, 255);
	ck_assert_uint_eq(e.host_status, 3);
	e = exchanged(m, "00 00 00 00 00 00", SCSI_NO_DATA, 0);
	ck_assert_uint_eq(e.host_status, 0);
	medium_close(m);
}
END_TEST

START_TEST(sense_that_stays)
{
	opened("faults:\nsense stays = yes\n");
	sent("C0 00 00 00 00 00", 'o', 0);
	for (int i = 0; i < 2; i++) {
		sent("03 00 00 00 12 00", 'i', 18);
		ck_assert_uint_eq(data[12], 0x20);
	}
	sent("00 00 00 00 00 00", 'o', 0);
	expect(0, 0, 0, false);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert_uint_eq(data[12], 0x20);
	model_bulk_reset(&b);
	sent("03 00 00 00 12 00", 'i', 18);
	ck_assert_uint_eq(data[12], 0);
	model_gadget_release(&g);
}
END_TEST

START_TEST(prevent_on_a_removable_medium)
{
	opened("");
	sent("1E 00 00 00 01 00", 'o', 0);
	expect(1, 0, 0, false);
	sent("1B 00 00 00 02 00", 'o', 0);
	expect(0, 0, 0, false);
	model_gadget_release(&g);
	opened("faults:\nprevent accepted = yes\n");
	sent("1E 00 00 00 01 00", 'o', 0);
	expect(0, 0, 0, false);
	sent("1B 00 00 00 02 00", 'o', 0);
	expect(1, 0, 0, false);
	model_gadget_release(&g);
	opened("claims:\nremovable = no\n");
	sent("1E 00 00 00 01 00", 'o', 0);
	expect(0, 0, 0, false);
	model_gadget_release(&g);
}
END_TEST

START_TEST(a_medium_that_stays_after_eject)
{
	opened("faults:\nstays after eject = yes\n");
	sent("1B 00 00 00 02 00", 'o', 0);
	expect(0, 0, 0, false);
	sent("00 00 00 00 00 00", 'o', 0);
	expect(0, 0, 0, false);
	model_gadget_release(&g);
}
END_TEST

START_TEST(unreadable_blocks)
{
	struct medium *m;
	struct scsi_exchange e;
	struct scsi_sense sense;
	size_t got;

	opened("faults:\nunreadable range = 4096+1Ki\n");
	memset(data, 0x5A, 1024);
	sent("2A 00 00 00 00 07 00 00 02 00", 'o', 1024); /* writing there works */
	expect(0, 1024, 0, false);
	sent("28 00 00 00 00 07 00 00 03 00", 'i', 1536);
	expect(1, 512, 1024, true);
	ck_assert_uint_eq(data[511], 0x5A);
	sent("28 00 00 00 00 0A 00 00 01 00", 'i', 512); /* behind it */
	expect(0, 512, 0, false);
	model_gadget_release(&g);
	m = medium_of("faults:\nunreadable range = 4096+1Ki\n");
	ck_assert_int_eq(medium_read(m, 3584, data, 512, &got), 0);
	/* Linux: BLK_STS_MEDIUM, ENODATA. */
	ck_assert_int_eq(medium_read(m, 3584, data, 1024, &got), -ENODATA);
	e = exchanged(m, "28 00 00 00 00 08 00 00 01 00", SCSI_DATA_IN, 512);
	scsi_sense_decode(&sense, e.sense, e.sense_length);
	ck_assert_uint_eq(sense.key, SENSE_MEDIUM_ERROR);
	ck_assert_uint_eq(sense.code, SENSE_READ_ERROR);
	ck_assert_uint_eq(sense.information, 8);
	medium_close(m);
}
END_TEST

static void refused_model(const char *tail, const char *words)
{
	struct model_spec spec;
	struct error err = { 0 };
	char text[1024];

	snprintf(text, sizeof text, "%s%s", head, tail);
	ck_assert_int_eq(model_spec_parse(&spec, text, strlen(text), "t", &err), -1);
	ck_assert_msg(strstr(err.text, words) != NULL, "%s", err.text);
}

START_TEST(faults_that_could_not_show)
{
	refused_model("claims:\nremovable = no\nfaults:\nprevent accepted = yes\n",
		"'removable = yes' in the claims section");
	refused_model("claims:\nremovable = no\nfaults:\nstays after eject = yes\n",
		"'removable = yes' in the claims section");
	refused_model("claims:\ncaching page = no\nfaults:\nmode sense = short\n",
		"there is nothing to leave out");
	refused_model("faults:\nunreadable range = 4Mi+512\n", "whole blocks inside the capacity");
	refused_model("faults:\nvital pages confused = yes\nvital pages unanswered = yes\n",
		"no 'vital pages unanswered = yes' beside it");
	refused_model("faults:\nunknown command = noise\n", "refused silence stall");
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
	tcase_add_test(c, an_unknown_command);
	tcase_add_test(c, an_unknown_flush);
	tcase_add_test(c, a_short_answer);
	tcase_add_test(c, a_wrong_tag);
	tcase_add_test(c, a_wrong_residue);
	tcase_add_test(c, mode_sense_of_the_wrong_length);
	tcase_add_test(c, confused_vital_pages);
	tcase_add_test(c, a_vital_page_that_hangs_it);
	tcase_add_test(c, sense_that_stays);
	tcase_add_test(c, prevent_on_a_removable_medium);
	tcase_add_test(c, a_medium_that_stays_after_eject);
	tcase_add_test(c, unreadable_blocks);
	tcase_add_test(c, faults_that_could_not_show);
	suite_add_tcase(s, c);
	return s;
}
