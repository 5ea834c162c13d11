/* Rows of numbers, both ways. */
#include "record/series.h"

#include <stdlib.h>
#include <string.h>

#include "base/text.h"

struct series series_of(const uint64_t *a, const uint64_t *b, const uint64_t *c, size_t rows)
{
	return (struct series){ .columns = { (uint64_t *)(uintptr_t)a, (uint64_t *)(uintptr_t)b,
					(uint64_t *)(uintptr_t)c },
		.rows = rows };
}

void series_put(struct text *t, const char *shape, const struct series *s)
{
	for (size_t i = 0; i < s->rows; i++)
		for (size_t c = 0; shape[c]; c++)
			text_addf(t, "%s%llu",
				c   ? ":"
				: i ? ","
				    : "",
				(unsigned long long)s->columns[c][i]);
}

/* One number at *at, which moves behind it. */
static bool next_number(const char **at, uint64_t *out)
{
	char *end;

	if (**at < '0' || **at > '9')
		return false;
	*out = strtoull(*at, &end, 10);
	*at = end;
	return true;
}

static bool next_row(const char **at, const char *shape, struct series *s)
{
	for (size_t c = 0; shape[c]; c++) {
		if (c && *(*at)++ != ':')
			return false;
		if (!next_number(at, &s->columns[c][s->rows]))
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
