/* What odd SCSI answers do to a verdict: an answer that tells of success is no failure, and one that cannot be true is not
 * believed. */
#include <check.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "audit/audit.h"
#include "audit/probe_context.h"
#include "base/error.h"
#include "integrity/cut.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "medium/scsi_data.h"
#include "support/scsi_tap.h"

static const char back[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 8Mi\n"
			   "link:\nspeed = full\nrate = 1 MB/s\nrequest cost = 300 us\n"
			   "card:\nread rate = 1 MB/s\nwrite rate = 500 kB/s\n"
			   "write command cost = 900 us\n"
			   "firmware:\nunit = request\nwrite behind = 32Ki\n"
			   "claims:\nwrite cache = yes\nfua = yes\n";
static const char through[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 8Mi\n"
			      "link:\nspeed = full\nrate = 1 MB/s\n"
			      "card:\nread rate = 1 MB/s\nwrite rate = 500 kB/s\n"
			      "firmware:\nunit = request\n"
			      "claims:\nwrite cache = no\n";

static struct medium *open_model(const char *text)
{
	struct error err = { 0 };
	struct model_spec spec;
	struct medium *m;

	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err), 0);
	return m;
}

static struct promises found;

static void audit(const char *model, scsi_tap_change *change, void *context)
{
	struct medium *m = scsi_tap_new(open_model(model), change, context);
	struct audit_plan plan = { .area_bytes = 1 << 20, .whole_target = true, .seed = 4 };
	struct audit_hooks hooks = { 0 };
	struct error err = { 0 };
	enum audit_outcome outcome;

	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	plan.many_writes = 256;
	ck_assert_msg(audit_run(m, &plan, &hooks, &found, &outcome, &err) == 0, "%s", err.text);
	medium_close(m);
}

static const struct promise *line(const char *id)
{
	for (size_t i = 0; i < found.count; i++)
		if (!strcmp(found.list[i].name, id))
			return &found.list[i];
	ck_abort_msg("no line '%s'", id);
	return NULL;
}

static void expect(const char *id, enum promise_verdict verdict, const char *words)
{
	const struct promise *f = line(id);

	ck_assert_msg(f->verdict == verdict && strstr(f->evidence, words), "%s is %s: %s", id,
		promise_verdict_name(f->verdict), f->evidence);
}

/* RECOVERED ERROR: "the last command completed successfully" (SPC-4 table 48); 17/01 recovered data with retries. */
static void recover(void *context, struct scsi_exchange *x)
{
	unsigned *count = context;
	uint8_t op = x->cdb[0];

	if ((op == SCSI_READ_10 || op == SCSI_WRITE_10 || op == SCSI_SYNCHRONIZE_CACHE_10) &&
		x->status == SCSI_GOOD && ++*count % 5 == 0)
		scsi_tap_fail(x, SENSE_RECOVERED_ERROR, 0x1701, false);
}

START_TEST(a_recovered_error_is_success)
{
	unsigned count = 0;

	audit(back, recover, &count);
	ck_assert_uint_gt(count, 1000);
	ck_assert_int_eq(promises_conclude(&found), PROMISE_KEPT);
	expect("background-error", PROMISE_NOT_ASKED, "no write failed");
}
END_TEST

START_TEST(completed_or_not)
{
	static const struct {
		enum scsi_sense_key key;
		bool deferred, completed;
	} cases[] = {
		{ SENSE_NO_SENSE, false, true },
		{ SENSE_RECOVERED_ERROR, false, true },
		{ SENSE_RECOVERED_ERROR, true, false }, /* deferred: this command was not done */
		{ SENSE_MEDIUM_ERROR, false, false },
		{ SENSE_UNIT_ATTENTION, false, false },
		{ SENSE_ILLEGAL_REQUEST, false, false },
	};
	struct scsi_exchange x = { 0 };

	ck_assert(scsi_completed(&x));
	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		scsi_tap_fail(&x, cases[i].key, 0, cases[i].deferred);
		ck_assert_msg(scsi_completed(&x) == cases[i].completed, "case %zu", i);
	}
	x.sense_length = 0; /* a failure without a word */
	ck_assert(!scsi_completed(&x));
	scsi_tap_fail(&x, SENSE_RECOVERED_ERROR, 0, false);
	x.host_status = 7;
	ck_assert(!scsi_completed(&x));
}
END_TEST

