/* What cuts mean. */
#include "findings/cut_view.h"

#include <inttypes.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "record/run.h"

/* What text and page show; JSON has all that the record kept, CSV every cut. */
enum { CUTS_ON_TEXT = 50, CUTS_ON_PAGE = 500, RANGES_ON_TEXT = 20, RANGES_ON_PAGE = 200 };

/* ---- what was done, for people ---- */

const char *cut_ending_words(const struct run *run, const struct cut_cycle *c)
{
	static const struct {
		enum cut_ending ending;
		const char *words;
	} table[] = {
		{ CUT_GONE, "the target stopped answering" },
		{ CUT_TIME_UP, "time was up, and the target still answered" },
		{ CUT_INTERRUPTED, "interrupted by hand" },
		{ CUT_REMAINS,
			"the command ended, and the target still answered: nothing was cut" },
		{ CUT_FAILED, "a request failed, and the target still answered: no cut" },
	};

	/* A model is cut by this tool, when its time is up. */
	if (run->target.modelled && c->rechecks && !strcmp(c->stop, cut_ending_name(CUT_TIME_UP)))
		return "its power was cut";
	for (size_t i = 0; i < sizeof table / sizeof *table; i++)
		if (!strcmp(c->stop, cut_ending_name(table[i].ending)))
			return table[i].words;
	return *c->stop ? "in a way that this version does not know"
			: "the journal just ends: its writer or its machine was stopped";
}

static void add_region_fact(struct view *v, const struct cut_cycle *c)
{
	char length[SIZE_TEXT_MAX], start[SIZE_TEXT_MAX], block[SIZE_TEXT_MAX];

	view_fact(v, "region",
		pool_printf(&v->pool, "%s at %s, in blocks of %s",
			size_format(length, c->region_bytes), size_format(start, c->region_start),
			size_format(block, c->block_bytes)));
	view_fact(v, "promised",
		c->by_answer ? "every answered write: the target claims no write cache"
			     : "what a flush or a write with FUA covered when it returned");
}

static void add_written_fact(struct view *v, const struct cut_cycle *c)
{
	char bytes[SIZE_TEXT_MAX], time[SIZE_TEXT_MAX], slowest[SIZE_TEXT_MAX];

	if (!c->ready) {
		view_fact(v, "written", "nothing: the baseline was never flushed");
		return;
	}
	view_fact(v, "written",
		pool_printf(&v->pool,
			"%" PRIu64 " write%s (%s, %" PRIu64 " by FUA) and %" PRIu64
			" flush%s in %s%s%s",
			c->writes, text_plural(c->writes),
			size_format_decimal(bytes, (double)c->bytes), c->throughs, c->flushes,
			c->flushes == 1 ? "" : "es", duration_format(time, (double)c->ns / 1e9),
			c->flush_ns_max ? "; the slowest flush took " : "",
			c->flush_ns_max ? duration_format(slowest, (double)c->flush_ns_max / 1e9)
					: ""));
	view_fact(v, "at risk",
		pool_printf(&v->pool, "%" PRIu64 " write%s (%s) acknowledged but not flushed%s",
			c->writes_at_risk, text_plural(c->writes_at_risk),
			size_format_decimal(bytes, (double)c->bytes_at_risk),
			c->by_answer ? ", but promised all the same" : ""));
}

/* Of one cut. */
static void add_cycle_facts(struct view *v, const struct run *run, const struct cut_cycle *c)
{
	char time[SIZE_TEXT_MAX];

	add_written_fact(v, c);
	view_fact(v, "ended",
		c->pulled ? pool_printf(&v->pool, "the command of --cut-with began after %s; %s",
				    duration_format(time, (double)c->pulled_ns / 1e9),
				    cut_ending_words(run, c))
			  : cut_ending_words(run, c));
	view_fact(v, "rechecked",
		!c->rechecks       ? "not yet"
		: c->rechecks == 1 ? "once"
				   : pool_printf(&v->pool, "%" PRIu32 " times; the last one counts",
					     c->rechecks));
}

/* ---- tables ---- */

static void add_summary(struct view *v, const struct cut_record *r, const struct cut_totals *o)
{
	struct cut_summary_row *row = pool_alloc(&v->pool, 1, sizeof *row);

	if (!row)
		return;
	*row = (struct cut_summary_row){ r, *o };
	view_table(v, &cut_summary_spec, row, 1);
}

static void add_blocks(struct view *v, const struct cut_totals *o)
{
	struct cut_blocks_row *rows = pool_alloc(&v->pool, RECHECK_DUTIES, sizeof *rows);
	size_t n = 0;

	for (int d = 0; rows && d < RECHECK_DUTIES; d++)
		if (o->blocks[d])
			rows[n++] = (struct cut_blocks_row){ (enum recheck_duty)d, o->blocks[d],
				o->broken_blocks[d] };
	view_table(v, &cut_blocks_spec, rows, n);
}

/* In the order in which they are met. */
static void count_kind(struct cut_kind_row *rows, size_t *n, const char *name, uint64_t blocks)
{
	size_t i = 0;

	while (i < *n && strcmp(rows[i].name, name) != 0)
		i++;
	if (i == RECHECK_KINDS_MAX)
		return;
	if (i == *n)
		rows[(*n)++] = (struct cut_kind_row){ name, 0 };
	rows[i].blocks += blocks;
}

