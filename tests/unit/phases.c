/* Phases of passes on models whose times follow from their figures by hand, and when they are not shown. */
#include "measure/phases.h"

#include <check.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "measure/flusher.h"
#include "measure/pass.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "medium/scsi.h"
#include "platform/usbmon_event.h"

/* Link 0.2 ms a command and 4.096 ms for 4 KiB; host 0.3 ms; firmware 0.5 ms a request; card 0.1 ms + 2.048 ms to read
 * 4 KiB, 0.4 ms + 4.096 ms to write it. */
static const char plain[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 1Mi\n"
			    "link:\nrate = 1 MB/s\nrequest cost = 0.2 ms\nhost gap = 0.3 ms\n"
			    "request limit = 128Ki\n"
			    "card:\nread rate = 2 MB/s\nwrite rate = %s\n"
			    "read command cost = 0.1 ms\nwrite command cost = 0.4 ms\n"
			    "firmware:\nunit = request\nrequest cost = 0.5 ms\n";

static struct medium *medium;
static struct phases *phases;
static struct pass_buffers buffers;
static struct pass_result result;

static void opened_with(const char *write_rate, const char *more)
{
	struct error err = { 0 };
	struct model_spec spec;
	char text[2048];

	snprintf(text, sizeof text, plain, write_rate);
	strncat(text, more, sizeof text - strlen(text) - 1);
	ck_assert_msg(!model_spec_parse(&spec, text, strlen(text), "t", &err), "%s", err.text);
	ck_assert_msg(
		!model_open_spec(&medium, &spec, "t", MEDIUM_READ_WRITE, &err), "%s", err.text);
	ck_assert_msg(!phases_open(&phases, medium, NULL, &err), "%s", err.text);
	ck_assert_int_eq(pass_buffers_init(&buffers, medium, 256 << 10, 1), 0);
}

static void opened(const char *more)
{
	opened_with("1 MB/s", more);
}

static void teardown(void)
{
	phases_close(phases);
	pass_buffers_release(&buffers);
	medium_close(medium);
	phases = NULL;
	medium = NULL;
}

static const struct phase_times *pass(bool write, uint64_t request_bytes)
{
	struct flusher flusher;
	struct pass_plan plan = { .write = write,
		.request_bytes = request_bytes,
		.in_flight = 1,
		.region_bytes = 1 << 20,
		.duration_ns = 100000000,
		.seed = 1,
		.flusher = &flusher,
		.phases = phases };

	flusher_init(&flusher, medium);
	ck_assert_int_eq(pass_run(medium, &plan, &buffers, &result, NULL), 0);
	ck_assert_ptr_nonnull(result.phases);
	return result.phases;
}

static void expect_us(const struct phase_times *t, double command_us, double data_us,
	double status_us, double host_us)
{
	const double want[COMMAND_PHASES] = { [PHASE_COMMAND] = command_us,
		[PHASE_DATA] = data_us,
		[PHASE_STATUS] = status_us,
		[PHASE_HOST] = host_us };

	ck_assert_int_eq(t->state, PHASES_SEEN);
	for (int i = 0; i < COMMAND_PHASES; i++) {
		ck_assert_uint_eq(t->ns[i].total, i == PHASE_HOST ? t->commands - 1 : t->commands);
		ck_assert_double_eq_tol(
			(double)t->ns[i].sum / (double)t->ns[i].total / 1000, want[i], 0.01);
	}
}

START_TEST(reads_fetch_before_data)
{
	opened("");
	expect_us(pass(false, 4096), 200, 500 + 100 + 2048 + 4096, 0, 300);
	ck_assert_uint_eq(result.phases->bytes, result.bytes);
}
END_TEST

START_TEST(writes_store_before_status)
{
	opened("");
	expect_us(pass(true, 4096), 200, 500 + 4096, 400 + 4096, 300);
}
END_TEST

/* Four chunks of 1 KiB: the last one reaches the card when all four have passed the link. */
START_TEST(overlapped_writes)
{
	opened("transfer = overlapped\nchunk = 1Ki\n");
	/* Link: 1024 us a chunk; card: 1424 us the first, 1024 us each other: 500 + 1024 + 1424 + 3 * 1024 = 6020 in all,
	 * and the link waits for one of two buffers before its last two. */
	expect_us(pass(true, 4096), 200, 500 + 1024 + 1424 + 1024 + 1024, 1024, 300);
}
END_TEST

/* The buffer is full all the time: the data is refused until the card has made room, and the status comes at once. */
START_TEST(full_buffers_refuse_data)
{
	struct phase_times *t;
	double whole;

	opened_with("0.5 MB/s", "write behind = 4Ki\nclaims:\nwrite cache = yes\n");
	t = (struct phase_times *)(uintptr_t)pass(true, 4096);
	ck_assert_int_eq(t->state, PHASES_SEEN);
	ck_assert_uint_eq(t->ns[PHASE_STATUS].max, 0);
	/* From request to request what the card needs: 0.4 + 8.192 ms, once the buffer is full. */
	whole = (double)(t->ns[PHASE_COMMAND].max + t->ns[PHASE_DATA].max + t->ns[PHASE_HOST].max);
	ck_assert_double_ge(whole, 8592e3);
	ck_assert_uint_gt(t->ns[PHASE_DATA].max, 7000000);
	/* And the closing flush waits for the rest. */
	ck_assert_uint_gt(result.flush_on_bus.longest_ns, 4000000);
}
END_TEST

/* A stretch has the commands of its kind; and that there were none is known only where others were heard before. */
START_TEST(stretches_sum_up_commands)
{
	struct command_sum sum;
	char block[4096] = "";
	size_t got;

	opened_with("0.1 MB/s", "write behind = 64Ki\nclaims:\nwrite cache = yes\n");
	phases_begin_stretch(phases, DEED_FLUSH);
	phases_end_stretch(phases, &sum);
	ck_assert(!sum.seen);
	ck_assert_int_eq(medium_write(medium, 0, block, sizeof block, &got), 0);
	phases_begin_stretch(phases, DEED_FLUSH);
	phases_end_stretch(phases, &sum);
	ck_assert(sum.seen);
	ck_assert_uint_eq(sum.commands, 0);
	phases_begin_stretch(phases, DEED_FLUSH);
	ck_assert_int_eq(medium_flush(medium), 0);
	ck_assert_int_eq(medium_read(medium, 0, block, sizeof block, &got), 0);
	phases_end_stretch(phases, &sum);
	ck_assert(sum.seen);
	ck_assert_uint_eq(sum.commands, 1);
	ck_assert_uint_eq(sum.ns[PHASE_COMMAND], 200000);
	/* 4 KiB at 0.1 MB/s are 41 ms, of which up to 5 went by on the link. */
	ck_assert_uint_ge(sum.ns[PHASE_STATUS], 36000000);
	ck_assert_uint_le(command_sum_wait_ns(&sum), 42000000);
	phases_begin_stretch(NULL, DEED_FLUSH);
	phases_end_stretch(NULL, &sum);
	ck_assert(!sum.seen);
}
END_TEST

/* How an answer ends that is shorter than asked for: Bulk-Only Transport 1.0, 6.7.2. A refusal and one that fits are none. */
START_TEST(short_answers_are_counted)
{
	static const char *const ends[] = { "", "faults:\nshort answer = ended\n" };

	for (unsigned i = 0; i < 2; i++) {
		unsigned char data[255] = { 0 };
		struct scsi_exchange x;
		struct command_sum sum;

		if (i)
			teardown();
		opened(ends[i]);
		phases_begin_stretch(phases, DEED_OTHER);
		scsi_build_mode_sense_6(&x, SCSI_CURRENT, SCSI_PAGE_ALL, data, 192);
		ck_assert_int_eq(medium_scsi(medium, &x), 0);
		scsi_build_inquiry(&x, data, 36);
		ck_assert_int_eq(medium_scsi(medium, &x), 0);
		scsi_build_inquiry_page(&x, 0x83, data, 255);
		ck_assert_int_eq(medium_scsi(medium, &x), 0);
		phases_end_stretch(phases, &sum);
		ck_assert(sum.seen);
		ck_assert_uint_eq(sum.commands, 3);
		ck_assert_uint_eq(sum.shorts, 1);
		ck_assert_uint_eq(sum.stalled_shorts, !i);
	}
}
END_TEST

START_TEST(split_requests)
{
	opened("");
	pass(false, 240 << 10);
	ck_assert_int_eq(result.phases->state, PHASES_SEEN);
	ck_assert_uint_eq(result.phases->commands, 2 * result.requests);
}
END_TEST

/* The sum of all phases is the time of the pass. */
START_TEST(phases_fill_the_pass)
{
	const struct phase_times *t;
	uint64_t sum = 0;

	opened("write behind = 8Ki\n");
	t = pass(true, 4096);
	for (int i = 0; i < COMMAND_PHASES; i++)
		sum += t->ns[i].sum;
	ck_assert_uint_eq(t->others, 0);
	/* But for the host's gap before the first command. */
	ck_assert_double_eq_tol((double)sum + 300e3, (double)result.busy_ns, 1e3);
}
END_TEST

START_TEST(a_pass_that_fails_shows_none)
{
	struct pass_plan plan = { .request_bytes = 4096,
		.in_flight = 1,
		.region_bytes = 1 << 20,
		.duration_ns = 1000000000,
		.phases = NULL };

	opened("faults:\nunreadable range = 65536+4096\n");
	plan.phases = phases;
	ck_assert_int_eq(pass_run(medium, &plan, &buffers, &result, NULL), 0);
	ck_assert(result.failure.failed);
	ck_assert_ptr_null(result.phases);
	/* The next one starts afresh. */
	plan.region_bytes = 32768;
	plan.duration_ns = 1;
	ck_assert_int_eq(pass_run(medium, &plan, &buffers, &result, NULL), 0);
	ck_assert_int_eq(result.phases->state, PHASES_SEEN);
}
END_TEST

START_TEST(others_on_the_bus)
{
	struct phase_times times;
	unsigned char *block = buffers.memory[0];
	size_t got;

	opened("");
	block = buffers.memory[0];
	phases_begin(phases, true, 512, &times);
	ck_assert_int_eq(medium_write(medium, 0, block, 512, &got), 0);
	phases_end(phases, 512);
	ck_assert_int_eq(times.state, PHASES_SEEN);
	/* More than the pass counted. */
	phases_begin(phases, true, 512, &times);
	ck_assert_int_eq(medium_write(medium, 0, block, 512, &got), 0);
	phases_end(phases, 0);
	ck_assert_int_eq(times.state, PHASES_OTHERS);
	/* A read among writes. */
	phases_begin(phases, true, 512, &times);
	ck_assert_int_eq(medium_write(medium, 0, block, 512, &got), 0);
	ck_assert_int_eq(medium_read(medium, 0, block, 512, &got), 0);
	phases_end(phases, 512);
	ck_assert_int_eq(times.state, PHASES_OTHERS);
	/* Nothing at all. */
	phases_begin(phases, true, 512, &times);
	phases_end(phases, 0);
	ck_assert_int_eq(times.state, PHASES_OTHERS);
}
END_TEST

static void ask_if_ready(unsigned times)
{
	while (times--) {
		struct scsi_exchange x = { .timeout_ms = 1000 };

		scsi_build_test_unit_ready(&x);
		ck_assert_int_eq(medium_scsi(medium, &x), 0);
	}
}

/* Nobody counts commands without data, and yet a pass takes longer for them, in no phase of its own. */
START_TEST(others_that_take_their_time)
{
	struct phase_times times;
	unsigned char *block;
	size_t got;

	opened("");
	block = buffers.memory[0];
	phases_begin(phases, false, 64 << 10, &times);
	for (int i = 0; i < 20; i++)
		ck_assert_int_eq(medium_read(medium, 0, block, 64 << 10, &got), 0);
	ask_if_ready(1);
	phases_end(phases, 20 * 64 << 10);
	/* A look for a medium now and then, 1 ms of 2 s. */
	ck_assert_int_eq(times.state, PHASES_SEEN);
	ck_assert_uint_eq(times.others, 1);
	ck_assert(!times.others_slow);
	/* 4 ms of 108: a look for a medium in a short pass. */
	phases_begin(phases, false, 64 << 10, &times);
	ck_assert_int_eq(medium_read(medium, 0, block, 64 << 10, &got), 0);
	ask_if_ready(4);
	phases_end(phases, 64 << 10);
	ck_assert_int_eq(times.state, PHASES_OTHERS);
	ck_assert(!times.others_slow);
	phases_begin(phases, false, 64 << 10, &times);
	ck_assert_int_eq(medium_read(medium, 0, block, 64 << 10, &got), 0);
	ask_if_ready(20);
	ck_assert_int_eq(medium_read(medium, 0, block, 64 << 10, &got), 0);
	phases_end(phases, 2 * 64 << 10);
	ck_assert_int_eq(times.state, PHASES_OTHERS);
	ck_assert_uint_eq(times.others, 20);
	ck_assert(times.others_slow);
}
END_TEST

START_TEST(a_bus_that_is_not_there)
{
	static const struct usbmon_filter nowhere = { .bus = 65535, .device = 1 };
	struct error err = { 0 };
	struct phases *p;

	opened("");
	ck_assert_int_eq(phases_open(&p, medium, &nowhere, &err), -1);
	ck_assert_ptr_null(p);
	ck_assert_ptr_nonnull(strstr(err.text, "/dev/usbmon65535"));
}
END_TEST

Suite *phases_suite(void)
{
	Suite *s = suite_create("phases");
	TCase *t = tcase_create("models");

	tcase_add_checked_fixture(t, NULL, teardown);
	tcase_add_test(t, reads_fetch_before_data);
	tcase_add_test(t, writes_store_before_status);
	tcase_add_test(t, overlapped_writes);
	tcase_add_test(t, full_buffers_refuse_data);
	tcase_add_test(t, stretches_sum_up_commands);
	tcase_add_test(t, short_answers_are_counted);
	tcase_add_test(t, split_requests);
	tcase_add_test(t, phases_fill_the_pass);
	tcase_add_test(t, a_pass_that_fails_shows_none);
	tcase_add_test(t, others_on_the_bus);
	tcase_add_test(t, others_that_take_their_time);
	tcase_add_test(t, a_bus_that_is_not_there);
	suite_add_tcase(s, t);
	return s;
}
