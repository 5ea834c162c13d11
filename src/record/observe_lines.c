/* Observations as lines of a record. */
#include "record/observe_lines.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/field.h"
#include "record/file.h"
#include "record/line.h"

static const char *const deed_words[] = { [OBSERVED_READ] = "read",
	[OBSERVED_WRITE] = "write",
	[OBSERVED_FLUSH] = "flush",
	[OBSERVED_OTHER] = "other",
	NULL };
static const char *const words[] = { [RUN_READ] = "read", [RUN_WRITE] = "write", NULL };

void observation_release(struct observation *o)
{
	free(o->seconds);
	free(o->sizes);
	*o = (struct observation){ 0 };
}

/* ---- the lines, described once ---- */

/* What the kernel's counters say, in a second and in all. */
#define COUNTS(in)                                                                            \
	FIELD_NS("at_seconds", in at_ns, "end of the stretch, since the start"),              \
		FIELD_NS("seconds", in ns, "its length"),                                     \
		FIELD("reads", in requests[RUN_READ], ""),                                    \
		FIELD("read_bytes", in bytes[RUN_READ], ""),                                  \
		FIELD("reads_merged", in merged[RUN_READ], ""),                               \
		FIELD_MS("read_seconds", in wait_ms[RUN_READ],                                \
			"queue and device, summed over requests"),                            \
		FIELD("writes", in requests[RUN_WRITE],                                       \
			"the kernel counts an empty one for each flush"),                     \
		FIELD("written_bytes", in bytes[RUN_WRITE], ""),                              \
		FIELD("writes_merged", in merged[RUN_WRITE], ""),                             \
		FIELD_MS("write_seconds", in wait_ms[RUN_WRITE], "as for reads"),             \
		FIELD("flushes", in flushes, ""), FIELD_MS("flush_seconds", in flush_ms, ""), \
		FIELD_MS("busy_seconds", in busy_ms, "at least one request in flight"),       \
		FIELD("in_flight", in in_flight, "at the end of the stretch")

#define HERE struct observed_counts
static const struct field second_fields[] = { COUNTS() };
#undef HERE
const struct line_kind kind_second = LINE_KIND("second", second_fields,
	"What the kernel's counters of the disk said over about a second.");

#define HERE struct observation
static const struct field total_fields[] = {
	FIELD("traced", traced, "0 or 1: single requests were seen"),
	FIELD("why", why, "not"),
	FIELD_AS("phases", FIELD_IS_WORD, phases,
		"of the commands on the bus: seen; or not, because events were dropped or the "
		"clock was set; absent when nobody watched",
		.words = run_phases_words, FIELD_IF(phases_watched)),
	FIELD("phases_off", phases_off, "why phases were not watched; empty when they were"),
	FIELD("broken_commands", broken_commands,
		"on the bus, that came to no status of their own"),
	COUNTS(total.),
};
static const struct field seen_fields[] = {
	FIELD("reads", requests[RUN_READ], ""),
	FIELD("read_bytes", bytes[RUN_READ], ""),
	FIELD("sequential_reads", sequential[RUN_READ], "each began where the one before it ended"),
	FIELD("sequential_read_bytes", sequential_bytes[RUN_READ], ""),
	FIELD("writes", requests[RUN_WRITE], ""),
	FIELD("written_bytes", bytes[RUN_WRITE], ""),
	FIELD("sequential_writes", sequential[RUN_WRITE], ""),
	FIELD("sequential_written_bytes", sequential_bytes[RUN_WRITE], ""),
	FIELD("flushes", flushes, ""),
	FIELD("fua", fua, "writes"),
	FIELD("discards", discards, ""),
	FIELD("others", others, ""),
	FIELD("errors", errors, "requests answered with one"),
	FIELD("lost", lost, "events that the kernel had to drop"),
};
#undef HERE
#undef COUNTS
const struct line_kind kind_total =
	LINE_KIND("total", total_fields, "The same over all of it, and whether there was a trace.");
const struct line_kind kind_seen = LINE_KIND("seen", seen_fields, "By the kernel's trace, exact.");

