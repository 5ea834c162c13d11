/* A journal of cuts as CSV: one row a cut. */
#include <stddef.h>

#include "base/text.h"
#include "findings/cut_words.h"
#include "report/csv.h"
#include "report/cut_text.h"

/* Numbers that are copied as they are; those of the verdict stay empty before the recheck. */
static const struct {
	const char *name;
	size_t at; /* in struct cut_cycle, a uint64_t */
	bool of_verdict;
} counts[] = {
#define COUNT(name, field)                                     \
	{                                                      \
		name, offsetof(struct cut_cycle, field), false \
	}
#define FOUND(name, field)                                            \
	{                                                             \
		name, offsetof(struct cut_cycle, verdict.field), true \
	}
	COUNT("seed", seed),
	COUNT("region_start", region_start),
	COUNT("region_bytes", region_bytes),
	COUNT("writes", writes),
	COUNT("bytes", bytes),
	COUNT("fua_writes", throughs),
	COUNT("flushes", flushes),
	COUNT("risk_writes", writes_at_risk),
	COUNT("risk_bytes", bytes_at_risk),
	FOUND("promises", promises),
	FOUND("promises_broken", promises_broken),
	FOUND("flushed_blocks", blocks[RECHECK_FLUSHED]),
	FOUND("flushed_broken", broken[RECHECK_FLUSHED]),
	FOUND("acknowledged_blocks", blocks[RECHECK_ACKNOWLEDGED]),
	FOUND("acknowledged_broken", broken[RECHECK_ACKNOWLEDGED]),
	FOUND("in_flight_blocks", blocks[RECHECK_IN_FLIGHT]),
	FOUND("in_flight_broken", broken[RECHECK_IN_FLIGHT]),
	FOUND("untouched_blocks", blocks[RECHECK_UNTOUCHED]),
	FOUND("untouched_broken", broken[RECHECK_UNTOUCHED]),
#undef COUNT
#undef FOUND
};

enum { COUNTS = sizeof counts / sizeof *counts };

void cut_csv_header(struct text *t)
{
	text_adds(t, "run,label,target,cut,block_bytes,promise,ended,seconds,flush_max_seconds,"
		     "rechecks,verdict");
	for (size_t i = 0; i < COUNTS; i++)
		text_addf(t, ",%s", counts[i].name);
	text_adds(t, "\r\n");
}

static void add_row(struct text *t, const struct run *run, const struct cut_cycle *c)
{
	csv_add_field(t, run->head.id, true);
	text_adds(t, ",");
	csv_add_field(t, run->head.label, true);
	text_adds(t, ",");
	csv_add_field(t, *run->target.token ? run->target.token : run->target.path, true);
	text_addf(t, ",%lu,%lu,%s,", (unsigned long)c->number, (unsigned long)c->block_bytes,
		c->by_answer ? "acknowledged" : "flushed");
	csv_add_field(t, c->stop, true);
	text_addf(t, ",%.9g,%.9g,%lu,%s", (double)c->ns / 1e9, (double)c->flush_ns_max / 1e9,
		(unsigned long)c->rechecks, c->rechecks ? cut_verdict_name(c) : "");
	for (size_t i = 0; i < COUNTS; i++) {
		text_adds(t, ",");
		if (c->rechecks || !counts[i].of_verdict)
			text_addf(t, "%llu",
				(unsigned long long)*(
					const uint64_t *)(const void *)((const char *)c +
									counts[i].at));
	}
	text_adds(t, "\r\n");
}

void cut_csv_add(struct text *t, const struct run *run, const struct cut_record *r)
{
	for (size_t i = 0; i < r->count; i++)
		add_row(t, run, &r->cycles[i]);
}
