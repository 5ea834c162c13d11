/* The lines of a verify run. */
#include "record/verify_lines.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/field.h"
#include "record/file.h"
#include "record/line.h"

/* A range with its class in words. */
struct range_line {
	char class[32];
	struct damage_range range;
};

/* ---- the map: runs of equal cells as COUNTxJUDGED:DAMAGED:CLASSES, so that a clean one takes a few bytes ---- */

static void put_map(struct text *t, const void *from)
{
	const struct damage_totals *d = &((const struct verify_record_state *)from)->totals;

	for (size_t i = 0, n; i < DAMAGE_MAP_CELLS; i += n) {
		for (n = 1;
			i + n < DAMAGE_MAP_CELLS && d->cell_judged[i + n] == d->cell_judged[i] &&
			d->cell_damaged[i + n] == d->cell_damaged[i] &&
			d->cell_classes[i + n] == d->cell_classes[i];
			n++)
			;
		text_addf(t, "%s%zux%llu:%llu:%u", i ? "," : "", n,
			(unsigned long long)d->cell_judged[i],
			(unsigned long long)d->cell_damaged[i], d->cell_classes[i]);
	}
}

/* A number at *at and what ends it; *at moves behind both. The end of the value will do for a comma. */
static bool next_number(const char **at, char ending, unsigned long long *out)
{
	char *end;

	*out = strtoull(*at, &end, 10);
	if (*end != ending && !(ending == ',' && !*end))
		return false;
	*at = end + (*end != 0);
	return true;
}

static bool take_map(const char *at, void *to)
{
	struct damage_totals *d = &((struct verify_record_state *)to)->totals;
	size_t i = 0;

	while (*at && i < DAMAGE_MAP_CELLS) {
		unsigned long long n, judged, damaged, classes;

		if (!next_number(&at, 'x', &n) || !next_number(&at, ':', &judged) ||
			!next_number(&at, ':', &damaged) || !next_number(&at, ',', &classes))
			return false;
		for (; n && i < DAMAGE_MAP_CELLS; n--, i++) {
			d->cell_judged[i] = judged;
			d->cell_damaged[i] = damaged;
			d->cell_classes[i] = (uint32_t)classes;
		}
	}
	return true;
}

/* ---- the lines, described once ---- */

#define HERE struct verify_record_plan
static const struct field plan_fields[] = {
	FIELD("region_start", region_start, "bytes from the start of the target"),
	FIELD("region_bytes", region_bytes, ""),
	FIELD_AS("sizes", FIELD_IS_LIST, sizes, "of requests, in bytes", FIELD_COUNT(size_count)),
	FIELD("sequential", sequential, "0 or 1"),
	FIELD("random", random, "0 or 1"),
	FIELD("generations", rewrites, "how often each size and order writes everything"),
	FIELD("write", write, "0 or 1"),
	FIELD("read", read, "0 or 1"),
	FIELD_AS("spots", FIELD_IS_LIST, spots,
		"offsets of single requests, at most 4096; empty: the whole region",
		FIELD_COUNT(spot_count)),
	FIELD("give_up_after", give_up_after, "failed requests"),
	FIELD("kept_data", kept_data, "0 or 1: the target's own data was put back"),
};
#undef HERE
const struct line_kind kind_verify_plan =
	LINE_KIND("verify-plan", plan_fields, "What was asked for.", .synced = true);

#define HERE struct range_line
static const struct field range_fields[] = {
	FIELD("class", class, "see blkassay-stamp(5)"),
	FIELD("offset_bytes", range.offset, "bytes from the start of the target"),
	FIELD("length_bytes", range.bytes, ""),
	FIELD("generation", range.generation, "the one expected"),
	FIELD("detail", range.detail, "the evidence of the first block, in words"),
};
#undef HERE
const struct line_kind kind_verify_range = LINE_KIND("verify-range", range_fields,
	"Neighbouring blocks with the same damage; counts once a verify-state has followed.");