/* Lines "mix" and "service". */
struct rows_line {
	enum run_direction direction;
	struct series rows;
};

#define HERE struct rows_line
static const struct field mix_fields[] = {
	FIELD_AS("direction", FIELD_IS_WORD, direction, "read or write", .words = words),
	FIELD_AS("requests", FIELD_IS_SERIES, rows,
		"bytes, count and seconds: requests of that size, and their times from sent to "
		"answered together; those of 8 MiB and more are counted as 8 MiB",
		.shape = "ccn"),
};
static const struct field service_fields[] = {
	FIELD_AS("direction", FIELD_IS_WORD, direction, "read or write", .words = words),
	FIELD_AS("bins_seconds", FIELD_IS_SERIES, rows, "upper bound in seconds and count",
		.shape = "nc"),
};
#undef HERE
const struct line_kind kind_mix = LINE_KIND("mix", mix_fields, "Requests by their size.");
const struct line_kind kind_service =
	LINE_KIND("service", service_fields, "Times of requests from sent to answered.");

struct latency_line {
	char of[8];
	struct observed_latency l;
};

#define HERE struct latency_line
static const struct field latency_fields[] = {
	FIELD("of", of, "read, write or flush"),
	FIELD("count", l.count, ""),
	FIELD_NS("min_seconds", l.min_ns, ""),
	FIELD_NS("p50_seconds", l.p50_ns, ""),
	FIELD_NS("p90_seconds", l.p90_ns, ""),
	FIELD_NS("p99_seconds", l.p99_ns, ""),
	FIELD_NS("max_seconds", l.max_ns, ""),
	FIELD_NS("max_at_seconds", l.max_at_ns, "when the slowest was sent, since the start"),
	FIELD("max_bytes", l.max_bytes, "its size"),
};
#undef HERE
const struct line_kind kind_latency =
	LINE_KIND("request-time", latency_fields, "Times of requests, in short.");

#define HERE struct observed_commands
static const struct field commands_fields[] = {
	FIELD_AS("of", FIELD_IS_WORD, of, "read, write, flush or other", .words = deed_words),
	FIELD("upto_bytes", upto_bytes, "each moved at most this much, and more than half of it"),
	FIELD("commands", commands, "of that kind and size"),
	FIELD("bytes", bytes, "that they moved"),
	FIELD_NS("command_seconds", phase_ns[RUN_PHASE_COMMAND], "as in a pass line, all together"),
	FIELD_NS("data_seconds", phase_ns[RUN_PHASE_DATA], ""),
	FIELD_NS("status_seconds", phase_ns[RUN_PHASE_STATUS], ""),
	FIELD_NS("host_seconds", phase_ns[RUN_PHASE_HOST], "without the time between commands"),
	FIELD_NS("longest_seconds", longest_ns, "one command"),
};
#undef HERE
const struct line_kind kind_commands =
	LINE_KIND("commands", commands_fields, "Commands as they were seen on the disk's bus.");

/* ---- writing ---- */

int observe_write_second(
	struct record_writer *w, const struct observed_counts *c, struct error *err)
{
	return record_write(w, &kind_second, c, err);
}

static int write_sizes(struct record_writer *w, const struct observation *o, enum run_direction d,
	struct error *err)
{
	uint64_t *columns = calloc(o->size_count, 3 * sizeof *columns);
	uint64_t *bytes = columns, *count = columns + o->size_count, *ns = count + o->size_count;
	struct rows_line line = { .direction = d };
	size_t n = 0;
	int rc = 0;

	if (o->size_count && !columns)
		return error_set(err, ERROR_IO, "out of memory for the mix of a record");
	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];

		if (s->direction != d)
			continue;
		bytes[n] = s->bytes;
		count[n] = s->count;
		ns[n++] = s->service_ns;
	}
	line.rows = series_of(bytes, count, ns, n);
	if (n)
		rc = record_write(w, &kind_mix, &line, err);
	free(columns);
	return rc;
}

