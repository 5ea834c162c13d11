/* Lines from tables, both ways. */
#include "record/field.h"

#include <limits.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"
#include "record/line.h"
#include "record/old_names.h"

static const void *place_of(const struct field *f, const void *from)
{
	return (const char *)from + f->offset;
}

static bool *flag_of(const struct field *f, void *of)
{
	return (bool *)((char *)of + f->when - 1);
}

/* How many a list holds. */
static uint64_t length_of(const struct field *f, const void *from)
{
	uint64_t n = f->size / sizeof(uint64_t);

	if (f->count)
		memcpy(&n, (const char *)from + f->count - 1, sizeof n);
	return n;
}

/* ---- writing ---- */

static void put_list(struct text *t, const struct field *f, const void *from)
{
	const uint64_t *list = place_of(f, from);
	uint64_t n = length_of(f, from);

	text_addf(t, " %s=", f->key);
	for (uint64_t i = 0; i < n; i++)
		text_addf(t, "%s%llu", i ? "," : "", (unsigned long long)list[i]);
}

static void put_flags(struct text *t, const struct field *f, uint32_t flags)
{
	bool any = false;

	text_addf(t, " %s=", f->key);
	for (uint32_t i = 0; f->words[i]; i++)
		if (flags & UINT32_C(1) << i) {
			text_addf(t, "%s%s", any ? "+" : "", f->words[i]);
			any = true;
		}
}

/* Of a time that is kept in nanoseconds or milliseconds and written in seconds. */
static unsigned digits_of(const struct field *f)
{
	return f->type == FIELD_IS_NS ? 9 : 3;
}

/* Members are read as what they are: a table cannot give them another type (FIELD_TYPE_OF). */
#define MEMBER(type) (*(const type *)place_of(f, from))

static void put_field(struct text *t, const struct field *f, const void *from)
{
	switch (f->type) {
	case FIELD_IS_U64:
		line_put_u64(t, f->key, MEMBER(uint64_t));
		break;
	case FIELD_IS_U32:
		line_put_u64(t, f->key, MEMBER(uint32_t));
		break;
	case FIELD_IS_I64:
		line_put_i64(t, f->key, MEMBER(int64_t));
		break;
	case FIELD_IS_INT:
		line_put_i64(t, f->key, MEMBER(int));
		break;
	case FIELD_IS_BOOL:
		line_put_u64(t, f->key, MEMBER(bool));
		break;
	case FIELD_IS_DOUBLE:
		line_put_double(t, f->key, MEMBER(double));
		break;
	case FIELD_IS_TEXT:
		line_put_text(t, f->key, place_of(f, from));
		break;
	case FIELD_IS_NS:
	case FIELD_IS_MS:
		text_addf(t, " %s=", f->key);
		line_put_fixed(t, MEMBER(uint64_t), digits_of(f));
		break;
	case FIELD_IS_WORD:
		line_put_text(t, f->key, f->words[MEMBER(unsigned)]);
		break;
	case FIELD_IS_FLAGS:
		put_flags(t, f, MEMBER(uint32_t));
		break;
	case FIELD_IS_LIST:
		put_list(t, f, from);
		break;
	case FIELD_IS_SERIES:
		text_addf(t, " %s=", f->key);
		series_put(t, f->shape, place_of(f, from));
		break;
	case FIELD_IS_SPECIAL:
		text_addf(t, " %s=", f->key);
		f->put(t, from);
		break;
	}
}
#undef MEMBER

void line_put_fields(struct text *t, const struct line_kind *k, const void *from)
{
	for (size_t i = 0; i < k->count; i++) {
		const struct field *f = &k->fields[i];

		if (!f->when || *(const bool *)((const char *)from + f->when - 1))
			put_field(t, f, from);
	}
}

/* ---- reading ---- */

static bool take_word(const struct field *f, const char *value, unsigned *to)
{
	char word[64];

	line_value_text(value, word, sizeof word);
	for (unsigned i = 0; f->words[i]; i++)
		if (!strcmp(f->words[i], word)) {
			*to = i;
			return true;
		}
	return false;
}

/* Flags that this version does not know are left out. */
static bool take_flags(const struct field *f, const char *value, uint32_t *to)
{
	*to = 0;
	while (*value) {
		size_t n = strcspn(value, "+");

		for (uint32_t i = 0; f->words[i]; i++)
			if (strlen(f->words[i]) == n && !memcmp(f->words[i], value, n))
				*to |= UINT32_C(1) << i;
		value += n + (value[n] == '+');
	}
	return true;
}

