/* The filler: table and keys against published SplitMix64 values, comparison word by word. */
#include "integrity/stream.h"

#include <check.h>
#include <endian.h>

#include "base/checksum.h"
#include "base/random.h"

/* SplitMix64 little-endian stream, CRC-32 of its first 4096 bytes, computed with another implementation; the first
 * words of seed 1234567 are the Rosetta Code task's "Splitmix64" (6457827717110365317, 3203168211198807973). */
START_TEST(table_is_splitmix64)
{
	static const struct {
		uint64_t seed;
		uint32_t crc;
	} known[] = { { 0, 0xA54136C2 }, { 1, 0x77AC17E9 }, { 42, 0x6C91BC8A },
		{ 1234567, 0x22B2650D }, { UINT64_MAX, 0x5E48B2EA } };
	struct stream s;

	for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
		stream_init(&s, known[i].seed);
		ck_assert_uint_eq(checksum_crc32(0, s.table, sizeof s.table), known[i].crc);
	}
	stream_init(&s, 1234567);
	ck_assert_uint_eq(le64toh(s.table[0]), UINT64_C(6457827717110365317));
	ck_assert_uint_eq(le64toh(s.table[1]), UINT64_C(3203168211198807973));
}
END_TEST

START_TEST(key_differs_for_each_block)
{
	uint64_t a[STREAM_KEYS], b[STREAM_KEYS];
	struct stream s;

	stream_init(&s, 7);
	stream_key(&s, 512, 1, a);
	stream_key(&s, 1024, 1, b);
	for (size_t i = 0; i < STREAM_KEYS; i++)
		ck_assert_uint_ne(a[i], b[i]);
	stream_key(&s, 512, 2, b);
	for (size_t i = 0; i < STREAM_KEYS; i++)
		ck_assert_uint_ne(a[i], b[i]);
	stream_init(&s, 8);
	stream_key(&s, 512, 1, b);
	for (size_t i = 0; i < STREAM_KEYS; i++)
		ck_assert_uint_ne(a[i], b[i]);
}
END_TEST

/* A changed bit in any word is seen, unless the word lies before `first` or under the mask of the last. */
static void check_every_word(size_t count)
{
	uint64_t key[STREAM_KEYS], words[STREAM_WORDS];
	struct stream s;

	stream_init(&s, 3);
	stream_key(&s, 0, 1, key);
	stream_fill(&s, key, words, count);
	for (size_t first = 0; first < 8; first++) {
		for (size_t i = 0; i < count; i++) {
			bool seen;

			words[i] ^= htole64(UINT64_C(1) << (i % 64));
			seen = !stream_matches(&s, key, words, first, count, UINT64_MAX);
			words[i] ^= htole64(UINT64_C(1) << (i % 64));
			ck_assert_msg(seen == (i >= first), "word %zu of %zu, first %zu", i, count,
				first);
		}
		ck_assert(stream_matches(&s, key, words, first, count, UINT64_MAX));
	}
	words[count - 1] ^= htole64(UINT64_C(1) << 32);
	ck_assert(!stream_matches(&s, key, words, 0, count, UINT64_MAX));
	ck_assert(stream_matches(&s, key, words, 0, count, UINT32_MAX));
}

START_TEST(every_word_is_compared)
{
	check_every_word(64);
	check_every_word(128);
	check_every_word(512);
}
END_TEST

Suite *stream_suite(void)
{
	Suite *suite = suite_create("stream");
	TCase *c = tcase_create("stream");

	tcase_add_test(c, table_is_splitmix64);
	tcase_add_test(c, key_differs_for_each_block);
	tcase_add_test(c, every_word_is_compared);
	suite_add_tcase(suite, c);
	return suite;
}
