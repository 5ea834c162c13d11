/* The tables of cuts. */
#include <string.h>

#include "findings/cut_view.h"
#include "findings/record_view.h"

#define SUM(function, expression) COLUMN_VALUE(function, struct cut_summary_row, r, expression)
#define BLOCKS(function, expression) COLUMN_VALUE(function, struct cut_blocks_row, r, expression)
#define KIND(function, expression) COLUMN_VALUE(function, struct cut_kind_row, r, expression)
#define CUT(function, expression) COLUMN_VALUE(function, struct cut_row, r, expression)
#define DAMAGE(function, expression) COLUMN_VALUE(function, struct cut_damage_row, r, expression)

/* ---- all cuts together ---- */

static const struct cut_cycle *first(const struct cut_summary_row *r)
{
	static const struct cut_cycle none;

	return r->record->count ? r->record->cycles : &none;
}

SUM(sum_start, value_if(r->record->count, value_bytes(first(r)->region_start)))
SUM(sum_region, value_if(r->record->count, value_bytes(first(r)->region_bytes)))
SUM(sum_block, value_if(r->record->count, value_bytes(first(r)->block_bytes)))
SUM(sum_promise,
	value_if(r->record->count, value_word(first(r)->by_answer ? "acknowledged" : "flushed")))
SUM(sum_cuts, value_count(r->totals.cuts))
SUM(sum_rechecked, value_count(r->totals.rechecked))
SUM(sum_tested, value_count(cut_totals_tested(&r->totals)))
SUM(sum_broken, value_count(r->totals.broken))
SUM(sum_promises, value_count(r->totals.promises))
SUM(sum_promises_broken, value_count(r->totals.promises_broken))
SUM(sum_old, value_count(r->totals.in_flight_old))
SUM(sum_new, value_count(r->totals.in_flight_new))
SUM(sum_forgotten, value_count(r->totals.forgotten))

static const struct column summary[] = {
	{ "region_start_bytes", NULL, "where the region begins", 0, false, NULL, sum_start },
	{ "region_bytes", NULL, "its length", 0, false, NULL, sum_region },
	{ "block_bytes", NULL, "of each block that is judged", 0, false, NULL, sum_block },
	{ "promised_by", NULL,
		"flushed: a write is promised when a flush or FUA covers it; acknowledged: when it "
		"is answered, because no write cache is claimed",
		0, true, NULL, sum_promise },
	{ "cut_count", NULL, "of the journal", 0, false, NULL, sum_cuts },
	{ "rechecked_cuts", NULL, "of those", 0, false, NULL, sum_rechecked },
	{ "tested_cuts", NULL, "of those, with at least one promise tested", 0, false, NULL,
		sum_tested },
	{ "broken_cuts", NULL, "of those, with anything broken", 0, false, NULL, sum_broken },
	{ "promises", NULL, "writes that were promised, and of which a block is left to tell", 0,
		false, NULL, sum_promises },
	{ "promises_broken", NULL, "of those", 0, false, NULL, sum_promises_broken },
	{ "in_flight_old_blocks", NULL, "written and not promised: they hold what was there before",
		0, false, NULL, sum_old },
	{ "in_flight_new_blocks", NULL, "the same: they hold what was written", 0, false, NULL,
		sum_new },
	{ "forgotten_blocks", NULL,
		"of the old ones those whose write was acknowledged, which write-behind allows", 0,
		false, NULL, sum_forgotten },
};

const struct table_spec cut_summary_spec = { .key = "summary",
	.meaning = "all cuts together; promises are those of the cuts that tested any",
	.json = JSON_BARE,
	.row_bytes = sizeof(struct cut_summary_row),
	TABLE_COLUMNS(summary) };

/* ---- blocks by what was owed ---- */

static const struct {
	const char *heading, *meaning;
} duties[RECHECK_DUTIES] = {
	[RECHECK_FLUSHED] = { "promised by a flush or FUA",
		"a flush or FUA promised it: it must be "
		"there, or something newer" },
	[RECHECK_ACKNOWLEDGED] = { "promised by an answer",
		"its write was answered, and no write cache is claimed: the same" },
	[RECHECK_IN_FLIGHT] = { "not promised",
		"written, and not promised: it must be whole, old or new" },
	[RECHECK_UNTOUCHED] = { "not written since the start",
		"it must be as the baseline left it" },
};

BLOCKS(blocks_heading, value_word(duties[r->duty].heading))
BLOCKS(blocks_duty, value_code(recheck_duty_name(r->duty)))
BLOCKS(blocks_count, value_count(r->blocks))
BLOCKS(blocks_good, value_count(r->blocks - r->broken))
BLOCKS(blocks_broken, value_count(r->broken))

static const struct column blocks[] = {
	{ NULL, "blocks", "by what was owed", 0, true, NULL, blocks_heading },
	{ "duty", NULL, "why a block must be what it is", 0, true, NULL, blocks_duty },
	{ "blocks", "judged", "how many", 0, false, NULL, blocks_count },
	{ "right_blocks", "right", "as they must be", 0, false, NULL, blocks_good },
	{ "broken_blocks", "broken", "not so", 0, false, NULL, blocks_broken },
};

