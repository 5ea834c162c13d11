/* Fuzz: text of the kernel's trace, added up. The input is lines; an event found in one is printed as the kernel would and
 * must be read back as the same. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fuzz.h"
#include "measure/observe.h"
#include "platform/trace.h"

static void print_letters(char out[8], const struct trace_event *e)
{
	snprintf(out, 8, "%s%s%s", e->flush ? "F" : "",
		e->read      ? "R"
		: e->write   ? "W"
		: e->discard ? "D"
			     : "N",
		e->fua ? "F" : "");
}

/* The form of TP_printk in include/trace/events/block.h. */
static size_t print_event(char out[256], const struct trace_event *e)
{
	char letters[8];
	const char *name = e->kind == TRACE_ISSUE ? "block_rq_issue" : "block_rq_complete";
	int n;

	print_letters(letters, e);
	if (e->kind == TRACE_LOST)
		n = snprintf(out, 256, "CPU:3 [LOST %llu EVENTS]", (unsigned long long)e->lost);
	else
		n = snprintf(out, 256,
			"x-1 [000] ..... %llu.%06llu: %s: 8,16 %s %s() %llu + %llu none,0,0 [%d]",
			(unsigned long long)(e->at_ns / 1000000000),
			(unsigned long long)(e->at_ns % 1000000000 / 1000), name, letters,
			e->kind == TRACE_ISSUE ? "512 " : "", (unsigned long long)e->sector,
			(unsigned long long)e->sectors, e->error);
	return (size_t)n;
}

static void must_come_back(const struct trace_event *e)
{
	struct trace_event again;
	char line[256];
	size_t n = print_event(line, e);

	if (!trace_parse(&again, line, n))
		abort();
	if (again.kind != e->kind || again.at_ns != e->at_ns || again.read != e->read ||
		again.write != e->write || again.discard != e->discard || again.flush != e->flush ||
		again.fua != e->fua || again.sector != e->sector || again.sectors != e->sectors ||
		again.error != e->error || again.lost != e->lost)
		abort();
}

static void take(struct observe_tally *t, const uint8_t *line, size_t n)
{
	/* Own copy of exactly that length, so that reading past its end is seen. */
	char *copy = malloc(n ? n : 1);
	struct trace_event e;

	if (!copy)
		abort();
	memcpy(copy, line, n);
	if (trace_parse(&e, copy, n)) {
		if (e.read + e.write + e.discard > 1 || (e.fua && !e.write) ||
			(e.kind == TRACE_LOST && !e.lost))
			abort();
		must_come_back(&e);
		observe_tally_add(t, &e);
	}
	free(copy);
}

static void check_sums(const struct observe_tally *t)
{
	for (int d = 0; d < 2; d++) {
		uint64_t sum = 0;

		for (size_t i = 0; i <= OBSERVE_SIZES; i++)
			sum += t->count[d][i];
		if (sum != t->requests[d] || t->times[d].ns.total > sum ||
			t->sequential[d] > t->requests[d])
			abort();
	}
	if (t->open_top > OBSERVE_IN_FLIGHT || t->flush_times.ns.total > t->flushes)
		abort();
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct observe_tally tally;

	observe_tally_init(&tally, 0);
	while (size) {
		const uint8_t *end = memchr(data, '\n', size);
		size_t n = end ? (size_t)(end - data) : size;

		take(&tally, data, n);
		data += n + (end != NULL);
		size -= n + (end != NULL);
	}
	check_sums(&tally);
	return 0;
}
