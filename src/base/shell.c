/* Quoting for a shell. */
#include "base/shell.h"

#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include "base/clean.h"
#include "base/text.h"

/* The length in bytes of what stands at s; *plain: it can be shown as it is. */
static size_t next(const char *s, bool ascii, bool *plain)
{
	uint32_t code;
	size_t n = clean_utf8_next(s, &code);

	*plain = n && clean_is_printable(code) && !(ascii && code > '~');
	return n ? n : 1;
}

static bool all_plain(const char *s, bool ascii)
{
	bool plain = true;

	while (*s && plain)
		s += next(s, ascii, &plain);
	return plain;
}

static void add_simple(struct text *t, const char *s)
{
	for (; *s; s++) {
		if (*s == '\'')
			text_adds(t, "'\\''");
		else
			text_add(t, s, 1);
	}
}

static void add_escaped(struct text *t, const char *s, bool ascii)
{
	while (*s) {
		bool plain;
		size_t n = next(s, ascii, &plain);

		if (*s == '\'' || *s == '\\')
			text_addf(t, "\\%c", *s);
		else if (plain)
			text_add(t, s, n);
		else
			for (size_t i = 0; i < n; i++)
				text_addf(t, "\\%03o", (unsigned char)s[i]);
		s += n;
	}
}

static void add_quoted(struct text *t, const char *before, const char *word, bool ascii)
{
	bool plain = all_plain(word, ascii);

	text_adds(t, plain ? "'" : "$'");
	text_adds(t, before);
	if (plain)
		add_simple(t, word);
	else
		add_escaped(t, word, ascii);
	text_adds(t, "'");
}

void shell_add_word(struct text *t, const char *word, bool ascii)
{
	add_quoted(t, *word == '-' ? "./" : "", word, ascii);
}

/* POSIX.1-2017, Shell Command Language 2.2 names what must be quoted, and what at times: all of that is left out here. */
static bool needs_no_quotes(const char *word)
{
	static const char safe[] = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
				   "_./:,+@%-=";

	return *word && !word[strspn(word, safe)] && !(*word != '-' && strchr(word, '='));
}

void shell_add_typed(struct text *t, const char *word, bool ascii)
{
	if (needs_no_quotes(word))
		text_adds(t, word);
	else
		add_quoted(t, "", word, ascii);
}
