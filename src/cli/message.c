/* Notes, warnings and errors on stderr. */
#include "cli/message.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/clean.h"
#include "base/error.h"
#include "base/text.h"
#include "cli/status_line.h"
#include "cli/terminal.h"
#include "report/layout.h"

enum { COMMAND_INDENT = 4, HANGING = 2, NARROWEST = 20 };

static bool quiet;

void message_set_quiet(bool q)
{
	quiet = q;
}

bool message_is_quiet(void)
{
	return quiet;
}

static size_t count_line_ends(const char *text)
{
	size_t n = 0;

	for (; (text = strchr(text, '\n')) != NULL; text++)
		n++;
	return n;
}

/* own: the line ends are ours; else a stranger's are among them, and none stays. */
static void clean_lines(char *text, bool own)
{
	char *line = text, *end;

	while (own && (end = strchr(line, '\n')) != NULL) {
		size_t rest = strlen(end) + 1;

		*end = 0;
		clean_in_place(line);
		line += strlen(line);
		memmove(line, end, rest);
		*line++ = '\n';
	}
	clean_in_place(line);
}

/* Up to its end, where a line end of ours is. */
static void fold_line(struct text *out, char *line, size_t at, size_t columns)
{
	size_t blanks = strspn(line, " ");

	text_addf(out, "%*s", (int)blanks, "");
	layout_wrap(out, line + blanks, at + blanks, blanks + HANGING, columns);
}

/* For a terminal: nothing wider than it. A line that begins with COMMAND_INDENT blanks is a command. */
static void fold(struct text *out, const char *prefix, char *text)
{
	size_t columns = terminal_columns(STDERR_FILENO), at = strlen(prefix);

	columns = columns < NARROWEST ? NARROWEST : columns;
	text_adds(out, prefix);
	for (char *line = text, *next; line; line = next, at = 0) {
		next = strchr(line, '\n');
		if (next)
			*next++ = 0;
		if (strspn(line, " ") == COMMAND_INDENT)
			layout_command(out, line + COMMAND_INDENT, 0, COMMAND_INDENT, columns);
		else
			fold_line(out, line, at, columns);
	}
}

static void put(const char *prefix, char *text)
{
	struct text folded;

	status_line_hide();
	if (!isatty(STDERR_FILENO)) {
		fprintf(stderr, "%s%s\n", prefix, text);
		return;
	}
	text_init(&folded);
	fold(&folded, prefix, text);
	fputs(folded.bytes, stderr);
	text_release(&folded);
}

__attribute__((format(printf, 2, 0))) static void say(
	const char *prefix, const char *fmt, va_list args)
{
	char text[4096];

	vsnprintf(text, sizeof text, fmt, args);
	clean_lines(text, count_line_ends(text) == count_line_ends(fmt));
	put(prefix, text);
}

void message_note(const char *fmt, ...)
{
	va_list args;

	if (quiet)
		return;
	va_start(args, fmt);
	say("", fmt, args);
	va_end(args);
}

void message_warning(const char *fmt, ...)
{
	va_list args;

	va_start(args, fmt);
	say("warning: ", fmt, args);
	va_end(args);
}

int message_error(const struct error *err)
{
	static char told[sizeof err->text];

	/* The first one is why the command fails; what fails in its wake is told too, but once. */
	status_line_hide();
	if (strcmp(told, err->text) != 0)
		fprintf(stderr, "%s%s\n", *told ? "also: " : "blkassay: ", err->text);
	if (!*told)
		text_copy(told, sizeof told, err->text);
	return error_exit_status(err);
}
