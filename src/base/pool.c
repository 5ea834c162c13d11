/* Memory that is given back all at once. */
#include "base/pool.h"

#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

struct pool_item {
	struct pool_item *older;
	void (*release)(void *what); /* NULL: nothing but its own bytes */
	void *what;
	max_align_t bytes[];
};

static struct pool_item *add_item(struct pool *p, size_t bytes)
{
	struct pool_item *item = NULL;

	if (bytes <= SIZE_MAX - sizeof *item)
		item = calloc(1, sizeof *item + bytes);
	if (!item) {
		p->failed = true;
		return NULL;
	}
	item->older = p->items;
	p->items = item;
	return item;
}

void *pool_alloc(struct pool *p, size_t count, size_t size)
{
	struct pool_item *item;
	size_t bytes;

	if (!count || !size)
		return NULL;
	if (__builtin_mul_overflow(count, size, &bytes)) {
		p->failed = true;
		return NULL;
	}
	item = add_item(p, bytes);
	return item ? item->bytes : NULL;
}

const char *pool_printf(struct pool *p, const char *fmt, ...)
{
	va_list args;
	char *out;
	int n;

	va_start(args, fmt);
	n = vsnprintf(NULL, 0, fmt, args);
	va_end(args);
	out = n < 0 ? NULL : pool_alloc(p, (size_t)n + 1, 1);
	if (!out) {
		p->failed = true;
		return "";
	}
	va_start(args, fmt);
	vsnprintf(out, (size_t)n + 1, fmt, args);
	va_end(args);
	return out;
}

void pool_own(struct pool *p, void (*release)(void *what), void *what)
{
	struct pool_item *item = add_item(p, 0);

	if (!item) {
		release(what);
		return;
	}
	item->release = release;
	item->what = what;
}

void pool_release(struct pool *p)
{
	for (struct pool_item *item = p->items, *older; item; item = older) {
		older = item->older;
		if (item->release)
			item->release(item->what);
		free(item);
	}
	*p = (struct pool){ 0 };
}
