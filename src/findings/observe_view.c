/* What an observation means. */
#include "findings/observe_view.h"

#include <stdio.h>
#include <stdlib.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/run_findings.h"

/* Sizes a direction that screens show; a long observation is joined to so many stretches in chart and table. */
enum { SIZES_SHOWN = 12, STEPS_MAX = 300, ROWS_MAX = 40 };

enum {
	TRACED,
	EVENTS_LOST,
	COUNTERS,
	NOTHING,
	MIX,
	LONGEST,
	FLUSHES,
	OTHERS,
	NOT_TRACED,
	DROPPED,
	ERRORS,
	PHASES,
	COMMANDS_BROKEN,
	PHASES_NOT_SHOWN,
};

const struct finding_code observe_codes[] = {
	[TRACED] = { "traced", FINDING_PLAIN, true, "every request was seen",
		"seconds read_bytes written_bytes busy_share" },
	[EVENTS_LOST] = { "events-lost", FINDING_CAUTION, true,
		"requests were traced, but the kernel dropped some of the events",
		"seconds read_bytes written_bytes busy_share" },
	[COUNTERS] = { "counters", FINDING_CAUTION, true,
		"the kernel's counters alone were read: amounts and means",
		"seconds read_bytes written_bytes busy_share" },
	[NOTHING] = { "nothing", FINDING_CAUTION, true, "nothing was sent, or nothing was kept",
		"seconds" },
	[MIX] = { "mix", FINDING_PLAIN, false,
		"the request size that carries most of the bytes of a direction, the one that most "
		"of its requests have, and how much of it is sequential",
		"direction most_bytes_request_bytes most_bytes_share most_requests_request_bytes "
		"most_requests_share sequential_requests_share sequential_bytes_share" },
	[LONGEST] = { "longest-request", FINDING_PLAIN, false, "the longest stall",
		"of request_bytes seconds at_seconds" },
	[FLUSHES] = { "flushes", FINDING_PLAIN, false,
		"how often the host asked for data to be stored", "flushes fua_writes" },
	[OTHERS] = { "other-commands", FINDING_PLAIN, false,
		"discards and commands that are neither reads, writes nor flushes",
		"discards others" },
	[NOT_TRACED] = { "not-traced", FINDING_CAUTION, false,
		"why requests could not be traced; the sentence says it", NULL },
	[DROPPED] = { "events-dropped", FINDING_CAUTION, false,
		"trace events that the kernel dropped: tables by size count too little", "events" },
	[ERRORS] = { "request-errors", FINDING_CAUTION, false,
		"requests that were answered with an error", "requests" },
	[PHASES] = { "phases", FINDING_PLAIN, false,
		"the phase of the commands on the bus in which most of their time went",
		"of phase seconds all_seconds" },
	[COMMANDS_BROKEN] = { "commands-broken", FINDING_CAUTION, false,
		"commands on the bus that came to no proper end, and are in no time of phases",
		"commands" },
	[PHASES_NOT_SHOWN] = { "phases-not-shown", FINDING_CAUTION, false,
		"the bus was watched, and does not show where the time of commands went; the "
		"sentence says why",
		NULL },
};

const size_t observe_code_count = sizeof observe_codes / sizeof *observe_codes;

static unsigned long long ull(uint64_t n)
{
	return (unsigned long long)n;
}

static double seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

static double share(uint64_t part, uint64_t whole)
{
	return whole ? (double)part / (double)whole : 0;
}

/* The trace tells flushes from the empty writes as which the kernel counts them; where events were lost, it knows less
 * than the counters. */
static bool is_exact(const struct observation *o)
{
	return o->traced && !o->lost;
}

/* Of everything that says how much was sent. */
static uint64_t bytes_of(const struct observation *o, enum run_direction d)
{
	return is_exact(o) ? o->bytes[d] : o->total.bytes[d];
}

/* ---- the verdict ---- */

