/* record: lines, files cut or damaged anywhere, runs both ways. */
#include <check.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/checksum.h"
#include "base/error.h"
#include "record/file.h"
#include "record/line.h"
#include "record/run.h"

static char path[64];

static void make_path(void)
{
	int fd;

	snprintf(path, sizeof path, "/tmp/blkassay-test-XXXXXX");
	fd = mkstemp(path);
	ck_assert_int_ge(fd, 0);
	close(fd);
	unlink(path);
}

static void remove_path(void)
{
	unlink(path);
}

START_TEST(line_keeps_any_text)
{
	char hostile[256], back[300];
	struct line l;
	struct text t;
	uint64_t n;
	double d;

	for (int i = 0; i < 255; i++)
		hostile[i] = (char)(i + 1);
	hostile[255] = 0;
	text_init(&t);
	line_begin(&t, 42, "thing");
	line_put_text(&t, "empty", "");
	line_put_text(&t, "hostile", hostile);
	line_put_u64(&t, "large", UINT64_MAX);
	line_put_double(&t, "third", 1.0 / 3);
	line_put_i64(&t, "minus", -7);
	line_end(&t);
	ck_assert_ptr_null(memchr(t.bytes, '\n', t.length - 1));
	ck_assert_int_eq(line_parse(&l, t.bytes, t.length - 1), 0);
	ck_assert_uint_eq(l.number, 42);
	ck_assert_str_eq(l.kind, "thing");
	ck_assert(line_get_text(&l, "hostile", back, sizeof back));
	ck_assert_str_eq(back, hostile);
	ck_assert(line_get_text(&l, "empty", back, sizeof back));
	ck_assert_str_eq(back, "");
	ck_assert(line_get_u64(&l, "large", &n));
	ck_assert_uint_eq(n, UINT64_MAX);
	ck_assert(line_value_double(line_get_raw(&l, "third"), &d));
	ck_assert(d == 1.0 / 3);
	ck_assert(!line_get_u64(&l, "minus", &n));
	ck_assert(!line_get_u64(&l, "absent", &n));
	text_release(&t);
}
END_TEST

START_TEST(line_carries_its_zlib_crc)
{
	char bytes[] = "1 a ~00000000";
	struct line l;

	/* The digits are CRC-32 (ISO 3309) of what stands before " ~". */
	snprintf(bytes, sizeof bytes, "1 a ~%08X", checksum_crc32(0, "1 a", 3));
	ck_assert_int_eq(line_parse(&l, bytes, sizeof bytes - 1), 0);
	snprintf(bytes, sizeof bytes, "1 b ~%08X", checksum_crc32(0, "1 a", 3));
	ck_assert_int_eq(line_parse(&l, bytes, sizeof bytes - 1), -EBADMSG);
}
END_TEST

START_TEST(line_refuses_every_single_changed_byte)
{
	struct text t;

	text_init(&t);
	line_begin(&t, 7, "pass");
	line_put_u64(&t, "bytes", 123456);
	line_end(&t);
	for (size_t i = 0; i < t.length - 1; i++) {
		for (int bit = 0; bit < 8; bit++) {
			char *copy = strdup(t.bytes);
			struct line l;

			copy[i] = (char)(copy[i] ^ (1 << bit));
			ck_assert_int_eq(line_parse(&l, copy, t.length - 1), -EBADMSG);
			free(copy);
		}
	}
	text_release(&t);
}
END_TEST

