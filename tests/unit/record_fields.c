/* The tables of fields: sound, and every kind of line comes back as it was written. */
#include <check.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/random.h"
#include "record/field.h"
#include "record/file.h"
#include "record/kinds.h"
#include "record/line.h"

enum { ROOM = 1 << 16, ROWS = 5 };

typedef void visit_kind(const struct line_kind *k);

static void each_kind(visit_kind *visit)
{
	for (size_t g = 0; g < kind_group_count; g++)
		for (size_t i = 0; i < kind_groups[g].count; i++)
			visit(kind_groups[g].kinds[i]);
}

static size_t size_of_type(const struct field *f)
{
	switch (f->type) {
	case FIELD_IS_U64:
	case FIELD_IS_I64:
	case FIELD_IS_NS:
	case FIELD_IS_MS:
	case FIELD_IS_DOUBLE:
		return 8;
	case FIELD_IS_U32:
	case FIELD_IS_INT:
	case FIELD_IS_WORD:
	case FIELD_IS_FLAGS:
		return 4;
	case FIELD_IS_BOOL:
		return sizeof(bool);
	case FIELD_IS_SERIES:
		return sizeof(struct series);
	case FIELD_IS_LIST:
		return f->size && f->size % 8 == 0 ? f->size : 0;
	case FIELD_IS_TEXT:
	case FIELD_IS_SPECIAL:
		return f->size;
	}
	return 0;
}

static bool is_word(const char *s)
{
	return *s && s[strspn(s, "abcdefghijklmnopqrstuvwxyz0123456789_.-")] == 0;
}

static void check_table(const struct line_kind *k)
{
	ck_assert_msg(is_word(k->name) && k->meaning && *k->meaning, "%s", k->name);
	ck_assert_uint_le(k->count, 64);
	for (size_t i = 0; i < k->count; i++) {
		const struct field *f = &k->fields[i];

		ck_assert_msg(is_word(f->key) && f->meaning, "%s %zu", k->name, i);
		ck_assert_msg(size_of_type(f) == f->size, "%s %s: size", k->name, f->key);
		ck_assert_msg((f->type == FIELD_IS_WORD || f->type == FIELD_IS_FLAGS) == !!f->words,
			"%s %s: words", k->name, f->key);
		ck_assert_msg((f->type == FIELD_IS_SERIES) == !!f->shape, "%s %s: shape", k->name,
			f->key);
		ck_assert_msg((f->type == FIELD_IS_SPECIAL) == (f->put && f->take),
			"%s %s: special", k->name, f->key);
		for (size_t j = 0; j < i; j++)
			ck_assert_str_ne(f->key, k->fields[j].key);
	}
}

START_TEST(tables_are_sound)
{
	each_kind(check_table);
}
END_TEST

/* ---- there and back ---- */

static struct random rng;
static uint64_t rows[2][SERIES_COLUMNS_MAX][ROWS];

static uint64_t any_number(void)
{
	return random_next(&rng) >> random_below(&rng, 64);
}

static unsigned count_words(const struct field *f)
{
	unsigned n = 0;

	while (f->words[n])
		n++;
	return n;
}

static void fill_text(char *out, size_t size)
{
	size_t n = (size_t)random_below(&rng, size);

	for (size_t i = 0; i < n; i++)
		out[i] = (char)(random_below(&rng, 255) + 1);
	out[n] = 0;
}

static void fill_series(struct series *s, int which)
{
	*s = (struct series){ .rows = which ? 0 : ROWS, .room = ROWS };
	for (size_t c = 0; c < SERIES_COLUMNS_MAX; c++) {
		s->columns[c] = rows[which][c];
		for (size_t i = 0; i < ROWS; i++)
			rows[which][c][i] = any_number();
	}
}

/* Some value of its type. A special's are left at 0, or reading would refuse them. */
static void fill(const struct field *f, char *of)
{
	char *place = of + f->offset;
	uint64_t n = any_number();
	unsigned word;

	if (f->when)
		of[f->when - 1] = 1;
	switch (f->type) {
	case FIELD_IS_TEXT:
		fill_text(place, f->size);
		break;
	case FIELD_IS_WORD:
		word = (unsigned)random_below(&rng, count_words(f));
		memcpy(place, &word, sizeof word);
		break;
	case FIELD_IS_FLAGS:
		word = (unsigned)random_below(&rng, UINT64_C(1) << count_words(f));
		memcpy(place, &word, sizeof word);
		break;
	case FIELD_IS_BOOL:
		*place = n & 1;
		break;
	case FIELD_IS_DOUBLE:
		memcpy(place, &(double){ (double)n / 1000 }, sizeof(double));
		break;
	case FIELD_IS_LIST:
		for (size_t i = 0; i < f->size; i += 8)
			memcpy(place + i, &(uint64_t){ any_number() }, 8);
		if (f->count)
			memcpy(of + f->count - 1, &(uint64_t){ f->size / 8 }, 8);
		break;
	case FIELD_IS_SERIES:
		fill_series((struct series *)place, 0);
		break;
	case FIELD_IS_SPECIAL:
		break;
	default:
		memcpy(place, &n, f->size);
		break;
	}
}

