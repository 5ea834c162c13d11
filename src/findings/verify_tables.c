/* The tables of a verify. */
#include "findings/record_view.h"
#include "findings/verify_view.h"

#define PLAN(function, expression) COLUMN_VALUE(function, struct verify_record, r, expression)
#define SUM(function, expression) COLUMN_VALUE(function, struct verify_summary, r, expression)
#define CLASS(function, expression) COLUMN_VALUE(function, struct verify_class_row, r, expression)
#define RANGE(function, expression) COLUMN_VALUE(function, struct damage_range, r, expression)
#define FAILED(function, expression) \
	COLUMN_VALUE(function, struct verify_failure_row, r, expression)
#define STRETCH(function, expression) COLUMN_VALUE(function, struct verify_stretch, r, expression)

/* ---- what was asked for ---- */

PLAN(plan_start, value_bytes(r->plan.region_start))
PLAN(plan_bytes, value_bytes(r->plan.region_bytes))
PLAN(plan_writes, value_flag(r->plan.write))
PLAN(plan_reads, value_flag(r->plan.read))
PLAN(plan_order, value_words(r->plan.sequential && r->plan.random ? "sequential+random"
			     : r->plan.random                     ? "random"
								  : "sequential"))
PLAN(plan_generations, value_count(r->plan.rewrites))
PLAN(plan_places, value_if(r->plan.spot_count, value_count(r->plan.spot_count)))
PLAN(plan_give_up, value_count(r->plan.give_up_after))
PLAN(plan_kept, value_flag(r->plan.kept_data))

static const struct column plan[] = {
	{ "region_start_bytes", NULL, "where it begins", 0, false, NULL, plan_start },
	{ "region_bytes", NULL, "length of what may be touched", 0, false, NULL, plan_bytes },
	{ "writes", NULL, "whether it writes", 0, false, NULL, plan_writes },
	{ "reads", NULL, "whether it reads back and judges", 0, false, NULL, plan_reads },
	{ "order", NULL, "sequential, random or both, in turn", 0, true, NULL, plan_order },
	{ "generations", NULL, "how often all is written", 0, false, NULL, plan_generations },
	{ "places", NULL, "of --spot; null: the whole region", 0, false, NULL, plan_places },
	{ "give_up_after", NULL, "failed requests", 0, false, NULL, plan_give_up },
	{ "kept_data", NULL, "with --keep-data", 0, false, NULL, plan_kept },
};

const struct table_spec verify_plan_spec = { .key = "plan",
	.meaning = "what was asked for",
	.json = JSON_OBJECT,
	.row_bytes = sizeof(struct verify_record),
	TABLE_COLUMNS(plan) };

COLUMN_VALUE(size_bytes, uint64_t, r, value_bytes(*r))

static const struct column sizes[] = {
	{ "request_bytes", NULL, "size of one request", 0, false, NULL, size_bytes },
};

const struct table_spec verify_sizes_spec = { .key = "sizes",
	.meaning = "a request size that was asked for",
	.row_bytes = sizeof(uint64_t),
	TABLE_COLUMNS(sizes) };

/* ---- what was done ---- */

static uint64_t damaged_of(const struct verify_summary *s)
{
	return damage_totals_damaged(&s->record->state.totals);
}

static struct value rate(uint64_t bytes, uint64_t ns)
{
	return value_if(ns, value_rate((double)bytes * 1e9 / (double)(ns ? ns : 1)));
}

#define STATE r->record->state