static void write_sample(int passes)
{
	struct run_head head = {
		.kind = "sweep", .label = "build 7", .seed = 5, .command = "blkassay sweep x"
	};
	struct run_target target = {
		.kind = "image", .name = "card.img", .size_bytes = 1 << 20, .modelled = true
	};
	struct run_plan plan = {
		.region_bytes = 1 << 20, .sizes = { 512, 4096 }, .size_count = 2, .passes = 3
	};
	struct run_storing storing = { .by = RUN_STORED_STEADY,
		.flusher = "refused",
		.waits_for_idle = true,
		.host_away = true,
		.foreign = true,
		.device_errors = 3,
		.held_up = true,
		.buffer_bytes = 1048473.6,
		.head_bps = 20e6,
		.drain_bps = 2e6,
		.free_bytes = 16777216 };
	struct run_end end = { .status = "complete" };
	struct record_writer w;
	struct error err = { 0 };

	run_head_complete(&head);
	ck_assert_int_eq(record_create(&w, path, "sweep", &err), 0);
	ck_assert_int_eq(run_write_head(&w, &head, &err), 0);
	ck_assert_int_eq(run_write_target(&w, &target, &err), 0);
	ck_assert_int_eq(run_write_plan(&w, &plan, &err), 0);
	ck_assert_int_eq(run_write_storing(&w, &storing, &err), 0);
	for (int i = 0; i < passes; i++) {
		struct run_pass p = { .direction = RUN_WRITE,
			.order = RUN_RANDOM,
			.request_bytes = 4096,
			.pass = (uint32_t)i + 1,
			.bytes = 1000000,
			.requests = 250,
			.busy_ns = 500000000,
			.flush_ns = 500000000,
			.settle_ns = 7,
			.stored_by = RUN_STORED_SETTLED,
			.stored_ns = 1000000000,
			.lead_bytes = 4096,
			.stalls = 2,
			.stall_ns = 300000000,
			.device_known = i % 2,
			.device_requests = 300,
			.device_errors = (uint64_t)i,
			.flags = RUN_PASS_SPLIT | RUN_PASS_TAIL |
				 (i ? (uint32_t)RUN_PASS_RESETS : 0) };
		uint64_t bins[2] = { 100, 200 }, counts[2] = { 3, (uint64_t)i };

		ck_assert_int_eq(run_write_pass(&w, &p, &err), 0);
		ck_assert_int_eq(run_write_histogram(&w, (uint64_t)i, bins, counts, 2, &err), 0);
	}
	ck_assert_int_eq(run_write_end(&w, &end, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
}

START_TEST(run_comes_back_as_written)
{
	struct run r;
	struct error err = { 0 };

	write_sample(5);
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_str_eq(r.head.label, "build 7");
	ck_assert_str_eq(r.target.name, "card.img");
	ck_assert(r.target.modelled);
	ck_assert_uint_eq(r.plan.sizes[1], 4096);
	ck_assert_uint_eq(r.pass_count, 5);
	ck_assert_int_eq(r.passes[4].direction, RUN_WRITE);
	ck_assert_int_eq(r.passes[4].order, RUN_RANDOM);
	ck_assert(r.passes[1].device_known && !r.passes[0].device_known);
	ck_assert_uint_eq(r.passes[0].flags, RUN_PASS_SPLIT | RUN_PASS_TAIL);
	ck_assert_uint_eq(r.passes[3].flags, RUN_PASS_SPLIT | RUN_PASS_TAIL | RUN_PASS_RESETS);
	for (uint64_t i = 0; i < 5; i++)
		ck_assert_uint_eq(r.passes[i].device_errors, i);
	ck_assert_double_eq(run_pass_rate_acknowledged(&r.passes[0]), 2000000);
	ck_assert_int_eq(r.passes[0].direction, RUN_WRITE);
	ck_assert_double_eq(run_pass_rate_stored(&r.passes[0]), 1000000);
	ck_assert_int_eq(r.passes[0].stored_by, RUN_STORED_SETTLED);
	ck_assert_uint_eq(r.passes[0].settle_ns, 7);
	ck_assert_uint_eq(r.passes[0].lead_bytes, 4096);
	ck_assert_uint_eq(r.passes[0].stalls, 2);
	ck_assert_uint_eq(r.passes[0].stall_ns, 300000000);
	/* Without evidence there is no stored rate, however long the flush took. */
	r.passes[0].stored_by = RUN_NOT_SHOWN;
	ck_assert_double_eq(run_pass_rate_stored(&r.passes[0]), 0);
	ck_assert(r.storing.present && r.storing.held_up && r.storing.waits_for_idle);
	ck_assert(r.storing.host_away && r.storing.foreign);
	ck_assert_uint_eq(r.storing.device_errors, 3);
	ck_assert_int_eq(r.storing.by, RUN_STORED_STEADY);
	ck_assert_str_eq(r.storing.flusher, "refused");
	ck_assert_double_eq(r.storing.buffer_bytes, 1048473.6);
	ck_assert_double_eq(r.storing.drain_bps, 2e6);
	ck_assert_uint_eq(r.storing.free_bytes, 16777216);
	ck_assert(r.end.present && !r.cut && !r.damaged_lines);
	run_release(&r);
}
END_TEST

/* kill -9 at any byte: everything whole before it is read, nothing else is. */
START_TEST(record_cut_at_every_byte_is_readable)
{
	struct error err = { 0 };
	char *bytes;
	long length;
	FILE *f;

	write_sample(3);
	f = fopen(path, "r");
	fseek(f, 0, SEEK_END);
	length = ftell(f);
	rewind(f);
	bytes = malloc((size_t)length);
	ck_assert_uint_eq(fread(bytes, 1, (size_t)length, f), (size_t)length);
	fclose(f);
	for (long cut = length - 1; cut >= 0; cut--) {
		struct run r;
		int rc;

		ck_assert_int_eq(truncate(path, cut), 0);
		rc = run_load(&r, path, &err);
		if (rc < 0) {
			ck_assert_int_eq(err.kind, ERROR_USAGE);
			continue;
		}
		ck_assert(r.cut);
		ck_assert_uint_eq(r.damaged_lines, 0);
		size_t whole = 0;
		for (char *at = bytes; (at = memmem(at, (size_t)(bytes + cut - at), " pass ", 6));
			at++)
			whole += memchr(at, '\n', (size_t)(bytes + cut - at)) != NULL;
		ck_assert_uint_eq(r.pass_count, whole);
		run_release(&r);
	}
	free(bytes);
}
END_TEST

START_TEST(record_continues_after_a_cut)
{
	struct record_writer w;
	struct error err = { 0 };
	struct run r;
	FILE *f;

	write_sample(3);
	f = fopen(path, "a");
	fputs("999 pass bytes=1", f);
	fclose(f);
	ck_assert_int_eq(record_append(&w, path, "verify", &err), -1);
	ck_assert_int_eq(record_append(&w, path, "sweep", &err), 0);
	struct run_pass p = { .bytes = 77 };
	ck_assert_int_eq(run_write_pass(&w, &p, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_uint_eq(r.pass_count, 4);
	ck_assert_uint_eq(r.passes[3].bytes, 77);
	ck_assert_uint_eq(r.damaged_lines, 0);
	ck_assert(!r.cut);
	run_release(&r);
}
END_TEST

START_TEST(record_counts_damaged_lines)
{
	struct error err = { 0 };
	struct run r;
	int fd;

	write_sample(3);
	fd = open(path, O_RDWR);
	/* somewhere inside the second line */
	ck_assert_int_eq(pwrite(fd, "#", 1, 60), 1);
	close(fd);
	ck_assert_int_eq(run_load(&r, path, &err), -1); /* the "run" line was the one hit */
	unlink(path);
	write_sample(3);
	fd = open(path, O_RDWR);
	ck_assert_int_eq(pwrite(fd, "#", 1, lseek(fd, 0, SEEK_END) - 60), 1);
	close(fd);
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_uint_eq(r.damaged_lines, 1);
	run_release(&r);
}
END_TEST

/* ---- lines that are gone, or there twice ---- */

enum { LINES_MAX = 40 };

struct lines {
	char *bytes;
	char *at[LINES_MAX + 1]; /* of line 1 in at[0]; the end of the file after the last */
	size_t count;
};

static void read_lines(struct lines *l)
{
	FILE *f = fopen(path, "r");
	size_t n;

	*l = (struct lines){ .bytes = calloc(1, 1 << 20) };
	ck_assert(f && l->bytes);
	n = fread(l->bytes, 1, (1 << 20) - 1, f);
	fclose(f);
	for (char *at = l->bytes; at < l->bytes + n; at = strchr(at, '\n') + 1) {
		ck_assert_uint_lt(l->count, LINES_MAX);
		l->at[l->count++] = at;
	}
	l->at[l->count] = l->bytes + n;
}

/* The file with lines from..to-1 (from 0) gone, or with them `times` times. */
static void write_lines(const struct lines *l, size_t from, size_t to, int times)
{
	FILE *f = fopen(path, "w");

	ck_assert_ptr_nonnull(f);
	fwrite(l->bytes, 1, (size_t)(l->at[from] - l->bytes), f);
	for (int i = 0; i < times; i++)
		fwrite(l->at[from], 1, (size_t)(l->at[to] - l->at[from]), f);
	fwrite(l->at[to], 1, (size_t)(l->at[l->count] - l->at[to]), f);
	ck_assert_int_eq(fclose(f), 0);
}

/* Any stretch of lines cut out: refused, seen as damage of as many lines, or, at the end, as an end that is missing. */
START_TEST(missing_lines_are_damage)
{
	struct error err = { 0 };
	struct lines l;
	struct run r;

	write_sample(4);
	read_lines(&l);
	ck_assert_uint_eq(l.count, 1 + 4 + 4 * 2 + 1);
	for (size_t from = 0; from < l.count; from++) {
		for (size_t to = from + 1; to <= l.count; to++) {
			write_lines(&l, from, to, 0);
			if (run_load(&r, path, &err) < 0) {
				ck_assert_uint_lt(from, 2);
				continue;
			}
			ck_assert_uint_eq(r.cut, to == l.count);
			ck_assert_uint_eq(r.damaged_lines, to == l.count ? 0 : to - from);
			run_release(&r);
		}
	}
	write_lines(&l, 5, 11, 0);
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_str_eq(r.lacks, "3 of 4 lines of kind pass");
	run_release(&r);
	free(l.bytes);
}
END_TEST

START_TEST(repeated_lines_are_damage)
{
	struct error err = { 0 };
	struct lines l;
	struct run r;

	write_sample(3);
	read_lines(&l);
	for (size_t from = 0; from < l.count; from++) {
		write_lines(&l, from, from + 1, 2);
		ck_assert_int_eq(run_load(&r, path, &err), 0);
		ck_assert_uint_eq(r.damaged_lines, 1);
		ck_assert_uint_eq(r.pass_count, 3); /* counted once */
		run_release(&r);
	}
	write_lines(&l, 5, 9, 2); /* two passes and their details, all over again */
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_uint_eq(r.damaged_lines, 4);
	ck_assert_uint_eq(r.pass_count, 3);
	run_release(&r);
	free(l.bytes);
}
END_TEST

START_TEST(swapped_lines_are_damage)
{
	struct error err = { 0 };
	struct lines l;
	struct run r;
	FILE *f;

	write_sample(3);
	read_lines(&l);
	for (size_t i = 0; i + 1 < l.count; i++) {
		f = fopen(path, "w");
		ck_assert_ptr_nonnull(f);
		fwrite(l.bytes, 1, (size_t)(l.at[i] - l.bytes), f);
		fwrite(l.at[i + 1], 1, (size_t)(l.at[i + 2] - l.at[i + 1]), f);
		fwrite(l.at[i], 1, (size_t)(l.at[i + 1] - l.at[i]), f);
		fwrite(l.at[i + 2], 1, (size_t)(l.at[l.count] - l.at[i + 2]), f);
		ck_assert_int_eq(fclose(f), 0);
		if (run_load(&r, path, &err) < 0) {
			ck_assert_uint_lt(i, 2);
			continue;
		}
		ck_assert_uint_ge(r.damaged_lines, 1);
		run_release(&r);
	}
	free(l.bytes);
}
END_TEST

/* A record made whole again without some lines, numbers, CRCs and all, still lacks what its end says it holds. */
START_TEST(the_end_knows_what_was_before_it)
{
	struct record_writer w;
	struct error err = { 0 };
	struct run_head head = { .kind = "sweep" };
	struct run_end end = { .status = "complete" };
	struct run_pass p = { .bytes = 1 };
	struct run r;

	for (int lost = 0; lost < 3; lost++) {
		unlink(path);
		run_head_complete(&head);
		ck_assert_int_eq(record_create(&w, path, "sweep", &err), 0);
		ck_assert_int_eq(run_write_head(&w, &head, &err), 0);
		for (int i = 0; i < 5 - lost; i++)
			ck_assert_int_eq(run_write_pass(&w, &p, &err), 0);
		for (int i = 0; i < lost; i++)
			tally_add(&w.tally, "pass");
		ck_assert_int_eq(run_write_end(&w, &end, &err), 0);
		ck_assert_int_eq(record_close(&w, &err), 0);
		ck_assert_int_eq(run_load(&r, path, &err), 0);
		ck_assert_uint_eq(r.damaged_lines, lost > 0);
		ck_assert_str_eq(r.lacks, lost == 0   ? ""
					  : lost == 1 ? "1 of 5 lines of kind pass"
						      : "2 of 5 lines of kind pass");
		run_release(&r);
	}
}
END_TEST

/* What is appended later does not heal it. */
START_TEST(damage_stays_after_an_append)
{
	struct record_writer w;
	struct error err = { 0 };
	struct run_end end = { .status = "complete" };
	struct lines l;
	struct run r;

	write_sample(3);
	read_lines(&l);
	write_lines(&l, 5, 7, 0);
	ck_assert_int_eq(record_append(&w, path, "sweep", &err), 0);
	ck_assert_int_eq(run_write_end(&w, &end, &err), 0);
	ck_assert_int_eq(record_close(&w, &err), 0);
	ck_assert_int_eq(run_load(&r, path, &err), 0);
	ck_assert_uint_eq(r.damaged_lines, 2);
	ck_assert_str_eq(r.lacks, "1 of 3 lines of kind pass");
	run_release(&r);
	free(l.bytes);
}
END_TEST

START_TEST(record_refuses_what_is_not_one)
{
	static const char *const foreign[] = { "", "\n", "hello\n",
		"1 blkassay-record version=1 kind=sweep ~00000000\n" };
	struct error err = { 0 };
	struct run r;

	for (size_t i = 0; i < 4; i++) {
		FILE *f = fopen(path, "w");

		fputs(foreign[i], f);
		fclose(f);
		ck_assert_int_eq(run_load(&r, path, &err), -1);
		ck_assert_int_eq(err.kind, ERROR_USAGE);
		ck_assert_ptr_nonnull(strstr(err.text, "not a record"));
	}
	struct text t;
	text_init(&t);
	line_begin(&t, 1, "blkassay-record");
	line_put_u64(&t, "version", RECORD_VERSION + 1);
	line_put_text(&t, "kind", "sweep");
	line_end(&t);
	FILE *f = fopen(path, "w");
	fputs(t.bytes, f);
	fclose(f);
	text_release(&t);
	ck_assert_int_eq(run_load(&r, path, &err), -1);
	ck_assert_ptr_nonnull(strstr(err.text, "newer blkassay"));
}
END_TEST

START_TEST(record_never_replaces_a_file)
{
	struct record_writer w;
	struct error err = { 0 };

	write_sample(1);
	ck_assert_int_eq(record_create(&w, path, "sweep", &err), -1);
	ck_assert_int_eq(err.kind, ERROR_USAGE);
	ck_assert_ptr_nonnull(strstr(err.text, "exists already"));
}
END_TEST

START_TEST(every_flag_of_a_pass_has_its_row)
{
	char all[200], expected[200] = "";

	for (int i = 0; i < RUN_PASS_FLAGS; i++) {
		const struct run_pass_flag_row *row = run_pass_flag_row((enum run_pass_bit)i);
		char one[40];

		ck_assert_msg(row->name && row->meaning, "flag %d has no row", i);
		ck_assert_str_eq(run_pass_flag_words[i], row->name);
		run_pass_flags_format(one, sizeof one, UINT32_C(1) << i);
		ck_assert_str_eq(one, row->name);
		strcat(strcat(expected, i ? "+" : ""), row->name);
	}
	run_pass_flags_format(all, sizeof all, UINT32_MAX);
	ck_assert_str_eq(all, expected);
	ck_assert_ptr_null(run_pass_flag_words[RUN_PASS_FLAGS]);
	run_pass_flags_format(
		all, 12, RUN_PASS_FOREIGN_IO | RUN_PASS_SPLIT); /* what fits is whole */
	ck_assert_str_eq(all, "foreign-io");
}
END_TEST

Suite *record_suite(void)
{
	Suite *s = suite_create("record");
	TCase *c = tcase_create("record");

	tcase_add_checked_fixture(c, make_path, remove_path);
	tcase_add_test(c, line_keeps_any_text);
	tcase_add_test(c, line_carries_its_zlib_crc);
	tcase_add_test(c, line_refuses_every_single_changed_byte);
	tcase_add_test(c, run_comes_back_as_written);
	tcase_add_test(c, record_cut_at_every_byte_is_readable);
	tcase_add_test(c, record_continues_after_a_cut);
	tcase_add_test(c, record_counts_damaged_lines);
	tcase_add_test(c, missing_lines_are_damage);
	tcase_add_test(c, repeated_lines_are_damage);
	tcase_add_test(c, swapped_lines_are_damage);
	tcase_add_test(c, the_end_knows_what_was_before_it);
	tcase_add_test(c, damage_stays_after_an_append);
	tcase_add_test(c, record_refuses_what_is_not_one);
	tcase_add_test(c, record_never_replaces_a_file);
	tcase_add_test(c, every_flag_of_a_pass_has_its_row);
	suite_add_tcase(s, c);
	return s;
}
