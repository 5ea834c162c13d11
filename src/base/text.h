/* A growing string. Low-level: nothing in here may call a higher layer.
 * Invariant: bytes is never NULL after text_init and always ends in NUL; length excludes it.
 * Running out of memory is remembered in `failed` and makes later calls no-ops, so that a writer can check once. Some
 * texts are parts of others, so it is also remembered for the whole program: what left one must not pass for whole. */
#ifndef BASE_TEXT_H
#define BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct text {
	char *bytes;
	size_t length;
	size_t room;
	bool failed;
};

void text_init(struct text *t);
void text_release(struct text *t);
void text_reset(struct text *t); /* empty again, memory kept; `failed` stays */
void text_add(struct text *t, const char *bytes, size_t length);
void text_adds(struct text *t, const char *string);
void text_addf(struct text *t, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* The end of a regular noun behind a number: "" or "s". */
static inline const char *text_plural(uint64_t n)
{
	return n == 1 ? "" : "s";
}

/* The same of one that ends in s, sh or ch. */
static inline const char *text_plural_es(uint64_t n)
{
	return n == 1 ? "" : "es";
}

/* Whether any text ran out of memory so far. */
bool text_ran_out(void);

/* Copies what fits and always ends in NUL: for fields that are cut on purpose. room > 0. */
void text_copy(char *out, size_t room, const char *from);

#endif