static void add_verdict(struct findings *f, const struct observation *o)
{
	const struct observed_counts *c = &o->total;
	const struct finding_code *code = &observe_codes[is_exact(o) ? TRACED
							 : o->traced ? EVENTS_LOST
								     : COUNTERS];
	double busy = c->ns ? (double)c->busy_ms * 1e6 / (double)c->ns : 0;
	char time[SIZE_TEXT_MAX], got[SIZE_TEXT_MAX], put[SIZE_TEXT_MAX];
	struct finding *one;

	one = finding_add(f, code,
		"In %s the host read %s and wrote %s; at least one request was in flight %.2g %% "
		"of the time.",
		duration_format(time, seconds(c->ns)),
		size_format_decimal(got, (double)bytes_of(o, RUN_READ)),
		size_format_decimal(put, (double)bytes_of(o, RUN_WRITE)), busy * 100);
	finding_figure(one, "seconds", value_ns(c->ns));
	finding_figure(one, "read_bytes", value_bytes_decimal(bytes_of(o, RUN_READ)));
	finding_figure(one, "written_bytes", value_bytes_decimal(bytes_of(o, RUN_WRITE)));
	finding_figure(one, "busy_share", value_share(busy));
}

static bool saw_nothing(const struct observation *o)
{
	const struct observed_counts *c = &o->total;

	return !c->requests[0] && !c->requests[1] && !c->flushes && !o->requests[0] &&
	       !o->requests[1] && !o->flushes && !o->discards && !o->others;
}

static void add_nothing(struct findings *f, const struct observation *o)
{
	char time[SIZE_TEXT_MAX];
	struct finding *one;

	if (o->total.ns)
		one = finding_add(f, &observe_codes[NOTHING],
			"In %s the host sent nothing to the target.",
			duration_format(time, seconds(o->total.ns)));
	else
		one = finding_add(
			f, &observe_codes[NOTHING], "The record does not hold what the host sent.");
	finding_figure(one, "seconds", value_if(o->total.ns, value_ns(o->total.ns)));
}

/* ---- findings ---- */

/* The size that carries most bytes, and the one that most requests have. */
static void add_mix(struct findings *f, const struct observation *o, enum run_direction d)
{
	const struct observed_size *bytes = NULL, *count = NULL;
	double by_bytes, by_count, requests, amount;
	char a[SIZE_TEXT_MAX], b[SIZE_TEXT_MAX];
	struct finding *one;

	for (size_t i = 0; i < o->size_count; i++) {
		const struct observed_size *s = &o->sizes[i];

		if (s->direction != d)
			continue;
		if (!bytes || s->bytes * s->count > bytes->bytes * bytes->count)
			bytes = s;
		if (!count || s->count > count->count)
			count = s;
	}
	if (!bytes)
		return;
	by_bytes = share(bytes->bytes * bytes->count, o->bytes[d]);
	by_count = share(count->count, o->requests[d]);
	requests = share(o->sequential[d], o->requests[d]);
	amount = share(o->sequential_bytes[d], o->bytes[d]);
	one = finding_add(f, &observe_codes[MIX],
		"%.0f %% of %ss are %s; %.0f %% of the bytes come in requests of %s. %.0f %% of "
		"the requests (%.0f %% of the bytes) are sequential.",
		by_count * 100, run_direction_name(d), size_format(b, count->bytes), by_bytes * 100,
		size_format(a, bytes->bytes), requests * 100, amount * 100);
	finding_figure(one, "direction", value_word(run_direction_name(d)));
	finding_figure(one, "most_bytes_request_bytes", value_bytes(bytes->bytes));
	finding_figure(one, "most_bytes_share", value_share(by_bytes));
	finding_figure(one, "most_requests_request_bytes", value_bytes(count->bytes));
	finding_figure(one, "most_requests_share", value_share(by_count));
	finding_figure(one, "sequential_requests_share", value_share(requests));
	finding_figure(one, "sequential_bytes_share", value_share(amount));
}

static void add_longest(struct findings *f, const struct observation *o)
{
	const struct observed_latency *worst = &o->latency[RUN_READ];
	const char *what = "read";
	char size[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX], at[SIZE_TEXT_MAX];
	struct finding *one;

	if (o->latency[RUN_WRITE].max_ns > worst->max_ns) {
		worst = &o->latency[RUN_WRITE];
		what = "write";
	}
	if (o->flush.max_ns > worst->max_ns) {
		worst = &o->flush;
		what = "flush";
	}
	if (!worst->count)
		return;
	one = finding_add(f, &observe_codes[LONGEST],
		"The longest stall: a %s%s%s took %s, sent %s after the start.", what,
		worst->max_bytes ? " of " : "",
		worst->max_bytes ? size_format(size, worst->max_bytes) : "",
		duration_format(time, seconds(worst->max_ns)),
		duration_format(at, seconds(worst->max_at_ns)));
	finding_figure(one, "of", value_word(what));
	finding_figure(
		one, "request_bytes", value_if(worst->max_bytes, value_bytes(worst->max_bytes)));
	finding_figure(one, "seconds", value_ns(worst->max_ns));
	finding_figure(one, "at_seconds", value_ns(worst->max_at_ns));
}

