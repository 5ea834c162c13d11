/* Errors as sentences. */
#include "base/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/clean.h"

__attribute__((format(printf, 2, 0))) static void append(
	struct error *err, const char *fmt, va_list args)
{
	size_t used = strlen(err->text);

	vsnprintf(err->text + used, sizeof err->text - used, fmt, args);
	clean_in_place(err->text + used);
}

void error_fill(struct error *err, enum error_kind kind, const char *fmt, ...)
{
	va_list args;

	if (!err)
		return;
	err->kind = kind;
	err->sys_errno = 0;
	err->text[0] = 0;
	va_start(args, fmt);
	append(err, fmt, args);
	va_end(args);
}

void error_fill_sys(struct error *err, enum error_kind kind, int sys_errno, const char *fmt, ...)
{
	va_list args;

	if (!err)
		return;
	err->kind = kind;
	err->sys_errno = sys_errno;
	err->text[0] = 0;
	va_start(args, fmt);
	append(err, fmt, args);
	va_end(args);
	error_add(err, ": %s", strerror(sys_errno));
}

void error_add(struct error *err, const char *fmt, ...)
{
	va_list args;

	if (!err)
		return;
	va_start(args, fmt);
	append(err, fmt, args);
	va_end(args);
}

int error_exit_status(const struct error *err)
{
	switch (err->kind) {
	case ERROR_NONE:
		return 0;
	case ERROR_USAGE:
	case ERROR_REFUSED:
		return 2;
	case ERROR_INTERRUPTED:
		return 130;
	case ERROR_IO:
		break;
	}
	return 3;
}
