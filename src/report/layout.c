/* Plain text in columns. */
#include "report/layout.h"

#include <stdbool.h>
#include <stdint.h>
#include <string.h>

#include "base/clean.h"
#include "base/text.h"

/* Longer lines are hard to read, however wide the terminal. */
enum { PROSE_COLUMNS = 100 };

static void add_blanks(struct text *t, size_t n)
{
	text_addf(t, "%*s", (int)n, "");
}

/* Bytes of s that fill at most `columns` characters, and how many characters that is. */
static size_t bytes_for(const char *s, size_t bytes, size_t columns, size_t *used)
{
	size_t n = 0;

	for (*used = 0; n < bytes && *used < columns; (*used)++) {
		uint32_t c;
		size_t length = clean_utf8_next(s + n, &c);

		n += length ? length : 1;
	}
	return n;
}

/* A number stays with its unit: "4 KiB" is one word. */
static bool begins_with_unit(const char *s)
{
	static const char *const units[] = { "%", "B", "KiB", "MiB", "GiB", "kB", "MB", "GB", "TB",
		"B/s", "kB/s", "MB/s", "GB/s", "us", "ms", "s", "Mb/s", "Gb/s" };
	size_t length = strcspn(s, " .,;:)");

	for (size_t i = 0; i < sizeof units / sizeof *units; i++)
		if (strlen(units[i]) == length && !memcmp(units[i], s, length))
			return true;
	return false;
}

static size_t word_length(const char *s)
{
	size_t n = strcspn(s, " ");

	if (n && s[n] == ' ' && s[n - 1] >= '0' && s[n - 1] <= '9' && begins_with_unit(s + n + 1))
		n += 1 + strcspn(s + n + 1, " ");
	return n;
}

void layout_wrap(struct text *t, const char *s, size_t at, size_t indent, size_t columns)
{
	size_t start = at;

	if (columns > PROSE_COLUMNS && indent < PROSE_COLUMNS / 2)
		columns = PROSE_COLUMNS;
	while (*s) {
		size_t bytes = word_length(s), used;
		size_t gap = at > start ? 1 : 0;
		size_t fits = bytes_for(s, bytes, columns - (gap ? indent : at), &used);

		if (gap && at + gap + used > columns) {
			text_adds(t, "\n");
			add_blanks(t, indent);
			at = start = indent;
			gap = 0;
		}
		add_blanks(t, gap);
		text_add(t, s, fits);
		at += gap + used;
		s += fits;
		s += fits == bytes && *s == ' ';
	}
	text_adds(t, "\n");
}

/* Bytes up to the next blank that parts two words for the shell. */
static size_t argument_length(const char *s)
{
	char quote = 0;
	size_t n = 0;

	for (; s[n] && (quote || s[n] != ' '); n++) {
		if (s[n] == '\\' && quote != '\'' && s[n + 1])
			n++;
		else if (s[n] == quote)
			quote = 0;
		else if (!quote && (s[n] == '\'' || s[n] == '"'))
			quote = s[n];
	}
	return n;
}

void layout_command(struct text *t, const char *s, size_t at, size_t indent, size_t columns)
{
	bool whole = indent + clean_columns(s) <= columns, first = true;

	add_blanks(t, indent - at);
	at = indent;
	while (*s) {
		size_t bytes = argument_length(s), used;

		bytes_for(s, bytes, SIZE_MAX, &used);
		/* Room for a blank before and, unless this is the last word, a blank and the backslash after. */
		if (!whole && !first && at + 1 + used + (s[bytes] ? 2 : 0) > columns) {
			text_adds(t, " \\\n");
			add_blanks(t, indent + 2);
			at = indent + 2;
		} else if (!first) {
			text_adds(t, " ");
			at++;
		}
		text_add(t, s, bytes);
		at += used;
		s += bytes;
		s += *s == ' ';
		first = false;
	}
	text_adds(t, "\n");
}

void layout_right(struct text *t, const char *s, size_t width)
{
	size_t used = clean_columns(s);

	add_blanks(t, used < width ? width - used : 0);
	text_adds(t, s);
}

void layout_left(struct text *t, const char *s, size_t width)
{
	size_t used = clean_columns(s);

	text_adds(t, s);
	add_blanks(t, used < width ? width - used : 0);
}
