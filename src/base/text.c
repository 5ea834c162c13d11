/* A growing string. */
#include "base/text.h"

#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char nothing[1];

void text_init(struct text *t)
{
	*t = (struct text){ .bytes = nothing };
}

void text_release(struct text *t)
{
	if (t->room)
		free(t->bytes);
	text_init(t);
}

void text_reset(struct text *t)
{
	t->length = 0;
	if (t->room)
		t->bytes[0] = 0;
}

static atomic_bool ran_out;

bool text_ran_out(void)
{
	return ran_out;
}

static void fail(struct text *t)
{
	t->failed = true;
	ran_out = true;
}

static bool reserve(struct text *t, size_t more)
{
	size_t room = t->room ? t->room : 64;
	char *bytes;

	if (t->failed)
		return false;
	while (room - t->length <= more) {
		if (__builtin_mul_overflow(room, (size_t)2, &room)) {
			fail(t);
			return false;
		}
	}
	if (room == t->room)
		return true;
	bytes = realloc(t->room ? t->bytes : NULL, room);
	if (!bytes) {
		fail(t);
		return false;
	}
	bytes[t->length] = 0;
	t->bytes = bytes;
	t->room = room;
	return true;
}

void text_add(struct text *t, const char *bytes, size_t length)
{
	if (!reserve(t, length))
		return;
	memcpy(t->bytes + t->length, bytes, length);
	t->length += length;
	t->bytes[t->length] = 0;
}

void text_adds(struct text *t, const char *string)
{
	text_add(t, string, strlen(string));
}

/* Most additions fit into the room there is: formatted there at once, and again only when they did not. */
void text_addf(struct text *t, const char *fmt, ...)
{
	va_list args;
	size_t left;
	int n;

	if (!reserve(t, 64))
		return;
	left = t->room - t->length;
	va_start(args, fmt);
	n = vsnprintf(t->bytes + t->length, left, fmt, args);
	va_end(args);
	if (n >= 0 && (size_t)n >= left) {
		t->bytes[t->length] = 0;
		if (!reserve(t, (size_t)n))
			return;
		va_start(args, fmt);
		n = vsnprintf(t->bytes + t->length, (size_t)n + 1, fmt, args);
		va_end(args);
	}
	if (n < 0) {
		t->bytes[t->length] = 0;
		fail(t);
		return;
	}
	t->length += (size_t)n;
}

void text_copy(char *out, size_t room, const char *from)
{
	size_t n = strnlen(from, room - 1);

	memcpy(out, from, n);
	out[n] = 0;
}
