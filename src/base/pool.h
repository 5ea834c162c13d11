/* Memory that is given back all at once: for what is built from many small parts and then only read. Low-level: nothing
 * in here may call a higher layer. Running out of memory is remembered in `failed`, so that a builder can check once. */
#ifndef BASE_POOL_H
#define BASE_POOL_H

#include <stdbool.h>
#include <stddef.h>

struct pool_item;

struct pool { /* all zero: empty */
	struct pool_item *items;
	bool failed;
};

/* count zeroed things of that size; NULL when memory ran out or count is 0. */
void *pool_alloc(struct pool *p, size_t count, size_t size);

/* Never NULL: "" when memory ran out. */
const char *pool_printf(struct pool *p, const char *fmt, ...) __attribute__((format(printf, 2, 3)));

/* release(what) is called with the rest, newest first; at once when memory ran out. */
void pool_own(struct pool *p, void (*release)(void *what), void *what);

void pool_release(struct pool *p);

#endif