static void add_flushes(struct findings *f, const struct observation *o)
{
	uint64_t n = is_exact(o) ? o->flushes : o->total.flushes;
	struct finding *one;

	if (o->traced && o->fua)
		one = finding_add(f, &observe_codes[FLUSHES],
			"The host asked for %llu flush%s; %llu write%s to be stored at once (FUA).",
			ull(n), n == 1 ? "" : "es", ull(o->fua), o->fua == 1 ? " was" : "s were");
	else
		one = finding_add(f, &observe_codes[FLUSHES], "The host asked for %llu flush%s.",
			ull(n), n == 1 ? "" : "es");
	finding_figure(one, "flushes", value_count(n));
	finding_figure(one, "fua_writes", value_if(o->traced, value_count(o->fua)));
}

static void add_others(struct findings *f, const struct observation *o)
{
	char discards[40] = "", others[48] = "";
	struct finding *one;

	if (!o->discards && !o->others)
		return;
	if (o->discards)
		snprintf(discards, sizeof discards, "%llu discard%s", ull(o->discards),
			o->discards == 1 ? "" : "s");
	if (o->others)
		snprintf(others, sizeof others, "%llu other command%s", ull(o->others),
			o->others == 1 ? "" : "s");
	one = finding_add(f, &observe_codes[OTHERS], "It also sent %s%s%s.", discards,
		*discards && *others ? " and " : "", others);
	finding_figure(one, "discards", value_count(o->discards));
	finding_figure(one, "others", value_count(o->others));
}

/* What limits the figures. */
static void add_limits(struct findings *f, const struct observation *o)
{
	if (!o->traced)
		finding_add(f, &observe_codes[NOT_TRACED],
			"Only the kernel's counters were read, so sizes and times are means: %s.",
			o->why);
	if (o->lost)
		finding_figure(finding_add(f, &observe_codes[DROPPED],
				       "The kernel dropped %llu trace events: more was sent than "
				       "is counted by size.",
				       ull(o->lost)),
			"events", value_count(o->lost));
	if (o->errors)
		finding_figure(finding_add(f, &observe_codes[ERRORS],
				       "%llu request%s ended with an error.", ull(o->errors),
				       text_plural(o->errors)),
			"requests", value_count(o->errors));
}

/* They may have taken longest of all: a host waits half a minute for some. */
static void add_broken(struct findings *f, const struct observation *o)
{
	if (o->phases_watched && o->broken_commands)
		finding_figure(finding_add(f, &observe_codes[COMMANDS_BROKEN],
				       "%llu command%s came to no proper end on the bus: what %s "
				       "took is in "
				       "none of these times.",
				       ull(o->broken_commands), text_plural(o->broken_commands),
				       o->broken_commands == 1 ? "it" : "they"),
			"commands", value_count(o->broken_commands));
}

static void add_unseen_phases(struct findings *f, const struct observation *o)
{
	bool silent = o->phases == RUN_PHASES_SEEN && !o->command_count && !saw_nothing(o);

	if (!o->phases_watched || (o->phases == RUN_PHASES_SEEN && !silent))
		return;
	finding_add(f, &observe_codes[PHASES_NOT_SHOWN],
		"Where the time of commands went is not shown: %s.",
		silent ? "none of them was seen on the bus that was watched"
		: o->phases == RUN_PHASES_CLOCK ? "the machine's clock was set meanwhile"
						: "events of the USB monitor were lost");
}

static void add_findings(struct findings *f, const struct run *run, const struct observation *o)
{
	if (saw_nothing(o))
		add_nothing(f, o);
	else
		add_verdict(f, o);
	run_findings_add(f, run);
	if (!saw_nothing(o)) {
		add_mix(f, o, RUN_READ);
		add_mix(f, o, RUN_WRITE);
		add_longest(f, o);
		add_flushes(f, o);
		add_others(f, o);
	}
	observe_commands_add(f, o, &observe_codes[PHASES]);
	add_broken(f, o);
	add_limits(f, o);
	add_unseen_phases(f, o);
}

/* ---- tables ---- */

