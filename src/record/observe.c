/* Observations as lines of a record. */
#include "record/observe.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/file.h"

void observation_release(struct observation *o)
{
	free(o->seconds);
	free(o->sizes);
	*o = (struct observation){ 0 };
}

/* ---- keys of both ways, once ---- */

struct key {
	const char *name;
	size_t offset;
};

#define COUNT(name, field)                                    \
	{                                                     \
		name, offsetof(struct observed_counts, field) \
	}

static const struct key count_keys[] = {
	COUNT("at_ns", at_ns),
	COUNT("ns", ns),
	COUNT("reads", requests[RUN_READ]),
	COUNT("read_bytes", bytes[RUN_READ]),
	COUNT("reads_merged", merged[RUN_READ]),
	COUNT("read_ms", wait_ms[RUN_READ]),
	COUNT("writes", requests[RUN_WRITE]),
	COUNT("written_bytes", bytes[RUN_WRITE]),
	COUNT("writes_merged", merged[RUN_WRITE]),
	COUNT("write_ms", wait_ms[RUN_WRITE]),
	COUNT("flushes", flushes),
	COUNT("flush_ms", flush_ms),
	COUNT("busy_ms", busy_ms),
	COUNT("in_flight", in_flight),
};

#define SEEN(name, field)                                 \
	{                                                 \
		name, offsetof(struct observation, field) \
	}

static const struct key seen_keys[] = {
	SEEN("reads", requests[RUN_READ]),
	SEEN("read_bytes", bytes[RUN_READ]),
	SEEN("sequential_reads", sequential[RUN_READ]),
	SEEN("sequential_read_bytes", sequential_bytes[RUN_READ]),
	SEEN("writes", requests[RUN_WRITE]),
	SEEN("written_bytes", bytes[RUN_WRITE]),
	SEEN("sequential_writes", sequential[RUN_WRITE]),
	SEEN("sequential_written_bytes", sequential_bytes[RUN_WRITE]),
	SEEN("flushes", flushes),
	SEEN("fua", fua),
	SEEN("discards", discards),
	SEEN("others", others),
	SEEN("errors", errors),
	SEEN("lost", lost),
};

#define TIME(name, field)                                      \
	{                                                      \
		name, offsetof(struct observed_latency, field) \
	}

static const struct key time_keys[] = {
	TIME("count", count),
	TIME("min_ns", min_ns),
	TIME("p50_ns", p50_ns),
	TIME("p90_ns", p90_ns),
	TIME("p99_ns", p99_ns),
	TIME("max_ns", max_ns),
	TIME("max_at_ns", max_at_ns),
	TIME("max_bytes", max_bytes),
};

#define KEYS(table) (table), sizeof(table) / sizeof *(table)

static void put_keys(struct text *t, const void *from, const struct key *keys, size_t count)
{
	for (size_t i = 0; i < count; i++)
		line_put_u64(t, keys[i].name,
			*(const uint64_t *)(const void *)((const char *)from + keys[i].offset));
}

static void take_keys(const struct line *l, void *to, const struct key *keys, size_t count)
{
	for (size_t i = 0; i < count; i++)
		line_get_u64(l, keys[i].name, (uint64_t *)(void *)((char *)to + keys[i].offset));
}

/* ---- writing ---- */

int observe_write_second(
	struct record_writer *w, const struct observed_counts *c, struct error *err)
{
	record_begin(w, "second");
	put_keys(&w->line, c, KEYS(count_keys));
	return record_commit(w, false, err);
}

static int write_sizes(struct record_writer *w, const struct observation *o, enum run_direction d,
	struct error *err)
{
	bool any = false;

	record_begin(w, "mix");
	line_put_text(&w->line, "direction", run_direction_name(d));
	text_adds(&w->line, " sizes=");
	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];

		if (s->direction != d)
			continue;
		text_addf(&w->line, "%s%llu:%llu:%llu", any ? "," : "",
			(unsigned long long)s->bytes, (unsigned long long)s->count,
			(unsigned long long)s->service_ns);
		any = true;
	}
	return any ? record_commit(w, false, err) : 0;
}

static int write_latency(struct record_writer *w, const char *of, const struct observed_latency *l,
	struct error *err)
{
	if (!l->count)
		return 0;
	record_begin(w, "latency");
	line_put_text(&w->line, "of", of);
	put_keys(&w->line, l, KEYS(time_keys));
	return record_commit(w, false, err);
}

int observe_write_result(struct record_writer *w, const struct observation *o, struct error *err)
{
	record_begin(w, "total");
	line_put_u64(&w->line, "traced", o->traced);
	line_put_text(&w->line, "why", o->why);
	put_keys(&w->line, &o->total, KEYS(count_keys));
	if (record_commit(w, false, err) < 0)
		return -1;
	if (!o->traced)
		return 0;
	record_begin(w, "seen");
	put_keys(&w->line, o, KEYS(seen_keys));
	if (record_commit(w, false, err) < 0 || write_sizes(w, o, RUN_READ, err) < 0 ||
		write_sizes(w, o, RUN_WRITE, err) < 0 ||
		write_latency(w, "read", &o->latency[RUN_READ], err) < 0 ||
		write_latency(w, "write", &o->latency[RUN_WRITE], err) < 0)
		return -1;
	return write_latency(w, "flush", &o->flush, err);
}