#define HERE struct verify_record_state
static const struct field state_fields[] = {
	FIELD("outcome", outcome, "running, complete, interrupted, gave up or failed"),
	FIELD("reading", reading, "0 or 1: else it writes"),
	FIELD("pass", pass, "from 0"),
	FIELD("next", next, "the first request of the pass not done"),
	FIELD("passes", passes, "in all"),
	FIELD("reads.requests", reads.requests, "that failed at first"),
	FIELD("reads.retries", reads.retries, "blocks tried again on their own"),
	FIELD("reads.blocks", reads.blocks, "that failed again"),
	FIELD("reads.first_offset", reads.first_offset, "of the first failed request"),
	FIELD("reads.first_errno", reads.first_errno, "0: it ended early"),
	FIELD("writes.requests", writes.requests, "these five as for reads"),
	FIELD("writes.retries", writes.retries, ""),
	FIELD("writes.blocks", writes.blocks, ""),
	FIELD("writes.first_offset", writes.first_offset, ""),
	FIELD("writes.first_errno", writes.first_errno, ""),
	FIELD("flush_errno", flush_errno, "of the first flush that failed; 0: none"),
	FIELD("written_bytes", written_bytes, "acknowledged"),
	FIELD("read_bytes", read_bytes, "that came back"),
	FIELD_NS("write_seconds", write_ns, "spent writing, without flushes"),
	FIELD_NS("flush_seconds", flush_ns, "spent flushing"),
	FIELD_NS("read_seconds", read_ns, "spent reading and judging"),
	FIELD("device_errors", device_errors,
		"errors and resets of the device that the kernel counted in phases in which no "
		"request failed"),
	FIELD("places.tried", places_tried,
		"misplaced blocks that were written anew at the end, and then put back"),
	FIELD("places.same", places_same,
		"of these: the place that they had seemed to be read the same then"),
	FIELD("places.apart", places_apart, "of these: that place was left alone by it"),
	FIELD("range_count", range_count, "ranges before this line that hold"),
	FIELD("totals.region_start", totals.region_start, ""),
	FIELD("totals.region_bytes", totals.region_bytes, ""),
	FIELD("totals.judged", totals.judged, "blocks, each time one was judged"),
	FIELD("totals.first_offset", totals.first_offset, "of damaged blocks"),
	FIELD("totals.last_offset", totals.last_offset, ""),
	FIELD("totals.unlisted", totals.unlisted, "damaged blocks without a range"),
	FIELD("totals.request_first", totals.request_first,
		"damaged blocks that were the first of their request"),
	FIELD("totals.request_middle", totals.request_middle, ""),
	FIELD("totals.request_last", totals.request_last, ""),
	FIELD("totals.requests_damaged", totals.requests_damaged, ""),
	FIELD("totals.requests_whole", totals.requests_whole, "all blocks of them damaged"),
	FIELD("totals.bit_lowest", totals.bit_lowest, "of bit errors: byte * 8 + bit in the block"),
	FIELD("totals.bit_highest", totals.bit_highest, ""),
	FIELD("totals.stuck_low", totals.stuck_low, "mask of bits stuck in every block with some"),
	FIELD("totals.stuck_high", totals.stuck_high, ""),
	FIELD("totals.distance_gcd", totals.distance_gcd,
		"bytes between the place of a misplaced block and its own: common divisor"),
	FIELD("totals.distance_min", totals.distance_min, ""),
	FIELD("totals.distance_max", totals.distance_max, ""),
	FIELD("totals.found_ahead", totals.found_ahead, "misplaced blocks from further on"),
	FIELD("totals.source_first", totals.source_first,
		"where misplaced blocks belong: the first of these places"),
	FIELD("totals.source_last", totals.source_last, "and the last"),
	FIELD("totals.other_run", totals.other_run, "stale blocks of other runs"),
	FIELD("totals.other_seed", totals.other_seed, "of the first of these"),
	FIELD("totals.cell_bytes", totals.cell_bytes, "of a cell of the map"),
	FIELD("block_bytes", totals.block_bytes, "of a stamp"),
	FIELD("slip_min", totals.slip_min, "bytes by which shifted blocks came late"),
	FIELD("slip_max", totals.slip_max, ""),
	FIELD_AS("classes", FIELD_IS_LIST, totals.by_class,
		"blocks: right, unreadable, blank, stale, misplaced, torn, shifted, bit error, "
		"foreign"),
	FIELD_AS("bits_set", FIELD_IS_LIST, totals.set_at, "flips from 0 to 1, by bit of the byte"),
	FIELD_AS("bits_cleared", FIELD_IS_LIST, totals.cleared_at, "flips from 1 to 0"),
	FIELD_AS("map", FIELD_IS_SPECIAL, totals.cell_judged,
		"640 cells as runs CELLSxJUDGED:DAMAGED:CLASSES, parted by commas", .put = put_map,
		.take = take_map),
};
#undef HERE
const struct line_kind kind_verify_state = LINE_KIND("verify-state", state_fields,
	"How far the run is and all it has counted; the last one holds.", .synced = true);

