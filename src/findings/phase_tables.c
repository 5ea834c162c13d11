/* Where the time of a request goes. */
#include "findings/phase_tables.h"

#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/alike.h"

/* ---- one point ---- */

static double seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

/* The first command of a pass has no host's time of its own: its share is that of the others. */
static double host_seconds(const struct run_pass *p)
{
	double gaps = (double)p->host_gaps;

	return gaps > 0 ? seconds(p->phase_ns[RUN_PHASE_HOST]) * (double)p->commands / gaps : 0;
}

static void add_pass(struct phases_of_point *out, const struct run_pass *p)
{
	out->passes++;
	out->shared |= p->bus_shared;
	out->requests += p->requests;
	out->commands += (double)p->commands;
	for (int i = 0; i < RUN_PHASE_COUNT; i++) {
		out->seconds[i] += i == RUN_PHASE_HOST ? host_seconds(p) : seconds(p->phase_ns[i]);
		out->typical_seconds[i] += seconds(p->phase_p50_ns[i]);
	}
	if (seconds(p->flush_command_ns) > out->flush_seconds)
		out->flush_seconds = seconds(p->flush_command_ns);
}

struct phases_of_point phases_of_point(const struct point *p)
{
	struct phases_of_point out = { .passes = 0 };

	for (size_t i = 0; i < p->pass_count; i++)
		if (p->passes[i]->phases_seen && p->passes[i]->requests)
			add_pass(&out, p->passes[i]);
	if (!out.passes)
		return out;
	out.commands /= (double)out.requests;
	for (int i = 0; i < RUN_PHASE_COUNT; i++) {
		out.seconds[i] /= (double)out.requests;
		out.typical_seconds[i] /= (double)out.passes;
		out.whole_seconds += out.seconds[i];
	}
	if (p->link_ceiling_bps > 0)
		out.link_seconds = (double)p->request_bytes / p->link_ceiling_bps;
	/* Then the link is not what it says, and the data is not divided. */
	if (out.link_seconds > out.seconds[RUN_PHASE_DATA])
		out.link_seconds = 0;
	return out;
}

/* ---- the table ---- */

#define ROW(function, expression) COLUMN_VALUE(function, struct phases_row, r, expression)

ROW(row_direction, value_word(run_direction_name(r->point->direction)))
ROW(row_order, value_word(run_order_name(r->point->order)))
ROW(row_request, value_bytes(r->point->request_bytes))
ROW(row_in_flight, value_count(r->point->in_flight))
ROW(row_command, value_seconds(r->of.seconds[RUN_PHASE_COMMAND]))
ROW(row_data, value_seconds(r->of.seconds[RUN_PHASE_DATA]))
ROW(row_link, value_if(r->of.link_seconds > 0, value_seconds(r->of.link_seconds)))
ROW(row_status, value_seconds(r->of.seconds[RUN_PHASE_STATUS]))
ROW(row_host, value_seconds(r->of.seconds[RUN_PHASE_HOST]))
ROW(row_whole, value_seconds(r->of.whole_seconds))
ROW(row_commands, value_number(r->of.commands))
ROW(row_flush, value_if(r->of.flush_seconds > 0, value_seconds(r->of.flush_seconds)))
ROW(row_requests, value_count(r->of.requests))
ROW(row_passes, value_count(r->of.passes))

static const struct phases_row *row_at(const struct table *t, size_t i)
{
	return (const struct phases_row *)t->rows + i;
}

static bool link_known(const struct table *t)
{
	for (size_t i = 0; i < t->count; i++)
		if (row_at(t, i)->of.link_seconds > 0)
			return true;
	return false;
}

static bool several_commands(const struct table *t)
{
	for (size_t i = 0; i < t->count; i++)
		if (row_at(t, i)->of.commands > 1.005)
			return true;
	return false;
}

static bool flushed(const struct table *t)
{
	for (size_t i = 0; i < t->count; i++)
		if (row_at(t, i)->of.flush_seconds > 0)
			return true;
	return false;
}