/* As many as there is room for, up to the first that is none. */
static bool take_list(const struct field *f, const char *value, void *to)
{
	uint64_t *list = (uint64_t *)((char *)to + f->offset), n = 0;

	while (*value && n < f->size / sizeof *list) {
		size_t length = strcspn(value, ",");
		char one[24];

		if (length >= sizeof one)
			break;
		text_copy(one, length + 1, value);
		if (number_parse_u64(one, &list[n]) < 0)
			break;
		n++;
		value += length + (value[length] == ',');
	}
	if (f->count)
		memcpy((char *)to + f->count - 1, &n, sizeof n);
	return true;
}

/* Unsigned numbers, into as many bits as there are. */
static bool take_unsigned(const struct field *f, const char *value, void *place)
{
	uint64_t n;

	if (number_parse_u64(value, &n) < 0 || (f->type == FIELD_IS_U32 && n > UINT32_MAX))
		return false;
	if (f->type == FIELD_IS_U32)
		*(uint32_t *)place = (uint32_t)n;
	else if (f->type == FIELD_IS_BOOL)
		*(bool *)place = n != 0;
	else
		*(uint64_t *)place = n;
	return true;
}

static bool take_int(const char *value, int *to)
{
	int64_t n;

	if (!line_value_i64(value, &n) || n < INT_MIN || n > INT_MAX)
		return false;
	*to = (int)n;
	return true;
}

static bool take_field(const struct field *f, const char *value, void *to)
{
	void *place = (char *)to + f->offset;

	switch (f->type) {
	case FIELD_IS_U64:
	case FIELD_IS_U32:
	case FIELD_IS_BOOL:
		return take_unsigned(f, value, place);
	case FIELD_IS_NS:
	case FIELD_IS_MS:
		return line_value_fixed(&value, digits_of(f), place) && !*value;
	case FIELD_IS_I64:
		return line_value_i64(value, place);
	case FIELD_IS_INT:
		return take_int(value, place);
	case FIELD_IS_DOUBLE:
		return line_value_double(value, place);
	case FIELD_IS_TEXT:
		line_value_text(value, place, f->size);
		return true;
	case FIELD_IS_WORD:
		return take_word(f, value, place);
	case FIELD_IS_FLAGS:
		return take_flags(f, value, place);
	case FIELD_IS_LIST:
		return take_list(f, value, to);
	case FIELD_IS_SERIES:
		series_take(value, f->shape, place);
		return true;
	case FIELD_IS_SPECIAL:
		return f->take(value, to);
	}
	return false;
}

/* The same from a line with the key's old name: times were whole numbers there. */
static bool take_old_field(const struct field *f, const char *value, void *to)
{
	struct field whole = *f;
	char shape[SERIES_COLUMNS_MAX + 1] = "";

	if (f->type == FIELD_IS_NS || f->type == FIELD_IS_MS)
		whole.type = FIELD_IS_U64;
	for (size_t i = 0; f->shape && f->shape[i]; i++)
		shape[i] = 'c';
	whole.shape = shape;
	return take_field(&whole, value, to);
}

/* The value of a key. Fields mostly stand in the order of their table: *at is where the next one is looked for first. */
static const char *find_value(const struct line *l, const char *key, const char **at)
{
	size_t n = strlen(key);
	const char *value;

	if (!strncmp(*at, key, n) && (*at)[n] == '=')
		value = *at + n + 1;
	else
		value = line_get_raw(l, key);
	if (value)
		*at = value + strlen(value) + 1;
	return value;
}

uint64_t line_take_fields(const struct line *l, const struct line_kind *k, void *to)
{
	const char *at = l->fields;
	uint64_t found = 0;

	for (size_t i = 0; i < k->count; i++) {
		const struct field *f = &k->fields[i];
		const char *value = find_value(l, f->key, &at), *then;
		bool taken = value && take_field(f, value, to);

		if (!value && l->old && (then = old_names_key(l->kind, f->key)) != NULL) {
			value = find_value(l, then, &at);
			taken = value && take_old_field(f, value, to);
		}
		if (!taken)
			continue;
		found |= UINT64_C(1) << i;
		if (f->when)
			*flag_of(f, to) = true;
	}
	return found;
}