static void add_totals(struct view *v, const struct observation *o)
{
	struct observe_total *rows = pool_alloc(&v->pool, 2, sizeof *rows);

	for (int d = 0; rows && d < 2; d++)
		rows[d] = (struct observe_total){ .direction = (enum run_direction)d,
			.requests = is_exact(o) ? o->requests[d] : o->total.requests[d],
			.bytes = bytes_of(o, (enum run_direction)d),
			.merged = o->total.merged[d],
			.ns = o->total.ns,
			.traced = o->traced,
			.sequential = o->sequential[d],
			.seen = o->requests[d] };
	view_table(v, &observe_totals_spec, rows, rows ? 2 : 0);
}

static void add_sizes(struct view *v, const struct observation *o)
{
	struct observe_size *rows = pool_alloc(&v->pool, o->size_count, sizeof *rows);

	for (size_t i = 0; rows && i < o->size_count; i++) {
		enum run_direction d = o->sizes[i].direction;

		rows[i] = (struct observe_size){ &o->sizes[i], o->requests[d], o->bytes[d] };
	}
	view_table(v, &observe_sizes_spec, rows, rows ? o->size_count : 0);
}

static void add_times(struct view *v, const struct observation *o)
{
	const struct observe_time all[] = { { "read", &o->latency[RUN_READ] },
		{ "write", &o->latency[RUN_WRITE] }, { "flush", &o->flush } };
	struct observe_time *rows = pool_alloc(&v->pool, 3, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < 3; i++)
		if (all[i].times->count)
			rows[n++] = all[i];
	view_table(v, &observe_times_spec, rows, n);
}

static void add_seconds(struct view *v, const struct observation *o)
{
	size_t n = 2 * o->second_count;
	struct observe_second *rows = pool_alloc(&v->pool, n, sizeof *rows);

	for (size_t i = 0; rows && i < n; i++)
		rows[i] =
			(struct observe_second){ &o->seconds[i / 2], (enum run_direction)(i % 2) };
	view_table(v, &observe_seconds_spec, rows, rows ? n : 0);
}

/* ---- seconds joined to stretches, for the page ---- */

struct stretch {
	uint64_t until_ns, ns, bytes[2], requests, flushes;
};

static struct stretch *join(struct pool *p, const struct observation *o, size_t most, size_t *count)
{
	size_t step = o->second_count > most ? (o->second_count + most - 1) / most : 1;
	struct stretch *list;

	*count = (o->second_count + step - 1) / step;
	list = pool_alloc(p, *count, sizeof *list);
	*count = list ? *count : 0;
	for (size_t i = 0; list && i < o->second_count; i++) {
		const struct observed_counts *c = &o->seconds[i];
		struct stretch *s = &list[i / step];

		s->until_ns = c->at_ns;
		s->ns += c->ns;
		s->flushes += c->flushes;
		for (int d = 0; d < 2; d++) {
			s->bytes[d] += c->bytes[d];
			s->requests += c->requests[d];
		}
	}
	return list;
}

static double rate_of(const struct stretch *s, int d)
{
	return s->ns ? (double)s->bytes[d] * 1e9 / (double)s->ns : 0;
}

#define STRETCH(function, expression) COLUMN_VALUE(function, struct stretch, r, expression)

STRETCH(stretch_until, value_ns(r->until_ns))
STRETCH(stretch_read, value_rate(rate_of(r, RUN_READ)))
STRETCH(stretch_write, value_rate(rate_of(r, RUN_WRITE)))
STRETCH(stretch_requests, value_count(r->requests))
STRETCH(stretch_flushes, value_count(r->flushes))

static const struct column stretch_columns[] = {
	{ NULL, "until", "since the start", 0, false, NULL, stretch_until },
	{ NULL, "read", "bytes read a second", 0, false, NULL, stretch_read },
	{ NULL, "write", "bytes written a second", 0, false, NULL, stretch_write },
	{ NULL, "requests", "of both directions", 0, false, NULL, stretch_requests },
	{ NULL, "flushes", "in that time", 0, false, NULL, stretch_flushes },
};

static const struct table_spec stretches_spec = { .row_bytes = sizeof(struct stretch),
	TABLE_COLUMNS(stretch_columns) };

static bool moved_anything(const struct observation *o)
{
	for (size_t i = 0; i < o->second_count; i++)
		if (o->seconds[i].bytes[0] || o->seconds[i].bytes[1])
			return true;
	return false;
}