static const struct column columns[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, row_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, row_order },
	{ "request_bytes", "request", "size of one request", 9, false, NULL, row_request },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, row_in_flight },
	{ "command_seconds", "command",
		"from the host offering the command to the device taking it, of all commands of a "
		"request: beyond a moment, it was not ready for it",
		9, false, NULL, row_command },
	{ "data_seconds", "data",
		"from the host offering (or asking for) the data to the last of it having passed: "
		"beyond what the link needs, the device fetches it, or refuses it for want of room",
		9, false, NULL, row_data },
	{ "link_seconds", "link alone", "part of it: the least that the link needs for the data",
		11, false, link_known, row_link },
	{ "status_seconds", "status",
		"from the host asking for the status to its coming: work after the data", 9, false,
		NULL, row_status },
	{ "host_seconds", "host", "what lies between: the host's own", 9, false, NULL, row_host },
	{ "request_seconds", "all", "their sum: mean time from request to request", 9, false, NULL,
		row_whole },
	{ "commands_per_request", "cmd/req", "commands that the request became", 8, false,
		several_commands, row_commands },
	{ "flush_command_seconds", "flush",
		"longest SYNCHRONIZE CACHE at the closing flush of a pass", 9, false, flushed,
		row_flush },
	{ "requests", NULL, "requests that these means are of", 0, false, NULL, row_requests },
	{ "passes", NULL, "passes in which phases were seen", 0, false, NULL, row_passes },
};

const struct table_spec phases_spec = { .key = "phases",
	.meaning = "a point whose phases were seen: means of a request, over all its commands",
	.row_bytes = sizeof(struct phases_row),
	TABLE_COLUMNS(columns) };

struct table phases_table(struct pool *p, const struct points *points)
{
	struct phases_row *rows = pool_alloc(p, points->count, sizeof *rows);
	struct table t = { .spec = &phases_spec, .rows = rows };

	for (size_t i = 0; rows && i < points->count; i++) {
		rows[t.count] =
			(struct phases_row){ &points->list[i], phases_of_point(&points->list[i]) };
		t.count += rows[t.count].of.passes > 0;
	}
	return t;
}

/* ---- sentences ---- */

static const char *duration(struct pool *p, double s)
{
	char words[SIZE_TEXT_MAX];

	return s > 0 ? pool_printf(p, "%s", duration_format(words, s)) : "nothing";
}

/* The largest request that the kernel does not split: there a cost per byte shows best, and the phases are one command's. */
static const struct phases_row *telling_row(const struct table *t)
{
	const struct phases_row *best = NULL;

	for (size_t i = 0; i < t->count; i++)
		if (!best || row_at(t, i)->of.commands < 1.005)
			best = row_at(t, i);
	return best;
}

static const char *link_words(struct pool *p, const struct phases_of_point *of)
{
	return of->link_seconds > 0
		       ? pool_printf(p, " (the link alone needs %s)", duration(p, of->link_seconds))
		       : "";
}

static bool is_alike(const struct phases_row *a, const struct phases_row *b)
{
	double whole = a->of.whole_seconds;

	for (int i = 0; i < RUN_PHASE_COUNT; i++)
		if (!alike_within(a->of.seconds[i], b->of.seconds[i], whole))
			return false;
	return a->point->direction == b->point->direction &&
	       a->point->request_bytes == b->point->request_bytes &&
	       a->point->in_flight == b->point->in_flight &&
	       alike_within(a->of.link_seconds, b->of.link_seconds, whole);
}

/* The row of the other order that goes like row i; n: none does. */
static size_t alike_of(const struct phases_row *const *rows, size_t n, size_t i)
{
	for (size_t k = 0; k < n; k++)
		if (k != i && is_alike(rows[k < i ? k : i], rows[k < i ? i : k]))
			return k;
	return n;
}

