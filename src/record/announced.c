/* The lengths of announced writes. */
#include "record/announced.h"

#include <stdlib.h>
#include <string.h>

#include "record/line.h"

void announced_take(struct announced *a, const struct line *intend)
{
	const char *list = line_get_raw(intend, "writes");
	uint64_t first = 0;

	a->lists[0] = a->lists[1];
	line_get_u64(intend, "first", &first);
	a->lists[1].first = (uint32_t)first;
	a->lists[1].count = 0;
	while (list && (list = strchr(list, ':')) && a->lists[1].count < ANNOUNCED_MAX)
		a->lists[1].bytes[a->lists[1].count++] = (uint32_t)strtoull(++list, NULL, 10);
}

uint32_t announced_bytes(const struct announced *a, uint64_t number)
{
	for (int i = 0; i < 2; i++)
		if (number >= a->lists[i].first && number - a->lists[i].first < a->lists[i].count)
			return a->lists[i].bytes[number - a->lists[i].first];
	return 0;
}