static void check_series(const struct field *f, const struct series *a, const struct series *b)
{
	ck_assert_uint_eq(b->rows, a->rows);
	ck_assert(b->whole);
	for (size_t c = 0; f->shape[c]; c++)
		ck_assert_mem_eq(b->columns[c], a->columns[c], ROWS * sizeof(uint64_t));
}

static void check_same(
	const struct line_kind *k, const struct field *f, const char *a, const char *b)
{
	if (f->type == FIELD_IS_SERIES)
		check_series(f, (const struct series *)(a + f->offset),
			(const struct series *)(b + f->offset));
	else if (f->type == FIELD_IS_TEXT)
		ck_assert_str_eq(b + f->offset, a + f->offset);
	else
		ck_assert_msg(!memcmp(a + f->offset, b + f->offset, f->size), "%s %s differs",
			k->name, f->key);
	if (f->when)
		ck_assert_int_eq(b[f->when - 1], 1);
}

static void check_round(const struct line_kind *k)
{
	char *from = calloc(1, ROOM), *to = calloc(1, ROOM);
	struct text t;
	struct line l;

	ck_assert(from && to);
	for (size_t i = 0; i < k->count; i++) {
		ck_assert_uint_le(k->fields[i].offset + k->fields[i].size, ROOM);
		fill(&k->fields[i], from);
		if (k->fields[i].type == FIELD_IS_SERIES)
			fill_series((struct series *)(to + k->fields[i].offset), 1);
	}
	text_init(&t);
	line_begin(&t, 1, k->name);
	line_put_fields(&t, k, from);
	line_end(&t);
	ck_assert_int_eq(line_parse(&l, t.bytes, t.length - 1), 0);
	ck_assert_str_eq(l.kind, k->name);
	ck_assert_uint_eq(line_take_fields(&l, k, to),
		k->count == 64 ? UINT64_MAX : (UINT64_C(1) << k->count) - 1);
	for (size_t i = 0; i < k->count; i++)
		check_same(k, &k->fields[i], from, to);
	text_release(&t);
	free(from);
	free(to);
}

START_TEST(every_line_comes_back_as_written)
{
	rng.state = (uint64_t)_i + 1;
	each_kind(check_round);
}
END_TEST

/* Whatever the order of keys, with strangers among them. */
START_TEST(order_of_keys_does_not_matter)
{
	struct line l;
	struct text t;
	struct {
		uint64_t a, b;
		char c[8];
		bool known;
		uint64_t d;
	} s = { 0 };
#define HERE __typeof__(s)
	static const struct field fields[] = {
		FIELD("a", a, ""),
		FIELD("b", b, ""),
		FIELD("c", c, ""),
		FIELD_WHEN("d", d, known, ""),
	};
#undef HERE
	static const struct line_kind kind = LINE_KIND("k", fields, "k");

	text_init(&t);
	line_begin(&t, 1, "k");
	text_adds(&t, " new=9 c=x%20y%C3%A4zzzz b=2 other=1 a=1x aa=5 ab=6");
	line_end(&t);
	ck_assert_int_eq(line_parse(&l, t.bytes, t.length - 1), 0);
	/* a is no number, d is not there. */
	ck_assert_uint_eq(line_take_fields(&l, &kind, &s), 6);
	ck_assert_uint_eq(s.a, 0);
	ck_assert_uint_eq(s.b, 2);
	ck_assert_str_eq(s.c, "x y\xC3\xA4zz");
	ck_assert(!s.known);
	text_release(&t);
}
END_TEST

Suite *record_fields_suite(void)
{
	Suite *s = suite_create("record_fields");
	TCase *t = tcase_create("record_fields");

	tcase_add_test(t, tables_are_sound);
	tcase_add_loop_test(t, every_line_comes_back_as_written, 0, 20);
	tcase_add_test(t, order_of_keys_does_not_matter);
	suite_add_tcase(s, t);
	return s;
}
