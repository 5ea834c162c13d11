/* A medium that turns out to be another one: nothing reaches it after that, and everybody hears why. */
#include <check.h>
#include <errno.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/random.h"
#include "medium/device_traits.h"
#include "medium/identity.h"
#include "medium/medium.h"
#include "medium/model.h"
#include "medium/model_spec.h"
#include "medium/scsi.h"
#include "medium/telltale.h"
#include "platform/blockdev.h"
#include "support/failing_medium.h"
#include "support/ram_medium.h"
#include "support/scsi_tap.h"

enum { BLOCK = 512, BYTES = 64 * BLOCK };

static uint8_t block[BLOCK];

static int read_block(struct medium *m)
{
	size_t got = 1;
	int rc = medium_read(m, 0, block, BLOCK, &got);

	ck_assert_uint_eq(got, rc ? 0 : BLOCK);
	return rc;
}

static int write_block(struct medium *m)
{
	size_t got = 1;
	int rc = medium_write(m, 0, block, BLOCK, &got);

	ck_assert_uint_eq(got, rc ? 0 : BLOCK);
	return rc;
}

START_TEST(nothing_reaches_a_medium_that_changed)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = &r->medium;
	struct error err = { 0 };

	ck_assert_int_eq(write_block(m), 0);
	ck_assert_ptr_null(medium_lost(m));
	ck_assert_int_eq(medium_explain(m, &err), -1);
	ck_assert_int_eq(err.kind, ERROR_NONE);
	r->swap_after = 1;
	ck_assert_int_eq(write_block(m), -ESTALE);
	ck_assert_int_eq(medium_flush(m), -ESTALE);
	ck_assert_int_eq(read_block(m), -ESTALE);
	ck_assert_uint_eq(r->writes, 1);
	ck_assert_uint_eq(r->flushes + r->reads, 0);
	/* Back again is too late: what was written to in between is not known. */
	r->swap_after = 0;
	ck_assert_int_eq(write_block(m), -ESTALE);
	ck_assert_uint_eq(r->writes, 1);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), -ESTALE);
	error_set(&err, ERROR_USAGE, "something else");
	ck_assert_int_eq(medium_explain(m, &err), -1);
	ck_assert_str_eq(err.text, "'memory' is another medium now");
	ck_assert_int_eq(err.kind, ERROR_IO);
	medium_close(m);
}
END_TEST

/* The read itself went through, but it may have been the other medium that answered. */
START_TEST(what_was_read_while_it_changed_is_not_handed_out)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);

	r->swap_after = 1;
	ck_assert_int_eq(read_block(&r->medium), -ESTALE);
	ck_assert_uint_eq(r->reads, 1);
	medium_close(&r->medium);
}
END_TEST

START_TEST(a_wrapper_passes_on_what_it_wraps)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = medium_failing(
		&r->medium, &(struct failing_plan){ .calls = FAILING_READ, .nth = 99 });

	r->swap_after = 1;
	r->swap_errno = ENODEV;
	ck_assert_int_eq(write_block(m), 0);
	ck_assert_int_eq(write_block(m), -ENODEV);
	ck_assert_str_eq(medium_lost(m)->text, "'memory' is another medium now");
	medium_close(m);
}
END_TEST

/* Who writes for a long time without a word is asked for the whole check now and then. */
START_TEST(a_batch_is_due_once_a_second_at_least)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, false);

	/* By the medium's own clock, on which idling passes at once. */
	r->medium.traits.virtual_clock = true;
	write_block(&r->medium);
	ck_assert_uint_eq(r->checks[MEDIUM_CHECK_BATCH], 1);
	for (int i = 0; i < 3; i++)
		write_block(&r->medium);
	ck_assert_uint_le(r->checks[MEDIUM_CHECK_BATCH], 4);
	medium_idle_ns(&r->medium, 1100000000);
	write_block(&r->medium);
	ck_assert_uint_ge(r->checks[MEDIUM_CHECK_BATCH], 2);
	medium_close(&r->medium);
}
END_TEST