const struct table_spec cut_blocks_spec = { .key = "blocks",
	.meaning = "blocks by what was owed, over all rechecked cuts",
	.row_bytes = sizeof(struct cut_blocks_row),
	TABLE_COLUMNS(blocks) };

KIND(kind_name, value_text(r->name))
KIND(kind_blocks, value_count(r->blocks))

static const struct column kinds[] = {
	{ "found", "found", "lost: an older write; else a class of damage as verify has them", 0,
		true, NULL, kind_name },
	{ "broken_blocks", "blocks", "how many", 0, false, NULL, kind_blocks },
};

const struct table_spec cut_kinds_spec = { .key = "found",
	.meaning = "broken blocks by what is there instead",
	.row_bytes = sizeof(struct cut_kind_row),
	TABLE_COLUMNS(kinds) };

/* ---- cut by cut ---- */

static const char *const verdict_words[] = {
	[RECHECK_KEPT] = "kept",
	[RECHECK_BROKEN] = "broken",
	[RECHECK_NOT_SHOWN] = "not-shown",
};

static const char *verdict_of(const struct cut_cycle *c)
{
	return c->rechecks ? verdict_words[recheck_conclude(&c->verdict)] : NULL;
}

#define FOUND(member) value_if(r->cycle->rechecks, value_count(r->cycle->verdict.member))

CUT(cut_number, value_count(r->cycle->number))
CUT(cut_verdict, value_code(verdict_of(r->cycle)))
CUT(cut_seed, value_count(r->cycle->seed))
CUT(cut_block, value_bytes(r->cycle->block_bytes))
CUT(cut_promise, value_word(r->cycle->by_answer ? "acknowledged" : "flushed"))
CUT(cut_start, value_bytes(r->cycle->region_start))
CUT(cut_region, value_bytes(r->cycle->region_bytes))
CUT(cut_writes, value_count(r->cycle->writes))
CUT(cut_bytes, value_bytes_decimal(r->cycle->bytes))
CUT(cut_throughs, value_count(r->cycle->throughs))
CUT(cut_flushes, value_count(r->cycle->flushes))
CUT(cut_time, value_ns(r->cycle->ns))
CUT(cut_slowest, value_if(r->cycle->flush_ns_max, value_ns(r->cycle->flush_ns_max)))
CUT(cut_risk_writes, value_count(r->cycle->writes_at_risk))
CUT(cut_risk_bytes, value_bytes_decimal(r->cycle->bytes_at_risk))
CUT(cut_stop, value_text(r->cycle->stop))
CUT(cut_ended, value_word(r->ended))
CUT(cut_rechecks, value_count(r->cycle->rechecks))
CUT(cut_promises, FOUND(promises))
CUT(cut_promises_broken, FOUND(promises_broken))
CUT(cut_flushed, FOUND(blocks[RECHECK_FLUSHED]))
CUT(cut_flushed_broken, FOUND(broken[RECHECK_FLUSHED]))
CUT(cut_answered, FOUND(blocks[RECHECK_ACKNOWLEDGED]))
CUT(cut_answered_broken, FOUND(broken[RECHECK_ACKNOWLEDGED]))
CUT(cut_in_flight, FOUND(blocks[RECHECK_IN_FLIGHT]))
CUT(cut_in_flight_broken, FOUND(broken[RECHECK_IN_FLIGHT]))
CUT(cut_untouched, FOUND(blocks[RECHECK_UNTOUCHED]))
CUT(cut_untouched_broken, FOUND(broken[RECHECK_UNTOUCHED]))

/* One ending for all of them needs no column. */
static bool ended_differently(const struct table *t)
{
	const struct cut_row *rows = t->rows;

	for (size_t i = 1; i < t->count; i++)
		if (strcmp(rows[i].ended, rows[0].ended) != 0)
			return true;
	return false;
}