static void add_kinds(struct view *v, const struct cut_record *r)
{
	struct cut_kind_row *rows = pool_alloc(&v->pool, RECHECK_KINDS_MAX, sizeof *rows);
	size_t n = 0;

	for (size_t i = 0; rows && i < r->count; i++)
		for (uint32_t k = 0; k < r->cycles[i].verdict.kind_count; k++)
			count_kind(rows, &n, r->cycles[i].verdict.kinds[k].name,
				r->cycles[i].verdict.kinds[k].blocks);
	view_table(v, &cut_kinds_spec, rows, n);
}

static void add_cuts(struct view *v, const struct run *run, const struct cut_record *r)
{
	struct cut_row *rows = pool_alloc(&v->pool, r->count, sizeof *rows);

	for (size_t i = 0; rows && i < r->count; i++)
		rows[i] = (struct cut_row){ &r->cycles[i], cut_ending_words(run, &r->cycles[i]) };
	view_table(v, &cut_cuts_spec, rows, rows ? r->count : 0);
}

static void add_damage(struct view *v, const struct cut_record *r)
{
	struct cut_damage_row *rows;
	size_t count = 0, n = 0;

	for (size_t i = 0; i < r->count; i++)
		count += r->cycles[i].verdict.damage_count;
	rows = pool_alloc(&v->pool, count, sizeof *rows);
	for (size_t i = 0; rows && i < r->count; i++)
		for (size_t k = 0; k < r->cycles[i].verdict.damage_count; k++)
			rows[n++] = (struct cut_damage_row){ r->cycles[i].number,
				&r->cycles[i].verdict.damages[k] };
	view_table(v, &cut_damage_spec, rows, n);
}

/* ---- screens ---- */

/* The first `most` rows of a table under its heading; `more` rows are counted, and listed nowhere. */
static void show_some(struct view *v, unsigned on, const char *key, const char *heading,
	size_t most, uint64_t more)
{
	const struct table *all = view_find_table(v, key);
	struct table some;
	const char *note = NULL;

	if (!all || !all->count)
		return;
	some = *all;
	if (some.count > most)
		some.count = most;
	if (some.count < all->count)
		note = pool_printf(&v->pool, "and %zu more (JSON has %s)", all->count - some.count,
			more ? "them" : "all");
	if (more)
		note = pool_printf(&v->pool,
			"%s%s%" PRIu64
			" further range%s %s in the journal alone, in its lines of kind damage: "
			"up to 1000 a cut",
			note ? note : "", note ? "; " : "and ", more, text_plural(more),
			more == 1 ? "is" : "are");
	view_section(
		v, (struct section){
			   .on = on, .level = 2, .heading = heading, .table = some, .note = note });
}

static void add_sections(struct view *v, const struct cut_record *r)
{
	uint64_t more = 0;

	for (size_t i = 0; i < r->count; i++)
		more += r->cycles[i].verdict.damages_more;
	show_some(v, ON_SCREENS, "blocks", "What became of the blocks", RECHECK_DUTIES, 0);
	show_some(v, ON_SCREENS, "found", "What broken blocks hold", RECHECK_KINDS_MAX, 0);
	if (r->count > 1) {
		show_some(v, ON_TEXT, "cuts", "Cuts", CUTS_ON_TEXT, 0);
		show_some(v, ON_PAGE, "cuts", "Cuts", CUTS_ON_PAGE, 0);
	}
	show_some(v, ON_TEXT, "damage", "Broken ranges", RANGES_ON_TEXT, more);
	show_some(v, ON_PAGE, "damage", "Broken ranges", RANGES_ON_PAGE, more);
}

static int make(struct view *v, const char *kind, const struct run *run,
	const struct cut_record *cuts, struct error *err)
{
	struct cut_totals totals;
	struct cut_record *r;

	view_begin(v, kind);
	view_of_run(v, run);
	r = pool_alloc(&v->pool, 1, sizeof *r);
	if (r) {
		*r = *cuts;
		cut_totals(&totals, r);
		if (r->count)
			add_region_fact(v, &r->cycles[0]);
		if (r->count == 1)
			add_cycle_facts(v, run, &r->cycles[0]);
		cut_findings_add(&v->findings, run, r);
		add_summary(v, r, &totals);
		add_blocks(v, &totals);
		add_kinds(v, r);
		add_cuts(v, run, r);
		add_damage(v, r);
		add_sections(v, r);
	}
	return view_end(v, err);
}

int cut_view(struct view *v, const struct run *run, const struct cut_record *r, struct error *err)
{
	return make(v, "cut", run, r, err);
}

int recheck_view(
	struct view *v, const struct run *run, const struct cut_record *r, struct error *err)
{
	struct cut_record one = { 0 };
	size_t i = r->count;

	while (i && !r->cycles[i - 1].rechecks)
		i--;
	if (i)
		one = (struct cut_record){ &r->cycles[i - 1], 1 };
	return make(v, "recheck", run, &one, err);
}