/* Each of these alone tells that another device took the place of the one that was looked at. */
START_TEST(what_was_opened_is_what_was_looked_at)
{
	const struct blockdev looked = {
		.name = "sdb", .disk_sequence = 7, .size_bytes = 4096, .serial = "A"
	};
	struct medium_traits t = {
		.name = "sdb", .disk_sequence = 7, .size_bytes = 4096, .serial = "A"
	};
	struct medium_traits other;

	ck_assert(medium_traits_fit_device(&t, &looked));
	other = t;
	other.name[2] = 'c';
	ck_assert(!medium_traits_fit_device(&other, &looked));
	other = t;
	other.disk_sequence = 8;
	ck_assert(!medium_traits_fit_device(&other, &looked));
	other = t;
	other.size_bytes = 8192;
	ck_assert(!medium_traits_fit_device(&other, &looked));
	other = t;
	other.serial[0] = 'B';
	ck_assert(!medium_traits_fit_device(&other, &looked));
}
END_TEST

/* ---- tell-tales ---- */

static void fill(uint8_t *bytes, size_t length, uint64_t seed)
{
	for (size_t i = 0; i < length; i += 8) {
		uint64_t v = random_at(seed, i + 1);

		memcpy(bytes + i, &v, 8);
	}
}

/* Writes `count` blocks from `first` on, each its own data. */
static void write_some(struct medium *m, unsigned first, unsigned count, uint64_t seed)
{
	uint8_t data[BLOCK];
	size_t got;

	for (unsigned i = first; i < first + count; i++) {
		fill(data, BLOCK, seed + i);
		ck_assert_int_eq(medium_write(m, (uint64_t)i * BLOCK, data, BLOCK, &got), 0);
	}
}

START_TEST(a_medium_is_known_by_what_was_flushed_to_it)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true), *other;
	struct telltales *t = telltales_new();
	uint8_t data[BLOCK];

	other = ram_medium_new(BYTES, BLOCK, true);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_NONE);
	fill(r->bytes, BYTES, 1);
	for (int i = 0; i < 40; i++)
		telltales_note(t, (uint64_t)i * BLOCK, r->bytes + i * BLOCK, BLOCK);
	/* Nobody knows yet what these went to. */
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_NONE);
	telltales_vouch(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	ck_assert_int_eq(telltales_look(t, &other->medium), TELLTALE_MISSING);
	telltales_flush_begins(t);
	telltales_flushed(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	ck_assert_int_eq(telltales_look(t, &other->medium), TELLTALE_MISSING);
	/* One of them is enough: a gadget may lose much and still be the same one. */
	memcpy(other->bytes + 39 * BLOCK, r->bytes + 39 * BLOCK, BLOCK);
	ck_assert_int_eq(telltales_look(t, &other->medium), TELLTALE_FOUND);
	/* Written over, none of them is expected any more. */
	fill(data, BLOCK, 2);
	for (int i = 0; i < 40; i++)
		telltales_note(t, (uint64_t)i * BLOCK, data, BLOCK);
	memset(r->bytes, 0, BYTES);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_NONE);
	telltales_free(t);
	medium_close(&r->medium);
	medium_close(&other->medium);
}
END_TEST

/* A short region is written over from the beginning of its parts; what lies at their ends still tells. */
START_TEST(a_long_write_is_known_by_its_end_too)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct telltales *t = telltales_new();
	uint8_t data[4 * BLOCK];

	fill(r->bytes, BYTES, 1);
	telltales_note(t, 0, r->bytes, 16 * BLOCK);
	telltales_flush_begins(t);
	telltales_flushed(t);
	telltales_vouch(t);
	fill(data, sizeof data, 2);
	telltales_note(t, 0, data, sizeof data);
	/* Those were lost, and the rest is there. */
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	memset(r->bytes, 0, BYTES);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_MISSING);
	telltales_free(t);
	medium_close(&r->medium);
}
END_TEST

/* What was written while the flush was on its way need not be stored by it. */
START_TEST(a_flush_covers_what_came_before_it)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct telltales *t = telltales_new();
	uint8_t data[BLOCK], first[BLOCK];

	fill(data, BLOCK, 3);
	memcpy(first, data, BLOCK);
	telltales_flush_begins(t);
	telltales_note(t, 0, data, BLOCK);
	telltales_flushed(t);
	telltales_mark(t, true);
	fill(data, BLOCK, 4);
	telltales_note(t, BLOCK, data, BLOCK);
	telltales_vouch(t);
	/* A mark that is not flushed does not count alone. */
	memcpy(r->bytes, first, BLOCK);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	telltales_flush_begins(t);
	telltales_flushed(t);
	telltales_vouch(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_MISSING);
	telltales_free(t);
	medium_close(&r->medium);
}
END_TEST