static int write_latency(struct record_writer *w, const char *of, const struct observed_latency *l,
	struct error *err)
{
	struct latency_line line = { .l = *l };

	if (!l->count)
		return 0;
	text_copy(line.of, sizeof line.of, of);
	return record_write(w, &kind_latency, &line, err);
}

int observe_write_result(struct record_writer *w, const struct observation *o, struct error *err)
{
	if (record_write(w, &kind_total, o, err) < 0)
		return -1;
	for (size_t i = 0; i < o->command_count; i++)
		if (record_write(w, &kind_commands, &o->commands[i], err) < 0)
			return -1;
	if (!o->traced)
		return 0;
	if (record_write(w, &kind_seen, o, err) < 0 || write_sizes(w, o, RUN_READ, err) < 0 ||
		write_sizes(w, o, RUN_WRITE, err) < 0 ||
		write_latency(w, "read", &o->latency[RUN_READ], err) < 0 ||
		write_latency(w, "write", &o->latency[RUN_WRITE], err) < 0)
		return -1;
	return write_latency(w, "flush", &o->flush, err);
}

int observe_write_service(struct record_writer *w, enum run_direction d, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err)
{
	struct rows_line line = { d, series_of(bin_ns, count, NULL, bins) };

	return record_write(w, &kind_service, &line, err);
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
	line_take_fields(l, &kind_second, &grown[o->second_count++]);
	return 0;
}

static int add_size(struct observation *o, const struct observed_size *s, struct error *err)
{
	struct observed_size *grown = grow(o->sizes, o->size_count, sizeof *grown);

	if (!grown)
		return error_set(err, ERROR_IO, "out of memory for the mix of a record");
	o->sizes = grown;
	grown[o->size_count++] = *s;
	return 0;
}

enum { MIX_MAX = 1 << 15 }; /* sizes of a line: multiples of 512 B up to 8 MiB, and some */

static int take_sizes(struct observation *o, const struct line *l, struct error *err)
{
	uint64_t *columns = calloc(MIX_MAX, 3 * sizeof *columns);
	struct rows_line line = { .rows.room = MIX_MAX };
	int rc = 0;

	if (!columns)
		return error_set(err, ERROR_IO, "out of memory for the mix of a record");
	for (size_t i = 0; i < 3; i++)
		line.rows.columns[i] = columns + i * MIX_MAX;
	line_take_fields(l, &kind_mix, &line);
	for (size_t i = 0; i < line.rows.rows && !rc; i++)
		rc = add_size(o,
			&(struct observed_size){ line.direction, columns[i], columns[MIX_MAX + i],
				columns[2 * MIX_MAX + i] },
			err);
	free(columns);
	return rc;
}

static void take_latency(struct observation *o, const struct line *l)
{
	struct latency_line line = { .of = "" };

	line_take_fields(l, &kind_latency, &line);
	*(!strcmp(line.of, "read")          ? &o->latency[RUN_READ]
		: !strcmp(line.of, "write") ? &o->latency[RUN_WRITE]
					    : &o->flush) = line.l;
}

static void take_commands(struct observation *o, const struct line *l)
{
	if (o->command_count < OBSERVED_COMMANDS_MAX)
		line_take_fields(l, &kind_commands, &o->commands[o->command_count++]);
}

static int take_line(
	struct run *run, struct observation *o, const struct line *l, struct error *err)
{
	if (!strcmp(l->kind, kind_second.name))
		return take_second(o, l, err);
	if (!strcmp(l->kind, kind_mix.name))
		return take_sizes(o, l, err);
	if (!strcmp(l->kind, kind_total.name))
		line_take_fields(l, &kind_total, o);
	else if (!strcmp(l->kind, kind_seen.name))
		line_take_fields(l, &kind_seen, o);
	else if (!strcmp(l->kind, kind_latency.name))
		take_latency(o, l);
	else if (!strcmp(l->kind, kind_commands.name))
		take_commands(o, l);
	else
		run_take_line(run, l, NULL);
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
		rc = error_set(err, ERROR_USAGE, "'%s' is %s, not an observation", path,
			run_kind_words(reader.kind));
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
