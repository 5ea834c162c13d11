/* The audit's line on vital product data pages: SPC-4 6.4.2 (standard data), 7.8 (pages), 7.8.13 (the list), 7.8.15 (serial
 * number). */
#include <check.h>
#include <stdio.h>
#include <string.h>

#include "audit/audit.h"
#include "base/error.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "support/scsi_tap.h"

static struct promises lines;

static const struct promise *line(enum promise_id id)
{
	for (size_t i = 0; i < lines.count; i++)
		if (promise_parse(lines.list[i].name) == (int)id)
			return &lines.list[i];
	ck_abort_msg("no line '%s'", promise_row(id)->name);
	return NULL;
}

static const struct promise *pages(void)
{
	return line(PROMISE_ID_VITAL_PAGES);
}

struct run {
	const char *tail; /* of the model */
	scsi_tap_change *change;
	bool data_waits, all;
};

/* What audit_run returned. */
static int audit_with(const struct run *r, struct error *err)
{
	static const char head[] =
		"gadget-model 1\ndevice:\nname = t\nvendor = INVENTED\nproduct = buoy\n"
		"serial = B7\ncapacity = 8Mi\nlink:\nspeed = full\nrate = 1 MB/s\ncard:\n"
		"read rate = 2 MB/s\nwrite rate = 1 MB/s\nfirmware:\nunit = request\n";
	struct audit_hooks hooks = { 0 };
	struct audit_plan plan = { .area_bytes = 1 << 20,
		.seed = 5,
		.only = r->all ? 0 : PROMISE_BIT(PROMISE_ID_VITAL_PAGES),
		.data_waits = r->data_waits };
	enum audit_outcome outcome;
	struct model_spec spec;
	struct medium *m;
	char text[1024];
	int rc;

	snprintf(text, sizeof text, "%s%s", head, r->tail);
	ck_assert_msg(!model_spec_parse(&spec, text, strlen(text), "t", err), "%s", err->text);
	ck_assert_int_eq(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, err), 0);
	if (r->change)
		m = scsi_tap_new(m, r->change, NULL);
	audit_plan_defaults(&plan, m);
	plan.burst_limit_bytes = 1 << 20;
	plan.many_writes = 256;
	rc = audit_run(m, &plan, &hooks, &lines, &outcome, err);
	medium_close(m);
	return rc;
}

static const struct promise *pages_with(const char *tail, scsi_tap_change *change)
{
	struct error err = { 0 };

	ck_assert_msg(
		!audit_with(&(struct run){ .tail = tail, .change = change }, &err), "%s", err.text);
	return pages();
}

static bool asks_page(const struct scsi_exchange *x)
{
	return x->cdb[0] == 0x12 && x->cdb[1] & 1;
}

static bool asks_for(const struct scsi_exchange *x, uint8_t page)
{
	return asks_page(x) && x->cdb[2] == page;
}

static void answer_with(struct scsi_exchange *x, const void *bytes, uint32_t n)
{
	x->status = 0;
	x->sense_length = 0;
	x->host_status = 0;
	memset(x->data, 0, x->data_length);
	memcpy(x->data, bytes, n);
	x->residual = x->data_length - n;
}

/* Standard INQUIRY data as the model has them: RMB, version 6 (SPC-4), 31 bytes behind byte 4. */
static const uint8_t standard[36] = "\0\x80\6\2\x1F\0\0\0INVENTEDbuoy            1.00";

static void standard_for_80h(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x80))
		answer_with(x, standard, sizeof standard);
}

/* Of a medium that is not removable, and of a version that claims no standard: byte 1 is the code of page 00h, and the rest a
 * list that fits. */
static void old_standard_for_00h(void *context, struct scsi_exchange *x)
{
	uint8_t data[36];

	(void)context;
	memcpy(data, standard, sizeof data);
	data[1] = data[2] = 0;
	if (x->cdb[0] == 0x12 && (!asks_page(x) || !x->cdb[2]))
		answer_with(x, data, sizeof data);
}

static void list_for_83h(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x83))
		answer_with(x, "\0\0\0\2\0\x80", 6);
}