/* A blank block is on every card. */
START_TEST(blocks_of_one_byte_tell_nothing)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct telltales *t = telltales_new();

	telltales_note(t, 0, r->bytes, BLOCK);
	telltales_flush_begins(t);
	telltales_flushed(t);
	telltales_vouch(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_NONE);
	telltales_free(t);
	medium_close(&r->medium);
}
END_TEST

/* Data that a run of the same seed wrote to another card must not pass for a mark. */
START_TEST(where_there_are_marks_they_alone_count)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct telltales *t = telltales_new();
	uint8_t mark[BLOCK];

	fill(r->bytes, BYTES, 4);
	fill(mark, BLOCK, 5);
	for (int i = 0; i < 10; i++)
		telltales_note(t, (uint64_t)i * BLOCK, r->bytes + i * BLOCK, BLOCK);
	telltales_mark(t, true);
	telltales_note(t, 20 * BLOCK, mark, BLOCK);
	telltales_flush_begins(t);
	telltales_flushed(t);
	telltales_mark(t, false);
	telltales_vouch(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_MISSING);
	memcpy(r->bytes + 20 * BLOCK, mark, BLOCK);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	telltales_free(t);
	medium_close(&r->medium);
}
END_TEST

/* The older ones are not all pushed out by a long row of new ones that the device loses. */
START_TEST(old_tell_tales_outlive_many_new_ones)
{
	struct ram_medium *r = ram_medium_new(4096 * BLOCK, BLOCK, true);
	struct telltales *t = telltales_new();
	uint8_t data[BLOCK];

	for (unsigned i = 0; i < 4096; i++) {
		fill(data, BLOCK, i);
		telltales_note(t, (uint64_t)i * BLOCK, data, BLOCK);
		if (i < 512)
			memcpy(r->bytes + i * BLOCK, data, BLOCK);
		if (i % 16 == 15) {
			telltales_flush_begins(t);
			telltales_flushed(t);
		}
	}
	telltales_vouch(t);
	ck_assert_int_eq(telltales_look(t, &r->medium), TELLTALE_FOUND);
	telltales_free(t);
	medium_close(&r->medium);
}
END_TEST

/* The kernel repeats the request that a reset fell into, to whatever card is there by then; and what is flushed after that is
 * flushed to that one. Only what came before counts. */
START_TEST(what_came_after_the_last_batch_proves_nothing)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = &r->medium;

	m->traits.disk_sequence = 5;
	write_some(m, 0, 4, 7);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), 0);
	memset(r->bytes, 0xFF, BYTES);
	write_some(m, 8, 4, 7);
	identity_doubt(m);
	ck_assert_int_eq(medium_flush(m), -ESTALE);
	medium_close(m);
}
END_TEST

/* A kernel without a disk sequence: read back before each batch, and another card is found so. */
START_TEST(without_a_disk_sequence_the_tell_tales_are_read_back)
{
	struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true);
	struct medium *m = &r->medium;

	m->traits.kind = MEDIUM_BLOCK_DEVICE;
	write_some(m, 0, 4, 7);
	ck_assert_int_eq(medium_flush(m), 0);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), 0);
	memset(r->bytes, 0xFF, BYTES);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), -ESTALE);
	ck_assert_ptr_nonnull(strstr(medium_lost(m)->text, "counts no disk sequence"));
	medium_close(m);
	/* With one that did not move, they are not asked. */
	r = ram_medium_new(BYTES, BLOCK, true);
	m = &r->medium;
	m->traits.kind = MEDIUM_BLOCK_DEVICE;
	m->traits.disk_sequence = 5;
	write_some(m, 0, 4, 7);
	ck_assert_int_eq(medium_flush(m), 0);
	memset(r->bytes, 0xFF, BYTES);
	ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_BATCH), 0);
	medium_close(m);
}
END_TEST

