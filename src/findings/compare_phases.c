/* Which phase of requests changed: its table and its sentences. */
#include "findings/compare_phases.h"

#include <math.h>

#include "base/size.h"
#include "findings/alike.h"
#include "findings/compared.h"

/* ---- the table ---- */

static const char *const phases[] = { [RUN_PHASE_COMMAND] = "command",
	[RUN_PHASE_DATA] = "data",
	[RUN_PHASE_STATUS] = "status",
	[RUN_PHASE_HOST] = "host" };

#define ROW(function, expression) COLUMN_VALUE(function, struct compare_phase_row, r, expression)
#define SECONDS(function, side, phase) ROW(function, value_seconds(r->change.seconds[side][phase]))

ROW(row_direction, value_word(run_direction_name(r->point->direction)))
ROW(row_order, value_word(run_order_name(r->point->order)))
ROW(row_in_flight, value_count(r->point->in_flight))
ROW(row_request, value_bytes(r->point->request_bytes))
SECONDS(base_command, COMPARE_BASE, RUN_PHASE_COMMAND)
SECONDS(new_command, COMPARE_NEW, RUN_PHASE_COMMAND)
SECONDS(base_data, COMPARE_BASE, RUN_PHASE_DATA)
SECONDS(new_data, COMPARE_NEW, RUN_PHASE_DATA)
SECONDS(base_status, COMPARE_BASE, RUN_PHASE_STATUS)
SECONDS(new_status, COMPARE_NEW, RUN_PHASE_STATUS)
SECONDS(base_host, COMPARE_BASE, RUN_PHASE_HOST)
SECONDS(new_host, COMPARE_NEW, RUN_PHASE_HOST)
ROW(changed, value_if(r->change.shown, value_word(phases[r->change.phase])))

static const struct column columns[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, row_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, row_order },
	{ "request_bytes", "request", "request size", 9, false, NULL, row_request },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, row_in_flight },
	{ "base_command_seconds", "command", "mean time of a request in that phase; base", 9, false,
		NULL, base_command },
	{ "new_command_seconds", "new", "of the new side", 8, false, NULL, new_command },
	{ "base_data_seconds", "data", "the same in the data phase", 9, false, NULL, base_data },
	{ "new_data_seconds", "new", "of the new side", 8, false, NULL, new_data },
	{ "base_status_seconds", "status", "the same in the status phase", 9, false, NULL,
		base_status },
	{ "new_status_seconds", "new", "of the new side", 8, false, NULL, new_status },
	{ "base_host_seconds", NULL, "mean time in the host; base", 0, false, NULL, base_host },
	{ "new_host_seconds", NULL, "of the new side", 0, false, NULL, new_host },
	{ "changed", "changed",
		"the phase that the larger part of the change is in, where that is shown", 9, true,
		NULL, changed },
};

const struct table_spec compare_phases_spec = { .key = "phases",
	.meaning = "a point in which the phases of requests were seen on both sides",
	.row_bytes = sizeof(struct compare_phase_row),
	TABLE_COLUMNS(columns) };

/* Of the rates that are compared, to which all that is said of phases has to fit. */
static struct phase_change change_of(const struct compare_point *p)
{
	double bytes = (double)p->request_bytes;

	return phase_replicates_change(&p->phases,
		bytes / exp(p->rate.fresh_logs.mean) - bytes / exp(p->rate.base_logs.mean));
}

struct table compare_phases_table(
	struct pool *p, const struct compared *c, size_t first, size_t end)
{
	struct compare_phase_row *rows = pool_alloc(p, end - first, sizeof *rows);
	struct table t = { .spec = &compare_phases_spec, .rows = rows };

	for (size_t i = first; rows && i < end; i++) {
		rows[t.count] =
			(struct compare_phase_row){ &c->points[i], change_of(&c->points[i]) };
		t.count += rows[t.count].change.seen;
	}
	return t;
}

/* ---- sentences ---- */

static const char *duration(struct pool *p, double s)
{
	char words[SIZE_TEXT_MAX];

	return pool_printf(p, "%s", duration_format(words, s));
}

/* The change of a table that is told: that of its largest requests. */
struct told {
	const struct compare_point *point;
	struct phase_change change;
};

static double seconds_of(const struct told *t, int side)
{
	return t->change.seconds[side][t->change.phase];
}

static bool is_alike(const struct told *a, const struct told *b)
{
	const struct compare_point *p = a->point, *q = b->point;

	for (int side = COMPARE_BASE; side <= COMPARE_NEW; side++)
		if (!alike(seconds_of(a, side), seconds_of(b, side)))
			return false;
	return p->direction == q->direction && p->order != q->order &&
	       p->in_flight == q->in_flight && p->request_bytes == q->request_bytes &&
	       p->rate.verdict == q->rate.verdict && a->change.phase == b->change.phase;
}

/* Figures of t, in a sentence with those of as: t itself, or the other order's, which are alike. */
static void say(struct findings *f, const struct told *t, const struct told *as, bool both,
	const struct finding_code *code)
{
	const struct compare_point *p = t->point;
	bool faster = p->rate.verdict == COMPARE_HIGHER;
	char size[SIZE_TEXT_MAX];
	struct finding *one = finding_add(f, code,
		"What %s %s %ss of %s is their %s phase: from %s to %s a request.",
		faster ? "speeds up" : "slows down",
		both ? "sequential and random" : run_order_name(p->order),
		run_direction_name(p->direction), size_format(size, p->request_bytes),
		phases[t->change.phase], duration(f->pool, seconds_of(as, COMPARE_BASE)),
		duration(f->pool, seconds_of(as, COMPARE_NEW)));

	finding_figure(one, "direction", value_word(run_direction_name(p->direction)));
	finding_figure(one, "order", value_word(run_order_name(p->order)));
	finding_figure(one, "request_bytes", value_bytes(p->request_bytes));
	finding_figure(one, "phase", value_word(phases[t->change.phase]));
	finding_figure(one, "base_seconds", value_seconds(seconds_of(t, COMPARE_BASE)));
	finding_figure(one, "new_seconds", value_seconds(seconds_of(t, COMPARE_NEW)));
}

/* A change of the rate is shown, and that phase has most of it. */
static bool explains(const struct compare_point *p, const struct phase_change *c)
{
	return c->shown && (p->rate.verdict == COMPARE_HIGHER || p->rate.verdict == COMPARE_LOWER);
}

void compare_phases_add(
	struct findings *f, const struct compared *c, const struct finding_code *code)
{
	struct told *list = pool_alloc(f->pool, c->count, sizeof *list);
	size_t n = 0;

	for (size_t i = 0; list && i < c->count; i++) {
		struct phase_change change = change_of(&c->points[i]);
		bool last = true;

		if (!explains(&c->points[i], &change))
			continue;
		/* Sorted by size: only the last of its table is told. */
		for (size_t k = i + 1; k < c->count; k++) {
			struct phase_change later = change_of(&c->points[k]);

			if (compare_same_table(&c->points[i], &c->points[k]) &&
				explains(&c->points[k], &later))
				last = false;
		}
		if (last)
			list[n++] = (struct told){ &c->points[i], change };
	}
	for (size_t i = 0; i < n; i++) {
		size_t like = n;

		for (size_t k = 0; k < n && like == n; k++)
			like = k != i && is_alike(&list[i], &list[k]) ? k : n;
		say(f, &list[i], &list[like < i ? like : i], like < n, code);
	}
}
