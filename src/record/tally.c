/* Lines of a record, counted by kind. */
#include "record/tally.h"

#include <stdio.h>
#include <string.h>

#include "base/number.h"
#include "base/text.h"
#include "record/line.h"

static const char key[] = "holds";

static uint64_t count_of(const struct tally *t, const char *kind)
{
	for (size_t i = 0; i < t->count; i++)
		if (!strcmp(t->kinds[i].kind, kind))
			return t->kinds[i].count;
	return 0;
}

void tally_add(struct tally *t, const char *kind)
{
	size_t i = 0;

	while (i < t->count && strcmp(t->kinds[i].kind, kind) != 0)
		i++;
	if (i == TALLY_KINDS_MAX || strlen(kind) >= TALLY_KIND_MAX) {
		t->more = true;
		return;
	}
	if (i == t->count)
		text_copy(t->kinds[t->count++].kind, TALLY_KIND_MAX, kind);
	t->kinds[i].count++;
}

void tally_put(const struct tally *t, struct text *line)
{
	if (t->more)
		return;
	text_addf(line, " %s=", key);
	for (size_t i = 0; i < t->count; i++)
		text_addf(line, "%s%s:%llu", i ? "," : "", t->kinds[i].kind,
			(unsigned long long)t->kinds[i].count);
}

/* "KIND:COUNT" at *at, which moves behind it; false at the end or where it is something else. */
static bool next_held(const char **at, char kind[TALLY_KIND_MAX], uint64_t *count)
{
	size_t name = strcspn(*at, ":"), digits;
	char number[24];

	if (!(*at)[name] || name >= TALLY_KIND_MAX)
		return false;
	text_copy(kind, name + 1, *at);
	digits = strcspn(*at + name + 1, ",");
	if (digits >= sizeof number)
		return false;
	text_copy(number, digits + 1, *at + name + 1);
	*at += name + 1 + digits;
	*at += **at == ',';
	return number_parse_u64(number, count) == 0;
}

bool tally_agrees(const struct tally *t, const struct line *closing, char words[TALLY_WORDS_MAX])
{
	const char *at = line_get_raw(closing, key);
	char kind[TALLY_KIND_MAX];
	uint64_t held, worst = 0, listed = 0;
	bool agrees = true;

	words[0] = 0;
	if (!at || t->more)
		return true;
	while (next_held(&at, kind, &held)) {
		uint64_t seen = count_of(t, kind);

		listed++;
		agrees &= seen == held;
		if (held <= seen || held - seen <= worst)
			continue;
		worst = held - seen;
		snprintf(words, TALLY_WORDS_MAX, "%llu of %llu lines of kind %s",
			(unsigned long long)worst, (unsigned long long)held, kind);
	}
	/* A kind that was read but is not listed has no business here either. */
	return agrees && !*at && listed == t->count;
}