/* Opened again in mid-run, with an attention that was absorbed on the way: the tell-tales of before are asked. */
START_TEST(an_attention_at_reopening_is_a_doubt)
{
	for (int same = 0; same < 2; same++) {
		struct ram_medium *r = ram_medium_new(BYTES, BLOCK, true), *again;
		struct telltales *told;

		r->medium.traits.disk_sequence = 5;
		write_some(&r->medium, 0, 4, 7);
		ck_assert_int_eq(medium_flush(&r->medium), 0);
		told = medium_take_telltales(&r->medium);
		again = ram_medium_new(BYTES, BLOCK, true);
		again->medium.traits.disk_sequence = 5;
		if (same)
			memcpy(again->bytes, r->bytes, BYTES);
		medium_close(&r->medium);
		identity_doubt(&again->medium);
		medium_give_telltales(&again->medium, told);
		ck_assert_int_eq(
			medium_check(&again->medium, MEDIUM_CHECK_BATCH), same ? 0 : -ESTALE);
		medium_close(&again->medium);
	}
}
END_TEST

/* ---- what a drive says of itself ---- */

static const char head[] = "gadget-model 1\ndevice:\nname = t\ncapacity = 512Ki\nfill = FFh\n"
			   "link:\nrate = 4 MB/s\ncard:\nread rate = 1 MB/s\nwrite rate = 1 MB/s\n"
			   "firmware:\nunit = request\nwrite behind = 32Ki\n"
			   "claims:\nwrite cache = yes\nfua = yes\n";

static struct medium *open_model(const char *more)
{
	struct model_spec spec;
	struct error err = { 0 };
	struct medium *m;
	char text[2048];

	snprintf(text, sizeof text, "%s%s", head, more);
	ck_assert_msg(model_spec_parse(&spec, text, strlen(text), "t", &err) == 0, "%s", err.text);
	ck_assert_msg(model_open_spec(&m, &spec, "model:t", MEDIUM_READ_WRITE, &err) == 0, "%s",
		err.text);
	return m;
}

static int scsi_write(struct medium *m, unsigned lba, uint64_t seed)
{
	uint8_t data[BLOCK];
	struct scsi_exchange x;

	fill(data, BLOCK, seed + lba);
	scsi_build_write(&x, lba, 1, BLOCK, data, 0);
	return medium_scsi(m, &x);
}

static int scsi_sync(struct medium *m)
{
	struct scsi_exchange x;

	scsi_build_synchronize_cache(&x, 0, 0, false);
	return medium_scsi(m, &x);
}

static int block_write(struct medium *m, unsigned lba, uint64_t seed)
{
	uint8_t data[BLOCK];
	size_t got;
	int rc;

	fill(data, BLOCK, seed + lba);
	rc = medium_write(m, (uint64_t)lba * BLOCK, data, BLOCK, &got);
	/* As the run would that met it. */
	return rc < 0 && medium_check(m, MEDIUM_CHECK_FAILED) < 0 ? -1 : rc;
}

/* Writes and flushes until the medium is lost, or 64 writes are done. */
static unsigned write_until_lost(struct medium *m, bool scsi)
{
	for (unsigned i = 0; i < 64; i++) {
		int rc = scsi ? scsi_write(m, i, 9) : block_write(m, i, 9);

		if (rc >= 0 && i % 4 == 3)
			rc = scsi ? scsi_sync(m) : medium_flush(m);
		if (rc >= 0 && i % 8 == 7)
			rc = medium_check(m, MEDIUM_CHECK_BATCH);
		if (medium_lost(m))
			return i;
	}
	return 64;
}

/* A card swapped at any command, told in any way, to a run by SCSI commands and to one through the kernel. What the kernel's
 * own poll took away is seen one request later; what a reset hid from block I/O only at the next batch. */
START_TEST(no_write_follows_a_swapped_card)
{
	static const struct {
		const char *told;
		unsigned strays[2]; /* at most, by block I/O and by SCSI */
	} ways[] = { { "attention", { 0, 0 } }, { "sequence", { 1, 1 } }, { "reset", { 8, 0 } } };

	for (size_t w = 0; w < 3; w++)
		for (int scsi = 0; scsi < 2; scsi++)
			for (unsigned at = 10; at < 60; at++) {
				char events[120];
				struct medium *m;

				snprintf(events, sizeof events,
					"events:\ncard swapped at = %u\nswap told by = %s\n", at,
					ways[w].told);
				m = open_model(events);
				ck_assert_msg(write_until_lost(m, scsi) < 64,
					"%s at %u: nobody noticed", ways[w].told, at);
				ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_REQUEST), -ESTALE);
				ck_assert_msg(model_strays(m) <= ways[w].strays[scsi],
					"%s at %u: %llu writes to the other card", ways[w].told, at,
					(unsigned long long)model_strays(m));
				medium_close(m);
			}
}
END_TEST

