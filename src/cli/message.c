/* Notes, warnings and errors on stderr. */
#include "cli/message.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"

static bool quiet;

void message_set_quiet(bool q)
{
	quiet = q;
}

bool message_is_quiet(void)
{
	return quiet;
}

__attribute__((format(printf, 2, 0))) static void say(
	const char *prefix, const char *fmt, va_list args)
{
	char text[2048];

	vsnprintf(text, sizeof text, fmt, args);
	for (char *c = text; *c; c++)
		if ((unsigned char)*c < 0x20 && *c != '\n')
			*c = '?';
	fprintf(stderr, "%s%s\n", prefix, text);
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
	if (strcmp(told, err->text) != 0)
		fprintf(stderr, "%s%s\n", *told ? "also: " : "blkassay: ", err->text);
	if (!*told)
		text_copy(told, sizeof told, err->text);
	return error_exit_status(err);
}