SUM(sum_capacity, value_if(r->capacity_bytes, value_bytes_decimal(r->capacity_bytes)))
SUM(sum_outcome, value_text(STATE.outcome))
SUM(sum_block, value_if(STATE.totals.block_bytes, value_bytes(STATE.totals.block_bytes)))
SUM(sum_judged, value_count(STATE.totals.judged))
SUM(sum_distinct, value_count(r->distinct_blocks))
SUM(sum_damaged, value_count(damaged_of(r)))
SUM(sum_unlisted, value_count(STATE.totals.unlisted))
SUM(sum_first, value_if(damaged_of(r), value_count(STATE.totals.first_offset)))
SUM(sum_last, value_if(damaged_of(r), value_count(STATE.totals.last_offset)))
SUM(sum_written, value_bytes_decimal(STATE.written_bytes))
SUM(sum_write_time, value_ns(STATE.write_ns))
SUM(sum_flush_time, value_ns(STATE.flush_ns))
SUM(sum_write_rate, rate(STATE.written_bytes, STATE.write_ns + STATE.flush_ns))
SUM(sum_read, value_bytes_decimal(STATE.read_bytes))
SUM(sum_read_time, value_ns(STATE.read_ns))
SUM(sum_read_rate, rate(STATE.read_bytes, STATE.read_ns))
SUM(sum_flush_error, value_flag(STATE.flush_errno))
SUM(sum_device_errors, value_count(STATE.device_errors))

static const struct column summary[] = {
	{ "capacity_bytes", NULL,
		"what can really be stored, where that was shown: less than is stated, or all of "
		"it",
		0, false, NULL, sum_capacity },
	{ "outcome", NULL, "complete, interrupted, gave up, failed; running: it was stopped", 0,
		true, NULL, sum_outcome },
	{ "block_bytes", NULL, "of each block that is judged", 0, false, NULL, sum_block },
	{ "judged_blocks", NULL, "each time that one was judged", 0, false, NULL, sum_judged },
	{ "distinct_blocks", NULL, "the same, each block counted once", 0, false, NULL,
		sum_distinct },
	{ "damaged_blocks", NULL,
		"of those judged, each time; all that does not hold this run's data, also where "
		"the verdict is that nobody wrote it",
		0, false, NULL, sum_damaged },
	{ "unlisted_blocks", NULL, "damaged ones for which the list of ranges had no room", 0,
		false, NULL, sum_unlisted },
	{ "first_damaged_offset_bytes", NULL, "of the first damaged block; null: none", 0, false,
		NULL, sum_first },
	{ "last_damaged_offset_bytes", NULL, "of the last one", 0, false, NULL, sum_last },
	{ "written_bytes", NULL, "acknowledged", 0, false, NULL, sum_written },
	{ "write_seconds", NULL, "of the writes", 0, false, NULL, sum_write_time },
	{ "flush_seconds", NULL, "of the flushes after them", 0, false, NULL, sum_flush_time },
	{ "write_bytes_per_second", NULL, "with the flushes", 0, false, NULL, sum_write_rate },
	{ "read_bytes", NULL, "that came back", 0, false, NULL, sum_read },
	{ "read_seconds", NULL, "of the reads, judging included", 0, false, NULL, sum_read_time },
	{ "read_bytes_per_second", NULL, "of the same", 0, false, NULL, sum_read_rate },
	{ "flush_failed", NULL, "whether any flush did", 0, false, NULL, sum_flush_error },
	{ "device_errors", NULL,
		"errors and resets that the kernel counted and no request saw; 0: none, or it does "
		"not count them",
		0, false, NULL, sum_device_errors },
};

const struct table_spec verify_summary_spec = { .key = "summary",
	.meaning = "what was done, and what it shows of the capacity",
	.json = JSON_BARE,
	.row_bytes = sizeof(struct verify_summary),
	TABLE_COLUMNS(summary) };

/* ---- requests that failed ---- */

FAILED(failed_direction, value_word(run_direction_name(r->direction)))
FAILED(failed_requests, value_count(r->failures->requests))
FAILED(failed_first, value_count(r->failures->first_offset))
FAILED(failed_why, value_text(r->why))
FAILED(failed_retries, value_count(r->failures->retries))
FAILED(failed_blocks, value_count(r->failures->blocks))