/* Figures of r, in a sentence with those of told: r itself, or the row of the other order that it goes like. */
static void say(struct findings *f, const struct phases_row *r, const struct phases_row *told,
	bool both, const struct finding_code *code)
{
	const struct phases_of_point *of = &told->of;
	const struct point *p = r->point;
	char size[SIZE_TEXT_MAX];
	struct finding *one = finding_add(f, code,
		"Of the %s of a %s %s of %s, the command takes %s, its data %s%s, its status %s, "
		"and the host %s.",
		duration(f->pool, of->whole_seconds),
		both ? "sequential or random" : run_order_name(p->order),
		run_direction_name(p->direction), size_format(size, p->request_bytes),
		duration(f->pool, of->seconds[RUN_PHASE_COMMAND]),
		duration(f->pool, of->seconds[RUN_PHASE_DATA]), link_words(f->pool, of),
		duration(f->pool, of->seconds[RUN_PHASE_STATUS]),
		duration(f->pool, of->seconds[RUN_PHASE_HOST]));

	finding_figure(one, "direction", value_word(run_direction_name(p->direction)));
	finding_figure(one, "order", value_word(run_order_name(p->order)));
	finding_figure(one, "request_bytes", value_bytes(p->request_bytes));
	finding_figure(one, "in_flight", value_count(p->in_flight));
	finding_figure(one, "request_seconds", row_whole(r));
	finding_figure(one, "command_seconds", row_command(r));
	finding_figure(one, "data_seconds", row_data(r));
	finding_figure(one, "link_seconds", row_link(r));
	finding_figure(one, "status_seconds", row_status(r));
	finding_figure(one, "host_seconds", row_host(r));
}

static const char *const reasons[] = {
	[RUN_PHASES_DROPPED] = "the USB monitor lost events, as the machine was too busy",
	[RUN_PHASES_BROKEN] = "commands came to no proper end, or the device was reset",
	[RUN_PHASES_OTHERS] = "the bus was not seen to carry just their own requests",
	[RUN_PHASES_CLOCK] = "the machine's clock was set meanwhile",
};

static void add_left_out(
	struct findings *f, const struct points *points, const struct finding_code *code)
{
	size_t shown = 0, out[sizeof reasons / sizeof *reasons] = { 0 }, n = 0, most = 0;
	struct finding *one;

	for (size_t i = 0; i < points->count; i++)
		for (size_t k = 0; k < points->list[i].pass_count; k++)
			out[points->list[i].passes[k]->phases]++;
	shown = out[RUN_PHASES_SEEN];
	for (size_t i = RUN_PHASES_DROPPED; i < sizeof out / sizeof *out; i++) {
		n += out[i];
		most = out[i] > out[most] || most < RUN_PHASES_DROPPED ? i : most;
	}
	if (!n)
		return;
	one = finding_add(f, code,
		"%zu of %zu pass%s %s where the time of %s requests went, %sbecause %s.", n,
		n + shown, n + shown == 1 ? "" : "es", n == 1 ? "does not show" : "do not show",
		n == 1 ? "its" : "their", n == out[most] ? "" : "most of them ", reasons[most]);
	finding_figure(one, "passes", value_count(n));
	finding_figure(one, "passes_shown", value_count(shown));
}

void phases_findings_add(struct findings *f, const struct points *points,
	const struct finding_code *shown, const struct finding_code *left_out)
{
	const struct phases_row **rows = pool_alloc(f->pool, points->count, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < points->count;) {
		struct points table = points_table(points, i);
		struct table all = phases_table(f->pool, &table);
		const struct phases_row *row = telling_row(&all);

		i += table.count;
		if (row)
			rows[n++] = row;
	}
	for (size_t i = 0; i < n; i++) {
		size_t k = alike_of(rows, n, i);

		say(f, rows[i], rows[k < i ? k : i], k < n, shown);
	}
	add_left_out(f, points, left_out);
}

/* ---- screens ---- */

enum bar { BAR_COMMAND, BAR_LINK, BAR_DATA, BAR_STATUS, BAR_HOST, BARS };

static const struct {
	const char *name;
	unsigned style;
	bool second;
} parts[BARS] = {
	[BAR_COMMAND] = { "command", 3, false },
	[BAR_LINK] = { "data: the link alone", 0, true },
	[BAR_DATA] = { "data beyond that", 0, false },
	[BAR_STATUS] = { "status", 1, false },
	[BAR_HOST] = { "host", 2, false },
};