static const struct column cuts[] = {
	{ "cut", "cut", "number of the cut", 0, false, NULL, cut_number },
	{ "verdict", "verdict", "null: not rechecked", 0, true, NULL, cut_verdict },
	{ "seed", NULL, "of its writes", 0, false, NULL, cut_seed },
	{ "block_bytes", NULL, "of a stamp", 0, false, NULL, cut_block },
	{ "promised_by", NULL, "flushed or acknowledged, as above", 0, true, NULL, cut_promise },
	{ "region_start_bytes", NULL, "where its region begins", 0, false, NULL, cut_start },
	{ "region_bytes", NULL, "length of its region", 0, false, NULL, cut_region },
	{ "writes", "writes", "that were answered, after the baseline", 0, false, NULL,
		cut_writes },
	{ "written_bytes", "written", "by those", 0, false, NULL, cut_bytes },
	{ "fua_writes", NULL, "of them with FUA", 0, false, NULL, cut_throughs },
	{ "flushes", "flushes", "that were answered", 0, false, NULL, cut_flushes },
	{ "seconds", "time", "from the end of the baseline to the last answer", 0, false, NULL,
		cut_time },
	{ "flush_max_seconds", NULL, "slowest flush", 0, false, NULL, cut_slowest },
	{ "risk_writes", NULL, "acknowledged but not flushed at the end", 0, false, NULL,
		cut_risk_writes },
	{ "risk_bytes", NULL, "of those", 0, false, NULL, cut_risk_bytes },
	{ "rechecks", NULL, "the last one counts", 0, false, NULL, cut_rechecks },
	{ "promises", "promises", "writes that were promised", 0, false, NULL, cut_promises },
	{ "promises_broken", "broken", "of those", 0, false, NULL, cut_promises_broken },
	{ "flushed_blocks", NULL, "promised by a flush or FUA", 0, false, NULL, cut_flushed },
	{ "flushed_broken_blocks", NULL, "of those", 0, false, NULL, cut_flushed_broken },
	{ "acknowledged_blocks", NULL, "promised by an answer", 0, false, NULL, cut_answered },
	{ "acknowledged_broken_blocks", NULL, "of those", 0, false, NULL, cut_answered_broken },
	{ "in_flight_blocks", NULL, "written and not promised", 0, false, NULL, cut_in_flight },
	{ "in_flight_broken_blocks", NULL, "of those", 0, false, NULL, cut_in_flight_broken },
	{ "untouched_blocks", NULL, "not written since the start", 0, false, NULL, cut_untouched },
	{ "untouched_broken_blocks", NULL, "of those", 0, false, NULL, cut_untouched_broken },
	{ "ended_by", NULL, "gone, time, interrupted, remains, failed; null: the journal just ends",
		0, true, NULL, cut_stop },
	{ "ended", "ended", "the same, in words", 0, true, ended_differently, cut_ended },
};

const struct table_spec cut_cuts_spec = { .key = "cuts",
	.meaning = "a cut, in their order",
	.csv = CSV_RUN_TARGET,
	.row_bytes = sizeof(struct cut_row),
	TABLE_COLUMNS(cuts) };

/* ---- where it broke ---- */

DAMAGE(damage_cut, value_count(r->cut))
DAMAGE(damage_at, value_count(r->damage->at))
DAMAGE(damage_bytes, value_bytes(r->damage->bytes))
DAMAGE(damage_duty, value_code(recheck_duty_name(r->damage->duty)))
DAMAGE(damage_kind, value_text(r->damage->kind))
DAMAGE(damage_age, value_if(r->damage->aged, value_ns(r->damage->ns_before)))
DAMAGE(damage_age_bytes, value_if(r->damage->aged, value_bytes_decimal(r->damage->bytes_before)))
DAMAGE(damage_expected, value_count(r->damage->expected))
DAMAGE(damage_found, value_if(r->damage->found, value_count(r->damage->found)))
DAMAGE(damage_detail, value_text(r->damage->detail))

/* A lost write has none but the numbers. */
static bool any_evidence(const struct table *t)
{
	const struct cut_damage_row *rows = t->rows;

	for (size_t i = 0; i < t->count; i++)
		if (*rows[i].damage->detail)
			return true;
	return false;
}

static const struct column damage[] = {
	{ "cut", "cut", "number of the cut", 0, false, NULL, damage_cut },
	{ "offset_bytes", "at byte", "where the range begins", 0, false, NULL, damage_at },
	{ "length_bytes", "length", "of the range", 0, false, NULL, damage_bytes },
	{ "duty", "promise", "why it must be what it is", 0, true, NULL, damage_duty },
	{ "found", "found", "what is there instead", 0, true, NULL, damage_kind },
	{ "expected_write", "owed", "the write that was owed at least; 1: the baseline", 0, false,
		NULL, damage_expected },
	{ "found_write", "there", "the older write that is there", 0, false, NULL, damage_found },
	{ "before_seconds", "before", "acknowledged so long before the last answer", 0, false, NULL,
		damage_age },
	{ "before_bytes", NULL, "acknowledged since", 0, false, NULL, damage_age_bytes },
	{ "evidence", "evidence", "of the first block", 0, true, any_evidence, damage_detail },
};

const struct table_spec cut_damage_spec = { .key = "damage",
	.meaning = "neighbouring blocks that are broken alike; as far as the record keeps them",
	.row_bytes = sizeof(struct cut_damage_row),
	TABLE_COLUMNS(damage) };

/* ---- words ---- */

bool cut_word(size_t i, struct view_word *out)
{
	static const char *const meanings[] = {
		[RECHECK_KEPT] = "every promise made before the cut was kept",
		[RECHECK_BROKEN] = "something is broken",
		[RECHECK_NOT_SHOWN] = "nothing is broken, and nothing was tested",
	};
	enum { VERDICTS = sizeof meanings / sizeof *meanings };

	if (i < VERDICTS)
		*out = (struct view_word){ "verdict", verdict_words[i], meanings[i], "" };
	else if (i - VERDICTS < RECHECK_DUTIES)
		*out = (struct view_word){ "duty",
			recheck_duty_name((enum recheck_duty)(i - VERDICTS)),
			duties[i - VERDICTS].meaning, "" };
	return i < VERDICTS + RECHECK_DUTIES;
}