START_TEST(a_drive_that_is_unplugged_is_gone_and_one_that_is_reset_is_not)
{
	for (int scsi = 0; scsi < 2; scsi++) {
		struct medium *m = open_model("events:\nunplugged at = 12\n");

		ck_assert_uint_lt(write_until_lost(m, scsi), 12);
		ck_assert_int_eq(medium_check(m, MEDIUM_CHECK_REQUEST), -ENODEV);
		ck_assert_ptr_nonnull(strstr(medium_lost(m)->text, "is gone"));
		medium_close(m);
		for (char events[40], at = 1; at < 60; at++) {
			snprintf(events, sizeof events, "events:\nreset at = %d\n", at);
			m = open_model(events);
			ck_assert_uint_eq(write_until_lost(m, scsi), 64);
			ck_assert_uint_eq(medium_resets(m), (uint64_t)scsi);
			medium_close(m);
		}
	}
}
END_TEST

static void attend(void *context, struct scsi_exchange *x)
{
	unsigned *left = context;

	if (*left && !--*left)
		scsi_tap_fail(x, SENSE_UNIT_ATTENTION, SENSE_MEDIUM_CHANGED, false);
}

START_TEST(an_attention_from_before_the_first_write_is_absorbed)
{
	unsigned next = 1;
	struct medium *m = scsi_tap_new(open_model(""), attend, &next);

	ck_assert_int_eq(scsi_sync(m), 0);
	ck_assert_ptr_null(medium_lost(m));
	ck_assert_int_eq(scsi_write(m, 0, 1), 0);
	next = 1;
	ck_assert_int_eq(scsi_sync(m), -ESTALE);
	ck_assert_ptr_nonnull(medium_lost(m));
	medium_close(m);
	/* Held, it counts before anything was written: what is there may be being saved. */
	next = 1;
	m = scsi_tap_new(open_model(""), attend, &next);
	ck_assert_int_eq(medium_hold(m), 0);
	ck_assert_int_eq(scsi_sync(m), -ESTALE);
	medium_close(m);
}
END_TEST

static void put_sense(void *context, struct scsi_exchange *x)
{
	struct scsi_sense s = {
		.valid = true, .key = SENSE_UNIT_ATTENTION, .code = SENSE_MEDIUM_CHANGED
	};
	uint8_t sense[20];

	(void)context;
	if (x->cdb[0] != SCSI_REQUEST_SENSE)
		return;
	scsi_sense_encode(sense, &s);
	memcpy(x->data, sense, 18);
	x->residual = 0;
}

/* Sense that was asked for is told no second time: the news of another card in it is heeded right then. */
START_TEST(an_attention_that_was_asked_for_is_heeded)
{
	struct medium *m = scsi_tap_new(open_model(""), put_sense, NULL);
	struct scsi_exchange x;
	uint8_t sense[18] = { 0 };

	ck_assert_int_eq(scsi_write(m, 0, 1), 0);
	scsi_build_request_sense(&x, sense, sizeof sense);
	ck_assert_int_eq(medium_scsi(m, &x), -ESTALE);
	ck_assert_ptr_nonnull(medium_lost(m));
	medium_close(m);
}
END_TEST

static int start_stop(struct medium *m, bool start)
{
	struct scsi_exchange x;

	scsi_build_start_stop(&x, true, start);
	return medium_scsi(m, &x);
}

static int test_ready(struct medium *m)
{
	struct scsi_exchange x;

	scsi_build_test_unit_ready(&x);
	return medium_scsi(m, &x);
}

static void write_and_sync(struct medium *m)
{
	for (unsigned i = 0; i < 8; i++)
		ck_assert_int_eq(scsi_write(m, i, 3), 0);
	ck_assert_int_eq(scsi_sync(m), 0);
}