static double part_seconds(const struct phases_of_point *of, enum bar part)
{
	switch (part) {
	case BAR_COMMAND:
		return of->seconds[RUN_PHASE_COMMAND];
	case BAR_LINK:
		return of->link_seconds;
	case BAR_DATA:
		return of->seconds[RUN_PHASE_DATA] - of->link_seconds;
	case BAR_STATUS:
		return of->seconds[RUN_PHASE_STATUS];
	default:
		return of->seconds[RUN_PHASE_HOST];
	}
}

static const struct chart_point *part_points(
	struct pool *p, const struct table *rows, enum bar part)
{
	struct chart_point *points = pool_alloc(p, rows->count, sizeof *points);

	for (size_t i = 0; points && i < rows->count; i++)
		points[i] =
			(struct chart_point){ .x = (double)row_at(rows, i)->point->request_bytes,
				.y = part_seconds(&row_at(rows, i)->of, part) };
	return points;
}

static const struct chart *stacks(struct pool *p, const struct point *of, const struct table *rows)
{
	struct chart *c = pool_alloc(p, 1, sizeof *c);
	struct chart_series *series = pool_alloc(p, BARS, sizeof *series);
	size_t n = 0;

	if (!c || !series)
		return NULL;
	for (int i = 0; i < BARS; i++) {
		if (i == BAR_LINK && !link_known(rows))
			continue;
		series[n++] = (struct chart_series){
			.name = i == BAR_DATA && !link_known(rows) ? "data" : parts[i].name,
			.style = parts[i].style,
			.second = parts[i].second,
			.points = part_points(p, rows, (enum bar)i),
			.count = rows->count
		};
	}
	*c = (struct chart){ .kind = CHART_STACKS,
		.title = pool_printf(
			p, "Shares of the time of a request: %s", point_series_words(p, of)),
		.intro = "One bar a request size; its whole length is the mean time of a request, "
			 "which stands behind it.",
		.what = "Shares of command, data, status and host in the time of a request, by "
			"request size; the table below has the times.",
		.x_name = "share of the time",
		.x_unit = UNIT_BYTES,
		.y_unit = UNIT_SECONDS,
		.series = series,
		.series_count = n };
	return c;
}

void phases_show(struct view *v, const struct points *points, enum run_direction d)
{
	for (size_t i = 0; i < points->count;) {
		struct points table = points_table(points, i);
		struct table rows;

		i += table.count;
		if (table.list[0].direction != d)
			continue;
		rows = phases_table(&v->pool, &table);
		if (!rows.count)
			continue;
		view_section(v, (struct section){ .on = ON_SCREENS,
					.level = 3,
					.heading = pool_printf(&v->pool,
						"Where the time of a request goes: %s",
						point_series_words(&v->pool, &table.list[0])),
					.chart = stacks(&v->pool, &table.list[0], &rows),
					.table = rows });
	}
}

/* Where events of a bus cost a few hundredths: results/phases.md. */
#define SHORT_NS 1000000

static bool watching_shows(const struct run *run)
{
	for (size_t i = 0; i < run->pass_count && !run->target.modelled; i++)
		if (run->passes[i].phases_watched && run->passes[i].lat_p50_ns < SHORT_NS)
			return true;
	return false;
}

void phases_show_notes(struct view *v, const struct run *run)
{
	if (watching_shows(run))
		view_section(v, (struct section){ .on = ON_SCREENS,
					.note = "Watching the bus takes time itself: 2 %, of short "
						"writes up to 5 %, of requests shorter than 1 ms "
						"where that was measured, and next to nothing of "
						"longer ones. "
						"--no-phases measures without." });
	if (*run->plan.phases_off)
		view_section(
			v, (struct section){ .on = ON_SCREENS,
				   .note = pool_printf(&v->pool,
					   "Where the time of a request goes is not shown: %s.",
					   run->plan.phases_off) });
}
