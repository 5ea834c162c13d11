/* Option values that are lists: sizes, directions, orders. */
#ifndef CLI_LISTS_H
#define CLI_LISTS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct error;

enum { LIST_SIZES_MAX = 64 };

struct size_list {
	uint64_t bytes[LIST_SIZES_MAX]; /* ascending, none twice */
	size_t count;
};

/* "512..1Mi" (doubling, both ends included) or "512,4Ki,24Ki", or both mixed with commas. 0, or -1 with *err. */
int size_list_parse(struct size_list *out, const char *text, struct error *err);

/* Every size a multiple of block and no larger than largest; names the offender. */
int size_list_check(
	const struct size_list *list, uint64_t block, uint64_t largest, struct error *err);

/* "read,write" and the like against two names; which[i] says whether names[i] was in the list. */
int pair_list_parse(bool which[2], const char *text, const char *option, const char *const names[2],
	struct error *err);

#endif