/* 4 bytes of descriptor sense: too short for SPC-4 4.5.2, so nothing of it counts. */
START_TEST(half_a_sense_says_nothing)
{
	static const uint8_t half[] = { 0x73, 0x03, 0x0C, 0x00 };
	struct scsi_sense s;

	scsi_sense_decode(&s, half, sizeof half);
	ck_assert(!s.valid);
	ck_assert(!s.deferred);
	ck_assert_uint_eq(s.key, 0);
	ck_assert_uint_eq(s.code, 0);
}
END_TEST

/* 2^55 + n blocks of 512 bytes are 2^64 + 512 n: the product would be right. */
START_TEST(a_capacity_that_overflows_is_not_the_capacity)
{
	struct scsi_capacity c = { .blocks = (UINT64_C(1) << 55) + 65536, .block_bytes = 512 };

	ck_assert_uint_eq(c.blocks * c.block_bytes, UINT64_C(65536) * 512);
	ck_assert(!scsi_capacity_is(&c, UINT64_C(65536) * 512, 512));
	c.blocks = 65536;
	ck_assert(scsi_capacity_is(&c, UINT64_C(65536) * 512, 512));
	ck_assert(!scsi_capacity_is(&c, UINT64_C(65536) * 512 + 1, 512));
	ck_assert(!scsi_capacity_is(&c, UINT64_C(65536) * 512, 4096));
	c.block_bytes = 0;
	ck_assert(!scsi_capacity_is(&c, 0, 0));
}
END_TEST

/* READ CAPACITY(10) sends the host to the 16-byte form (SBC-3 5.15), which is refused, or overflows. */
static void huge(void *context, struct scsi_exchange *x)
{
	bool *refuse = context;

	if (x->cdb[0] == SCSI_READ_CAPACITY_10) {
		memset(x->data, 0xFF, 4);
	} else if (x->cdb[0] == SCSI_SERVICE_ACTION_IN_16) {
		x->status = SCSI_GOOD;
		x->sense_length = 0;
		x->residual = 0;
		if (*refuse)
			scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, SENSE_INVALID_OPCODE, false);
		else
			scsi_put_u64(x->data, (UINT64_C(1) << 55) + 8 * 2048 - 1);
		if (!*refuse)
			scsi_put_u32((uint8_t *)x->data + 8, 512);
	}
}

START_TEST(the_long_capacity_is_asked_and_doubted)
{
	bool refuse = true;

	audit(back, huge, &refuse);
	expect("capacity", PROMISE_BROKEN, "refused");
	refuse = false;
	audit(back, huge, &refuse);
	expect("capacity", PROMISE_BROKEN, "36028797018980352 blocks of 512 bytes");
}
END_TEST

/* Only the long MODE SENSE is known, which Linux does not send to USB disks. */
static void long_mode_only(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == SCSI_MODE_SENSE_6)
		scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, SENSE_INVALID_OPCODE, false);
}

START_TEST(a_page_that_only_the_long_form_shows)
{
	audit(back, long_mode_only, NULL);
	expect("cache-page", PROMISE_BROKEN, "page 08h by MODE SENSE(10): WCE 1");
	ck_assert_ptr_nonnull(strstr(line("cache-page")->mend, "MODE SENSE(6)"));
}
END_TEST

static void refuse_sync(void *context, struct scsi_exchange *x)
{
	const uint16_t *code = context;

	if (x->cdb[0] == SCSI_SYNCHRONIZE_CACHE_10)
		scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, *code, false);
}

