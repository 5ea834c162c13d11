/* medium/scsi_sense: published layouts both ways, and hostile answers. */
#include <check.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "medium/scsi_sense.h"

START_TEST(fixed_current_and_deferred)
{
	/* SPC-4 4.5.3: write error at block 2048. */
	uint8_t bytes[18] = { 0xF0, 0, 3, 0, 0, 8, 0, 0x0A, 0, 0, 0, 0, 0x0C, 0 };
	struct scsi_sense s;
	char text[SCSI_SENSE_TEXT_MAX];

	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(s.valid && !s.deferred && !s.descriptor);
	ck_assert_uint_eq(s.key, SENSE_MEDIUM_ERROR);
	ck_assert_uint_eq(s.code, SENSE_WRITE_ERROR);
	ck_assert(s.has_information);
	ck_assert_uint_eq(s.information, 2048);
	ck_assert_str_eq(
		scsi_sense_format(text, &s), "medium error, 0C/00 write error, block 2048");
	bytes[0] = 0xF1;
	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(s.valid && s.deferred && !s.descriptor);
	ck_assert_str_eq(scsi_sense_format(text, &s),
		"deferred medium error, 0C/00 write error, block 2048");
}
END_TEST

START_TEST(descriptor_deferred)
{
	/* SPC-4 4.5.2 with an information descriptor. */
	static const uint8_t bytes[] = { 0x73, 3, 0x0C, 0, 0, 0, 0, 0x0C, 0, 0x0A, 0x80, 0, 0, 0, 0,
		0, 0, 0, 8, 0 };
	struct scsi_sense s;

	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(s.valid && s.deferred && s.descriptor);
	ck_assert_uint_eq(s.key, SENSE_MEDIUM_ERROR);
	ck_assert_uint_eq(s.code, SENSE_WRITE_ERROR);
	ck_assert(s.has_information);
	ck_assert_uint_eq(s.information, 2048);
}
END_TEST

START_TEST(unit_attention)
{
	static const uint8_t bytes[18] = { 0x70, 0, 6, 0, 0, 0, 0, 0x0A, 0, 0, 0, 0, 0x28 };
	struct scsi_sense s;

	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(s.valid && !s.has_information);
	ck_assert_uint_eq(s.key, SENSE_UNIT_ATTENTION);
	ck_assert_uint_eq(s.code, SENSE_MEDIUM_CHANGED);
}
END_TEST

/* Additional length 0: the device sent no ASC, so bytes 12 and 13 must not be read as one. */
START_TEST(short_fixed_has_no_code)
{
	uint8_t bytes[18] = { 0x70, 0, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x24 };
	struct scsi_sense s;

	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(s.valid);
	ck_assert_uint_eq(s.key, SENSE_ILLEGAL_REQUEST);
	ck_assert_uint_eq(s.code, 0);
	scsi_sense_decode(&s, bytes, 2);
	ck_assert(!s.valid);
	scsi_sense_decode(&s, bytes, 0);
	ck_assert(!s.valid);
	bytes[0] = 0x7F; /* vendor specific: not understood, so not guessed */
	scsi_sense_decode(&s, bytes, sizeof bytes);
	ck_assert(!s.valid);
}
END_TEST

START_TEST(encode_reads_back)
{
	for (unsigned i = 0; i < 16; i++) {
		struct scsi_sense in = { .valid = true,
			.deferred = i & 1,
			.descriptor = i & 2,
			.key = SENSE_HARDWARE_ERROR,
			.code = SENSE_WRITE_FAULT,
			.has_information = i & 4,
			.information = i & 4 ? 77 : 0 };
		struct scsi_sense out;
		uint8_t bytes[20];
		size_t n = scsi_sense_encode(bytes, &in);

		scsi_sense_decode(&out, bytes, n);
		ck_assert(out.valid);
		ck_assert_int_eq(out.deferred, in.deferred);
		ck_assert_int_eq(out.descriptor, in.descriptor);
		ck_assert_uint_eq(out.key, in.key);
		ck_assert_uint_eq(out.code, in.code);
		ck_assert_int_eq(out.has_information, in.has_information);
		ck_assert_uint_eq(out.information, in.information);
	}
}
END_TEST

/* Every length from 0, exact heap blocks: the sanitizer build sees any byte read too many. */
START_TEST(noise_never_overruns)
{
	struct random r = { 7 };

	for (int round = 0; round < 20000; round++) {
		size_t n = (size_t)random_below(&r, 65);
		uint8_t *bytes = malloc(n ? n : 1);
		struct scsi_sense s;
		char text[SCSI_SENSE_TEXT_MAX];

		for (size_t i = 0; i < n; i++)
			bytes[i] = (uint8_t)random_next(&r);
		if (n && round % 4)
			bytes[0] = (uint8_t)(0x70 | (bytes[0] & 0x83));
		if (n > 8 && round % 3 == 0)
			bytes[8] = 0;
		scsi_sense_decode(&s, bytes, n);
		ck_assert(!s.valid || n >= 3);
		ck_assert_uint_lt(strlen(scsi_sense_format(text, &s)), sizeof text);
		free(bytes);
	}
}
END_TEST

START_TEST(names)
{
	/* T10 list of additional sense codes. */
	ck_assert_str_eq(scsi_sense_code_name(0x2100), "logical block address out of range");
	ck_assert_str_eq(scsi_sense_code_name(0x5302), "medium removal prevented");
	ck_assert_ptr_null(scsi_sense_code_name(0x8001));
	ck_assert_str_eq(scsi_sense_key_name(0x0E), "miscompare");
}
END_TEST

Suite *sense_suite(void)
{
	Suite *s = suite_create("sense");
	TCase *c = tcase_create("sense");

	tcase_add_test(c, fixed_current_and_deferred);
	tcase_add_test(c, descriptor_deferred);
	tcase_add_test(c, unit_attention);
	tcase_add_test(c, short_fixed_has_no_code);
	tcase_add_test(c, encode_reads_back);
	tcase_add_test(c, noise_never_overruns);
	tcase_add_test(c, names);
	suite_add_tcase(s, c);
	return s;
}