int observe_write_service(struct record_writer *w, enum run_direction d, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err)
{
	record_begin(w, "service");
	line_put_text(&w->line, "direction", run_direction_name(d));
	text_adds(&w->line, " bins=");
	for (size_t i = 0; i < bins; i++)
		text_addf(&w->line, "%s%llu:%llu", i ? "," : "", (unsigned long long)bin_ns[i],
			(unsigned long long)count[i]);
	return record_commit(w, false, err);
}

/* ---- reading ---- */

static void *grow(void *list, size_t count, size_t each)
{
	/* Doubling at powers of two: the count itself tells when the room is used up. */
	if (count && !number_is_power_of_two(count))
		return list;
	return reallocarray(list, count ? count * 2 : 1, each);
}

static int take_second(struct observation *o, const struct line *l, struct error *err)
{
	struct observed_counts *grown = grow(o->seconds, o->second_count, sizeof *grown);

	if (!grown)
		return error_set(err, ERROR_IO, "out of memory for the seconds of a record");
	o->seconds = grown;
	grown[o->second_count] = (struct observed_counts){ 0 };
	take_keys(l, &grown[o->second_count++], KEYS(count_keys));
	return 0;
}

static int take_sizes(struct observation *o, const struct line *l, struct error *err)
{
	const char *list = line_get_raw(l, "sizes");
	char direction[8] = "";

	line_get_text(l, "direction", direction, sizeof direction);
	while (list && *list) {
		struct observed_size s = { .direction = strcmp(direction, "write") ? RUN_READ
										   : RUN_WRITE };
		struct observed_size *grown;
		char *end;

		s.bytes = strtoull(list, &end, 10);
		if (*end != ':')
			break;
		s.count = strtoull(end + 1, &end, 10);
		if (*end == ':')
			s.service_ns = strtoull(end + 1, &end, 10);
		if (*end && *end != ',')
			break;
		grown = grow(o->sizes, o->size_count, sizeof *grown);
		if (!grown)
			return error_set(err, ERROR_IO, "out of memory for the mix of a record");
		o->sizes = grown;
		grown[o->size_count++] = s;
		list = end + (*end == ',');
	}
	return 0;
}

static void take_latency(struct observation *o, const struct line *l)
{
	char of[8] = "";

	line_get_text(l, "of", of, sizeof of);
	take_keys(l,
		!strcmp(of, "read")    ? &o->latency[RUN_READ]
		: !strcmp(of, "write") ? &o->latency[RUN_WRITE]
				       : &o->flush,
		KEYS(time_keys));
}

static int take_line(
	struct run *run, struct observation *o, const struct line *l, struct error *err)
{
	uint64_t traced = 0;

	if (!strcmp(l->kind, "second"))
		return take_second(o, l, err);
	if (!strcmp(l->kind, "mix"))
		return take_sizes(o, l, err);
	if (!strcmp(l->kind, "total")) {
		line_get_u64(l, "traced", &traced);
		o->traced = traced != 0;
		line_get_text(l, "why", o->why, sizeof o->why);
		take_keys(l, &o->total, KEYS(count_keys));
	} else if (!strcmp(l->kind, "seen")) {
		take_keys(l, o, KEYS(seen_keys));
	} else if (!strcmp(l->kind, "latency")) {
		take_latency(o, l);
	} else {
		run_take_line(run, l, NULL);
	}
	return 0;
}

/* A record that was cut has seconds but no total. */
static void sum_seconds(struct observation *o)
{
	if (o->total.ns)
		return;
	text_copy(o->why, sizeof o->why, "the record was cut before its totals were written");
	for (size_t i = 0; i < o->second_count; i++) {
		const struct observed_counts *c = &o->seconds[i];

		for (int d = 0; d < 2; d++) {
			o->total.requests[d] += c->requests[d];
			o->total.bytes[d] += c->bytes[d];
			o->total.merged[d] += c->merged[d];
			o->total.wait_ms[d] += c->wait_ms[d];
		}
		o->total.ns += c->ns;
		o->total.at_ns = c->at_ns;
		o->total.flushes += c->flushes;
		o->total.flush_ms += c->flush_ms;
		o->total.busy_ms += c->busy_ms;
		o->total.in_flight = c->in_flight;
	}
}

int observe_load(struct run *run, struct observation *o, const char *path, struct error *err)
{
	struct record_reader reader;
	struct line line;
	int rc;

	*run = (struct run){ 0 };
	*o = (struct observation){ 0 };
	text_copy(run->path, sizeof run->path, path);
	if (record_open(&reader, path, err) < 0)
		return -1;
	if (strcmp(reader.kind, "observe") != 0) {
		rc = error_set(err, ERROR_USAGE, "'%s' is a record of kind '%s', not of observe",
			path, reader.kind);
	} else {
		while ((rc = record_next(&reader, &line, err)) > 0)
			if (take_line(run, o, &line, err) < 0) {
				rc = -1;
				break;
			}
	}
	run_note_reader(run, &reader);
	record_reader_release(&reader);
	if (rc == 0) {
		sum_seconds(o);
		return 0;
	}
	observation_release(o);
	run_release(run);
	return -1;
}