START_TEST(a_refused_flush_is_quoted)
{
	uint16_t code = SENSE_INVALID_FIELD;

	audit(back, refuse_sync, &code);
	expect("flush", PROMISE_BROKEN, "illegal request, 24/00 invalid field in cdb, with WCE 1");
	ck_assert_ptr_nonnull(strstr(line("flush")->mend, "block 0 and length 0"));
	code = SENSE_INVALID_OPCODE;
	audit(back, refuse_sync, &code);
	expect("flush", PROMISE_BROKEN, "illegal request, 20/00 invalid command operation code");
	ck_assert_ptr_nonnull(strstr(line("flush")->mend, "implement SYNCHRONIZE CACHE(10)"));
}
END_TEST

static void turn_rmb(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (x->cdb[0] == SCSI_INQUIRY)
		((uint8_t *)x->data)[1] ^= 0x80;
}

START_TEST(an_inquiry_that_changed_its_mind)
{
	audit(back, turn_rmb, NULL);
	expect("inquiry", PROMISE_BROKEN, "not removable; the kernel lists it as removable");
}
END_TEST

/* With blocks of 64 KiB eight of either end would overrun the buffer. */
START_TEST(edges_fit_the_buffer)
{
	for (uint32_t bytes = 512; bytes <= 65536; bytes *= 2)
		for (uint64_t total = 1; total < 40; total++) {
			uint32_t n = context_edge_blocks(total, bytes);

			ck_assert_uint_ge(n, 1);
			ck_assert_uint_le(n, total);
			ck_assert_uint_le(2 * (uint64_t)n * bytes, PROBE_BUFFER_BYTES);
		}
	ck_assert_uint_eq(context_edge_blocks(1 << 20, 512), 8);
}
END_TEST

/* The kernel flushes nothing to a write-through device, so cut sends the command; a plug-in leaves a unit attention. */
static void attend_once(void *context, struct scsi_exchange *x)
{
	unsigned *left = context;

	if (x->cdb[0] == SCSI_SYNCHRONIZE_CACHE_10 && *left) {
		--*left;
		scsi_tap_fail(x, SENSE_UNIT_ATTENTION, SENSE_MEDIUM_CHANGED, false);
	}
}

START_TEST(a_unit_attention_does_not_end_the_flushes_of_a_cut)
{
	char path[] = "/tmp/blkassay-answers-XXXXXX";
	unsigned attentions = 1;
	struct medium *m = scsi_tap_new(open_model(through), attend_once, &attentions);
	struct cut_settings settings = { .cycle = { .number = 1,
						 .seed = 6,
						 .region_bytes = 1 << 20,
						 .block_bytes = 512,
						 .promise = PROMISE_ACKNOWLEDGED },
		.end_after_ns = 2000000000 };
	struct cut_trigger none = { 0 };
	struct cut_summary summary;
	struct record_writer w;
	struct error err = { 0 };
	int fd = mkstemp(path);

	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
	ck_assert_int_eq(record_create(&w, path, JOURNAL_KIND, &err), 0);
	ck_assert_int_eq(cut_run(m, &settings, &none, &w, NULL, &summary, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(summary.ending, CUT_TIME_UP);
	ck_assert_uint_eq(attentions, 0);
	ck_assert_uint_gt(summary.flushes, 0);
	unlink(path);
	medium_close(m);
}
END_TEST

Suite *scsi_answers_suite(void)
{
	Suite *s = suite_create("scsi_answers");
	TCase *t = tcase_create("scsi_answers");

	tcase_add_test(t, a_recovered_error_is_success);
	tcase_add_test(t, completed_or_not);
	tcase_add_test(t, half_a_sense_says_nothing);
	tcase_add_test(t, a_capacity_that_overflows_is_not_the_capacity);
	tcase_add_test(t, the_long_capacity_is_asked_and_doubted);
	tcase_add_test(t, a_page_that_only_the_long_form_shows);
	tcase_add_test(t, a_refused_flush_is_quoted);
	tcase_add_test(t, an_inquiry_that_changed_its_mind);
	tcase_add_test(t, edges_fit_the_buffer);
	tcase_add_test(t, a_unit_attention_does_not_end_the_flushes_of_a_cut);
	suite_add_tcase(s, t);
	return s;
}
