/* Rows of numbers, both ways. */
#include "record/series.h"

#include "base/text.h"
#include "record/line.h"

enum { NS_DIGITS = 9 };

struct series series_of(const uint64_t *a, const uint64_t *b, const uint64_t *c, size_t rows)
{
	return (struct series){ .columns = { (uint64_t *)(uintptr_t)a, (uint64_t *)(uintptr_t)b,
					(uint64_t *)(uintptr_t)c },
		.rows = rows };
}

static void put_number(struct text *t, const char *before, char what, uint64_t n)
{
	text_adds(t, before);
	line_put_fixed(t, n, what == 'n' ? NS_DIGITS : 0);
}

void series_put(struct text *t, const char *shape, const struct series *s)
{
	for (size_t i = 0; i < s->rows; i++)
		for (size_t c = 0; shape[c]; c++)
			put_number(t, c ? ":" : i ? "," : "", shape[c], s->columns[c][i]);
}

static bool next_row(const char **at, const char *shape, struct series *s)
{
	for (size_t c = 0; shape[c]; c++) {
		if (c && *(*at)++ != ':')
			return false;
		if (!line_value_fixed(at, shape[c] == 'n' ? NS_DIGITS : 0, &s->columns[c][s->rows]))
			return false;
	}
	return **at == ',' || !**at;
}

void series_take(const char *value, const char *shape, struct series *s)
{
	const char *at = value;

	s->rows = 0;
	while (*at && s->rows < s->room && next_row(&at, shape, s)) {
		s->rows++;
		at += *at == ',';
	}
	s->whole = !*at;
}
