/* The lengths of announced writes. */
#include "record/announced.h"

#include "record/field.h"
#include "record/line.h"

void announced_take(struct announced *a, const struct line *intend)
{
	uint64_t at[ANNOUNCED_MAX], bytes[ANNOUNCED_MAX];
	struct journal_intend_line read = { .writes = { .columns = { at, bytes },
						    .room = ANNOUNCED_MAX } };

	line_take_fields(intend, &kind_intend, &read);
	a->lists[0] = a->lists[1];
	a->lists[1].first = (uint32_t)read.first;
	a->lists[1].count = (uint32_t)read.writes.rows;
	for (size_t i = 0; i < read.writes.rows; i++)
		a->lists[1].bytes[i] = (uint32_t)bytes[i];
}

uint32_t announced_bytes(const struct announced *a, uint64_t number)
{
	for (int i = 0; i < 2; i++)
		if (number >= a->lists[i].first && number - a->lists[i].first < a->lists[i].count)
			return a->lists[i].bytes[number - a->lists[i].first];
	return 0;
}