const struct line_kind kind_verify_resume = {
	.name = "verify-resume", .meaning = "The run went on after the last state.", .synced = true
};

/* ---- writing ---- */

int verify_write_plan(
	struct record_writer *w, const struct verify_record_plan *p, struct error *err)
{
	return record_write(w, &kind_verify_plan, p, err);
}

int verify_write_range(struct record_writer *w, const struct damage_range *r, struct error *err)
{
	struct range_line line = { .range = *r };

	text_copy(line.class, sizeof line.class, damage_class_name(r->class));
	return record_write(w, &kind_verify_range, &line, err);
}

int verify_write_state(
	struct record_writer *w, const struct verify_record_state *s, struct error *err)
{
	return record_write(w, &kind_verify_state, s, err);
}

int verify_write_resume(struct record_writer *w, struct error *err)
{
	return record_write(w, &kind_verify_resume, NULL, err);
}

/* ---- reading ---- */

static void take_plan(struct verify_record *v, const struct line *l)
{
	v->plan = (struct verify_record_plan){ 0 };
	line_take_fields(l, &kind_verify_plan, &v->plan);
	v->planned = true;
}

static void take_state(struct verify_record *v, const struct line *l)
{
	v->state = (struct verify_record_state){ 0 };
	line_take_fields(l, &kind_verify_state, &v->state);
	v->stated = true;
}

static int take_range(struct verify_record *v, const struct line *l, struct error *err)
{
	struct range_line line = { .class = "" };
	int c;

	if (v->range_count == 0 || number_is_power_of_two(v->range_count)) {
		size_t room = v->range_count ? v->range_count * 2 : 1;
		struct damage_range *grown = reallocarray(v->ranges, room, sizeof *grown);

		if (!grown)
			return error_set(
				err, ERROR_IO, "out of memory for the ranges of '%s'", v->run.path);
		v->ranges = grown;
	}
	line_take_fields(l, &kind_verify_range, &line);
	c = damage_class_parse(line.class);
	if (c <= DAMAGE_NONE)
		return 0; /* of a newer version */
	line.range.class = (enum damage_class)c;
	v->ranges[v->range_count++] = line.range;
	return 0;
}

/* Ranges written after the last state were not counted by it, and will be found again. */
static void drop_uncounted(struct verify_record *v)
{
	uint64_t hold = v->stated ? v->state.range_count : 0;

	if (v->range_count > hold)
		v->range_count = (size_t)hold;
}

static int take_line(struct verify_record *v, const struct line *l, struct error *err)
{
	struct error run_err = { 0 };

	if (!strcmp(l->kind, kind_verify_range.name))
		return take_range(v, l, err);
	if (!strcmp(l->kind, kind_verify_plan.name))
		take_plan(v, l);
	else if (!strcmp(l->kind, kind_verify_state.name))
		take_state(v, l);
	else if (!strcmp(l->kind, kind_verify_resume.name)) {
		drop_uncounted(v);
		v->run.end = (struct run_end){ 0 };
	} else {
		run_take_line(&v->run, l, &run_err);
	}
	if (run_err.kind != ERROR_NONE) {
		*err = run_err;
		return -1;
	}
	return 0;
}

int verify_load(struct verify_record *v, const char *path, struct error *err)
{
	struct record_reader reader;
	struct line line;
	int rc;

	*v = (struct verify_record){ 0 };
	text_copy(v->run.path, sizeof v->run.path, path);
	if (record_open(&reader, path, err) < 0)
		return -1;
	while ((rc = record_next(&reader, &line, err)) > 0) {
		rc = take_line(v, &line, err);
		if (rc < 0)
			break;
	}
	run_note_reader(&v->run, &reader);
	record_reader_release(&reader);
	drop_uncounted(v);
	if (rc == 0 && strcmp(v->run.head.kind, "verify") != 0)
		rc = error_set(err, ERROR_USAGE, "'%s' is %s, not a verify run", path,
			run_kind_words(v->run.head.kind));
	if (rc < 0)
		verify_record_release(v);
	return rc;
}

void verify_record_release(struct verify_record *v)
{
	run_release(&v->run);
	free(v->ranges);
	v->ranges = NULL;
	v->range_count = 0;
}