static const struct chart_series *make_series(
	struct pool *p, const struct stretch *list, size_t count, size_t *series_count)
{
	struct chart_series *series = pool_alloc(p, 2, sizeof *series);

	*series_count = series ? 2 : 0;
	for (int d = 0; series && d < 2; d++) {
		struct chart_point *points = pool_alloc(p, count, sizeof *points);

		series[d] =
			(struct chart_series){ .name = run_direction_name((enum run_direction)d),
				.style = (unsigned)d,
				.second = d == RUN_WRITE,
				.points = points,
				.count = points ? count : 0 };
		for (size_t i = 0; points && i < count; i++)
			points[i] = (struct chart_point){ .x = seconds(list[i].until_ns),
				.y = rate_of(&list[i], d) };
	}
	return series;
}

static void show_rates(struct view *v, const struct observation *o)
{
	struct chart *chart = pool_alloc(&v->pool, 1, sizeof *chart);
	struct stretch *steps, *rows;
	size_t step_count, row_count;

	if (!chart || o->second_count < 2 || !moved_anything(o))
		return;
	steps = join(&v->pool, o, STEPS_MAX, &step_count);
	rows = join(&v->pool, o, ROWS_MAX, &row_count);
	*chart = (struct chart){ .kind = CHART_STEPS,
		.title = "Rate over time, by the kernel's counters",
		.what = "Bytes read and written in each second by the kernel's counters; the table "
			"below has the values.",
		.x_name = "time since the start",
		.y_name = "rate",
		.x_unit = UNIT_SECONDS,
		.y_unit = UNIT_BYTES_PER_SECOND };
	chart->series = make_series(&v->pool, steps, step_count, &chart->series_count);
	view_section(v, (struct section){ .on = ON_PAGE,
				.chart = chart,
				.table = { &stretches_spec, rows, row_count } });
}

/* ---- screens ---- */

/* Among the sizes of its direction that carry most bytes. */
static bool is_shown(const struct observation *o, size_t index)
{
	size_t ahead = 0;

	for (size_t i = 0; i < o->size_count; i++)
		ahead += o->sizes[i].direction == o->sizes[index].direction &&
			 o->sizes[i].bytes * o->sizes[i].count >
				 o->sizes[index].bytes * o->sizes[index].count;
	return ahead < SIZES_SHOWN;
}

static void show_sizes(struct view *v, const struct observation *o)
{
	const struct table *all = view_find_table(v, "sizes");
	struct observe_size *rows = pool_alloc(&v->pool, all->count, sizeof *rows);
	size_t n = 0;

	if (!rows)
		return;
	for (size_t i = 0; i < all->count; i++)
		if (is_shown(o, i))
			rows[n++] = ((const struct observe_size *)all->rows)[i];
	view_section(v,
		(struct section){ .on = ON_SCREENS,
			.level = 2,
			.heading = "Request sizes",
			.table = { all->spec, rows, n },
			.note = n == all->count
					? NULL
					: pool_printf(&v->pool,
						  "and %zu more size%s with fewer bytes (CSV and "
						  "JSON have all)",
						  all->count - n, text_plural(all->count - n)) });
}

static void add_sections(struct view *v, const struct observation *o)
{
	view_section(v, (struct section){ .on = ON_SCREENS,
				.level = 2,
				.heading = "What the host sent",
				.table = *view_find_table(v, "totals") });
	show_rates(v, o);
	show_sizes(v, o);
	if (view_find_table(v, "commands")->count)
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 2,
					.heading = "Where the time of a command goes, on the bus",
					.table = *view_find_table(v, "commands") });
	if (*o->phases_off)
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .note = pool_printf(&v->pool,
					   "Where the time of a command goes is not shown: %s.",
					   o->phases_off) });
	if (view_find_table(v, "times")->count)
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 2,
					.heading = "Time from sent to answered",
					.table = *view_find_table(v, "times") });
}

int observe_view(
	struct view *v, const struct run *run, const struct observation *o, struct error *err)
{
	view_begin(v, "observe");
	view_of_run(v, run);
	add_findings(&v->findings, run, o);
	add_totals(v, o);
	add_seconds(v, o);
	add_sizes(v, o);
	add_times(v, o);
	view_table(v, &observe_commands_spec, o->commands, o->command_count);
	add_sections(v, o);
	return view_end(v, err);
}