static void serial_that_tells_of_more(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x80))
		answer_with(x, "\0\x80\0\x14ONLY THIS", 13);
}

static void good_without_data(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x80))
		answer_with(x, "", 0);
}

static void a_page_listed_and_refused(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x00))
		answer_with(x, "\0\0\0\3\0\x80\xB1", 7);
}

static void no_page(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_page(x))
		scsi_tap_fail(x, SENSE_ILLEGAL_REQUEST, SENSE_INVALID_OPCODE, false);
}

static void not_ready_for_80h(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_for(x, 0x80))
		scsi_tap_fail(x, SENSE_ABORTED_COMMAND, 0, false);
}

/* A page that is as long as it may be, with another behind it in the list: cut short by the host's own limit, and no lie. */
static void a_long_page(void *context, struct scsi_exchange *x)
{
	uint8_t page[255] = { 0, 0x83, 1, 0x40 };

	(void)context;
	if (asks_for(x, 0x83))
		answer_with(x, page, sizeof page);
}

static unsigned lost_left;

/* DID_TIME_OUT: Linux scsi_status.h, from memory. */
static void lose_some(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (!asks_page(x) || !lost_left)
		return;
	lost_left--;
	x->host_status = 3;
}

static void lose_all_from_there(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_page(x))
		lost_left = 100;
	if (lost_left)
		x->host_status = 7;
}

static void leave_for_good(void *context, struct scsi_exchange *x)
{
	(void)context;
	if (asks_page(x))
		x->host_status = 1; /* DID_NO_CONNECT */
}

START_TEST(pages_as_they_are_and_refusals_are_kept)
{
	ck_assert_int_eq(pages_with("", NULL)->verdict, PROMISE_KEPT);
	ck_assert_uint_eq(pages()->tested, 4);
	ck_assert_ptr_nonnull(strstr(pages()->evidence, "00h, 80h answered as what they are"));
	ck_assert_int_eq(pages_with("", a_long_page)->verdict, PROMISE_KEPT);
	/* It says that it has none: mandatory in SPC-4, and no host is misled. */
	ck_assert_int_eq(pages_with("", no_page)->verdict, PROMISE_KEPT);
	ck_assert_ptr_nonnull(strstr(pages()->evidence, "00h and 83h mandatory"));
}
END_TEST

START_TEST(something_else_is_no_page)
{
	static const struct {
		scsi_tap_change *change;
		const char *words;
	} cases[] = {
		{ standard_for_80h, "80h answered with the standard INQUIRY data" },
		{ old_standard_for_00h, "00h answered with the standard INQUIRY data" },
		{ list_for_83h, "83h answered as another page" },
		{ serial_that_tells_of_more, "80h answered with fewer bytes" },
		{ good_without_data, "80h answered with fewer bytes" },
		{ a_page_listed_and_refused, "B1h in the list of page 00h, and refused" },
	};

	for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
		pages_with("", cases[i].change);
		ck_assert_msg(pages()->verdict == PROMISE_BROKEN, "%s: %s", cases[i].words,
			pages()->evidence);
		ck_assert_msg(
			strstr(pages()->evidence, cases[i].words) != NULL, "%s", pages()->evidence);
		ck_assert_str_ne(pages()->mend, "");
	}
	for (int removable = 0; removable < 2; removable++) {
		pages_with(removable ? "faults:\nvital pages confused = yes\n"
				     : "claims:\nremovable = no\nfaults:\nvital pages confused = "
				       "yes\n",
			NULL);
		ck_assert_int_eq(pages()->verdict, PROMISE_BROKEN);
		ck_assert_ptr_nonnull(strstr(pages()->evidence,
			"00h, 80h, 83h, B0h answered with the standard INQUIRY data"));
	}
	ck_assert_int_eq(pages_with("", not_ready_for_80h)->verdict, PROMISE_NOT_SHOWN);
}
END_TEST