static const struct column failures[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, failed_direction },
	{ "requests", NULL, "that failed at first", 0, false, NULL, failed_requests },
	{ "first_offset_bytes", NULL, "of the first of them", 0, false, NULL, failed_first },
	{ "error", NULL, "what the kernel said of that one", 0, true, NULL, failed_why },
	{ "retried_blocks", NULL, "tried again one by one", 0, false, NULL, failed_retries },
	{ "failed_blocks", NULL, "of those, failed again", 0, false, NULL, failed_blocks },
};

const struct table_spec verify_failures_spec = { .key = "failures",
	.meaning = "a direction in which requests failed",
	.row_bytes = sizeof(struct verify_failure_row),
	TABLE_COLUMNS(failures) };

/* ---- damage ---- */

CLASS(class_name, value_code(damage_row(r->class)->code))
CLASS(class_blocks, value_count(r->blocks))
CLASS(class_share, value_share_counted(r->blocks, r->judged))
CLASS(class_meaning, value_word(damage_row(r->class)->meaning))

static const struct column classes[] = {
	{ "class", "class", "of damage", 10, true, NULL, class_name },
	{ "blocks", "blocks", "that are so, each time one was judged", 10, false, NULL,
		class_blocks },
	{ "share", "of judged", "the same as a share of all judged", 10, false, NULL, class_share },
	{ "meaning", "what that is", "in words", 0, true, NULL, class_meaning },
};

const struct table_spec verify_classes_spec = { .key = "classes",
	.meaning = "a class of damage that was found",
	.row_bytes = sizeof(struct verify_class_row),
	TABLE_COLUMNS(classes) };

RANGE(range_class, value_code(damage_row(r->class)->code))
RANGE(range_offset, value_count(r->offset))
RANGE(range_length, value_bytes(r->bytes))
RANGE(range_generation, value_count(r->generation))
RANGE(range_detail, value_text(r->detail))

static const struct column damage[] = {
	{ "class", "class", "of damage; see below", 10, true, NULL, range_class },
	{ "offset_bytes", "at byte", "where on the target it begins", 14, false, NULL,
		range_offset },
	{ "length_bytes", "length", "of the range", 10, false, NULL, range_length },
	{ "generation", NULL, "the one that was expected, from 1", 0, false, NULL,
		range_generation },
	{ "evidence", "evidence of first block", "of the first block; null: none to name", 0, true,
		NULL, range_detail },
};

const struct table_spec verify_damage_spec = { .key = "damage",
	.meaning = "neighbouring blocks with the same damage, by offset",
	.csv = CSV_RUN,
	.row_bytes = sizeof(struct damage_range),
	TABLE_COLUMNS(damage) };

/* ---- the map ---- */

STRETCH(stretch_offset, value_count(r->offset))
STRETCH(stretch_length, value_bytes(r->bytes))
STRETCH(stretch_judged, value_count(r->judged))
STRETCH(stretch_damaged, value_count(r->damaged))
STRETCH(stretch_classes, value_words(r->classes))

static const struct column map[] = {
	{ "offset_bytes", NULL, "where it begins", 0, false, NULL, stretch_offset },
	{ "length_bytes", NULL, "of the stretch", 0, false, NULL, stretch_length },
	{ "judged_blocks", NULL, "in it", 0, false, NULL, stretch_judged },
	{ "damaged_blocks", NULL, "of those", 0, false, NULL, stretch_damaged },
	{ "classes", NULL, "of damage in it", 0, true, NULL, stretch_classes },
};

const struct table_spec verify_map_spec = { .key = "map",
	.meaning = "a stretch of the region, as fine as the map has it, with the same classes of "
		   "damage throughout",
	.row_bytes = sizeof(struct verify_stretch),
	TABLE_COLUMNS(map) };

/* ---- words ---- */

bool verify_class_word(size_t i, struct view_word *out)
{
	enum damage_class c = (enum damage_class)(DAMAGE_NONE + 1 + i);

	if (c >= DAMAGE_CLASSES)
		return false;
	*out = (struct view_word){ .key = "class",
		.word = damage_row(c)->code,
		.meaning = damage_row(c)->meaning,
		.note = damage_row(c)->cause };
	return true;
}