START_TEST(an_eject_of_ones_own_is_gone_on_with_once_it_is_known_again)
{
	struct medium *m = open_model("");
	size_t got;

	write_and_sync(m);
	medium_expect_change(m);
	ck_assert(!medium_has_left(m));
	ck_assert_int_eq(scsi_write(m, 9, 3), 0);
	ck_assert_int_eq(start_stop(m, false), 0);
	ck_assert_int_eq(test_ready(m), 0); /* 02/3A */
	ck_assert(medium_has_left(m));
	ck_assert_int_eq(scsi_write(m, 10, 3), -ESTALE);
	ck_assert_int_eq(scsi_sync(m), -ESTALE);
	ck_assert_int_eq(medium_read(m, 0, block, BLOCK, &got), -ESTALE);
	ck_assert_ptr_null(medium_lost(m));
	ck_assert_int_eq(start_stop(m, true), 0);
	ck_assert_int_eq(test_ready(m), 0); /* 06/28 */
	ck_assert_int_eq(medium_confirm(m), 0);
	ck_assert(!medium_has_left(m));
	ck_assert_int_eq(scsi_write(m, 10, 3), 0);
	ck_assert_int_eq(scsi_sync(m), 0);
	/* From here on it is none of its own again. */
	ck_assert_int_eq(start_stop(m, false), 0);
	ck_assert_int_eq(test_ready(m), -ENOMEDIUM);
	medium_close(m);
}
END_TEST

/* 8 writes, a flush, the eject, and then whichever command brings the other card. */
START_TEST(another_card_after_an_eject_is_not_gone_on_with)
{
	for (unsigned at = 11; at < 14; at++) {
		char events[80];
		struct medium *m;

		snprintf(events, sizeof events, "events:\ncard swapped at = %u\n", at);
		m = open_model(events);
		write_and_sync(m);
		medium_expect_change(m);
		ck_assert_int_eq(start_stop(m, false), 0);
		ck_assert_int_eq(start_stop(m, true), 0);
		ck_assert_int_eq(test_ready(m), 0);
		ck_assert_int_eq(test_ready(m), 0);
		ck_assert_int_eq(medium_confirm(m), -ESTALE);
		ck_assert_int_eq(scsi_write(m, 10, 3), -ESTALE);
		ck_assert_uint_eq(model_strays(m), 0);
		medium_close(m);
	}
}
END_TEST

/* Nothing was flushed that could show which medium it is. */
START_TEST(without_a_tell_tale_nothing_is_known_again)
{
	struct medium *m = open_model("");

	medium_expect_change(m);
	ck_assert_int_eq(medium_confirm(m), -ESTALE);
	ck_assert_ptr_nonnull(strstr(medium_lost(m)->text, "nothing is left of what this run"));
	medium_close(m);
}
END_TEST

Suite *identity_suite(void)
{
	Suite *s = suite_create("identity");
	TCase *t = tcase_create("identity");

	suite_add_tcase(s, t);
	tcase_add_test(t, nothing_reaches_a_medium_that_changed);
	tcase_add_test(t, what_was_read_while_it_changed_is_not_handed_out);
	tcase_add_test(t, a_wrapper_passes_on_what_it_wraps);
	tcase_add_test(t, a_batch_is_due_once_a_second_at_least);
	tcase_add_test(t, what_was_opened_is_what_was_looked_at);
	tcase_add_test(t, a_medium_is_known_by_what_was_flushed_to_it);
	tcase_add_test(t, a_long_write_is_known_by_its_end_too);
	tcase_add_test(t, a_flush_covers_what_came_before_it);
	tcase_add_test(t, blocks_of_one_byte_tell_nothing);
	tcase_add_test(t, where_there_are_marks_they_alone_count);
	tcase_add_test(t, old_tell_tales_outlive_many_new_ones);
	tcase_add_test(t, without_a_disk_sequence_the_tell_tales_are_read_back);
	tcase_add_test(t, an_attention_at_reopening_is_a_doubt);
	tcase_add_test(t, what_came_after_the_last_batch_proves_nothing);
	tcase_add_test(t, no_write_follows_a_swapped_card);
	tcase_add_test(t, a_drive_that_is_unplugged_is_gone_and_one_that_is_reset_is_not);
	tcase_add_test(t, an_attention_from_before_the_first_write_is_absorbed);
	tcase_add_test(t, an_attention_that_was_asked_for_is_heeded);
	tcase_add_test(t, an_eject_of_ones_own_is_gone_on_with_once_it_is_known_again);
	tcase_add_test(t, another_card_after_an_eject_is_not_gone_on_with);
	tcase_add_test(t, without_a_tell_tale_nothing_is_known_again);
	return s;
}