/* A page that hangs the drive is asked for once more, if others are answered; nothing is asked after it. */
START_TEST(what_is_not_answered_is_asked_again)
{
	lost_left = 1;
	ck_assert_int_eq(pages_with("", lose_some)->verdict, PROMISE_NOT_SHOWN);
	ck_assert_uint_eq(pages()->tested, 1);
	lost_left = 2;
	ck_assert_int_eq(pages_with("", lose_some)->verdict, PROMISE_BROKEN);
	ck_assert_uint_eq(pages()->tested, 1);
	lost_left = 0;
	ck_assert_int_eq(pages_with("", lose_all_from_there)->verdict, PROMISE_NOT_SHOWN);
	ck_assert_int_eq(pages_with("faults:\nvital pages unanswered = yes\n", NULL)->verdict,
		PROMISE_BROKEN);
	ck_assert_ptr_nonnull(strstr(pages()->evidence, "00h asked for twice"));
}
END_TEST

/* Whether it hung or was unplugged cannot be told; what was found before stays. */
START_TEST(a_drive_that_never_comes_back_is_told)
{
	struct error err = { 0 };

	ck_assert_int_eq(
		audit_with(&(struct run){ .tail = "", .change = leave_for_good }, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_IO);
	ck_assert_int_eq(pages()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_ptr_nonnull(strstr(pages()->evidence, "page 00h no answer came"));
}
END_TEST

/* Every other line is what it is without such a question. */
START_TEST(no_other_line_depends_on_it)
{
	static const char fault[] = "claims:\nwrite cache = yes\nfaults:\nvital pages unanswered = "
				    "yes\n";
	struct error err = { 0 };
	struct promises honest;

	ck_assert_int_eq(
		audit_with(
			&(struct run){ .tail = "claims:\nwrite cache = yes\n", .all = true }, &err),
		0);
	honest = lines;
	ck_assert_int_eq(audit_with(&(struct run){ .tail = fault, .all = true }, &err), 0);
	ck_assert_uint_eq(lines.count, PROMISE_IDS);
	for (size_t i = 0; i < lines.count; i++)
		ck_assert_msg(lines.list[i].verdict == (&lines.list[i] == pages()
								       ? PROMISE_BROKEN
								       : honest.list[i].verdict),
			"%s: %s", lines.list[i].name, lines.list[i].evidence);
}
END_TEST

/* A drive that would not be known again after a reset is not asked, and the audit comes to its end. */
START_TEST(it_is_asked_only_of_a_drive_that_would_be_known_again)
{
	struct error err = { 0 };
	struct run r = { .tail = "faults:\nstuck line = 3\nstuck level = low\nvital pages "
				 "unanswered = yes\n" };

	ck_assert_int_eq(audit_with(&r, &err), 0);
	ck_assert_int_eq(pages()->verdict, PROMISE_NOT_SHOWN);
	ck_assert_uint_eq(pages()->tested, 0);
}
END_TEST

/* Kept data waits to go back to a drive that had better not hang: asked where it is named alone. */
START_TEST(nothing_that_may_hang_it_is_asked_before_kept_data_is_back)
{
	struct error err = { 0 };
	struct run r = {
		.tail = "faults:\nvital pages confused = yes\n", .data_waits = true, .all = true
	};

	ck_assert_int_eq(audit_with(&r, &err), 0);
	ck_assert_int_eq(pages()->verdict, PROMISE_NOT_ASKED);
	ck_assert_ptr_nonnull(strstr(pages()->evidence, "--only vital-pages asks it"));
	r.all = false;
	ck_assert_int_eq(audit_with(&r, &err), 0);
	ck_assert_int_eq(pages()->verdict, PROMISE_BROKEN);
}
END_TEST

Suite *vital_pages_suite(void)
{
	Suite *s = suite_create("vital_pages");
	TCase *t = tcase_create("vital_pages");

	tcase_add_test(t, pages_as_they_are_and_refusals_are_kept);
	tcase_add_test(t, something_else_is_no_page);
	tcase_add_test(t, what_is_not_answered_is_asked_again);
	tcase_add_test(t, a_drive_that_never_comes_back_is_told);
	tcase_add_test(t, no_other_line_depends_on_it);
	tcase_add_test(t, it_is_asked_only_of_a_drive_that_would_be_known_again);
	tcase_add_test(t, nothing_that_may_hang_it_is_asked_before_kept_data_is_back);
	suite_add_tcase(s, t);
	return s;
}
