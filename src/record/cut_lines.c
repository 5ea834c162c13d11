/* Cuts and rechecks as lines. */
#include "record/cut_lines.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "record/field.h"
#include "record/file.h"
#include "record/line.h"

static const char *const ending_names[] = {
	[CUT_GONE] = "gone",
	[CUT_TIME_UP] = "time",
	[CUT_INTERRUPTED] = "interrupted",
	[CUT_REMAINS] = "remains",
	[CUT_FAILED] = "failed",
};

const char *cut_ending_name(enum cut_ending e)
{
	return ending_names[e];
}

static const char *const duty_words[] = {
	[RECHECK_FLUSHED] = "flushed",
	[RECHECK_ACKNOWLEDGED] = "acknowledged",
	[RECHECK_IN_FLIGHT] = "in-flight",
	[RECHECK_UNTOUCHED] = "untouched",
	[RECHECK_DUTIES] = NULL,
};

const char *recheck_duty_name(enum recheck_duty d)
{
	return duty_words[d];
}

uint64_t recheck_broken(const struct recheck_result *r)
{
	uint64_t n = 0;

	for (int d = 0; d < RECHECK_DUTIES; d++)
		n += r->broken[d];
	return n;
}

bool recheck_tests_nothing(const struct recheck_result *r)
{
	return !r->promises || (r->acknowledged_counts && r->unflushed_known && !r->unflushed);
}

enum recheck_conclusion recheck_conclude(const struct recheck_result *r)
{
	if (recheck_broken(r))
		return RECHECK_BROKEN;
	return r->uncut || r->late || r->unended || r->beyond || recheck_tests_nothing(r)
		       ? RECHECK_NOT_SHOWN
		       : RECHECK_KEPT;
}

void recheck_result_release(struct recheck_result *r)
{
	free(r->damages);
	r->damages = NULL;
	r->damage_count = 0;
}

/* ---- broken blocks by what was found instead: one key each, kind-NAME=BLOCKS ---- */

static const char kind_prefix[] = "kind-";

static void put_kinds(struct text *t, const struct recheck_result *r)
{
	for (uint32_t i = 0; i < r->kind_count; i++)
		text_addf(t, " %s%s=%llu", kind_prefix, r->kinds[i].name,
			(unsigned long long)r->kinds[i].blocks);
}

static void take_kinds(struct recheck_result *out, const struct line *l)
{
	for (const char *f = l->fields; *f && out->kind_count < RECHECK_KINDS_MAX;
		f += strlen(f) + 1) {
		size_t name = strcspn(f, "=");
		char key[sizeof kind_prefix + 16];

		if (strncmp(f, kind_prefix, sizeof kind_prefix - 1) != 0 || name >= sizeof key)
			continue;
		text_copy(key, name + 1, f);
		text_copy(out->kinds[out->kind_count].name, sizeof out->kinds->name,
			key + sizeof kind_prefix - 1);
		if (line_get_u64(l, key, &out->kinds[out->kind_count].blocks))
			out->kind_count++;
	}
}

/* ---- the lines, described once ---- */

#define HERE struct recheck_result
#define DUTY(name, duty, says) \
	FIELD(name "_blocks", blocks[duty], says), FIELD(name "_broken", broken[duty], "of these")
static const struct field recheck_fields[] = {
	FIELD("cycle", cycle, "number of the cut"),
	FIELD("seed", seed, ""),
	FIELD("block_bytes", block_bytes, "of a stamp"),
	FIELD("acknowledged_counts", acknowledged_counts,
		"0 or 1: every answered write is a promise"),
	DUTY("flushed", RECHECK_FLUSHED, "blocks promised by a flush or by FUA"),
	DUTY("acknowledged", RECHECK_ACKNOWLEDGED, "blocks promised by an answer"),
	DUTY("in_flight", RECHECK_IN_FLIGHT, "blocks written since, not promised"),
	DUTY("untouched", RECHECK_UNTOUCHED, "blocks never written after the baseline"),
	FIELD("in_flight_old", in_flight_old, "blocks"),
	FIELD("in_flight_new", in_flight_new, "blocks"),
	FIELD("forgotten", forgotten, "blocks acknowledged but not promised, and gone: allowed"),
	FIELD("order_kept", order_kept,
		"0 or 1: of these, none outlived one that was written before it"),
	FIELD("promises", promises, "writes of which at least one block is left to tell"),
	FIELD("promises_broken", promises_broken, ""),
	FIELD_WHEN("unflushed_blocks", unflushed, unflushed_known,
		"blocks that an answer alone had promised, as no flush came after it; those that "
		"were just being written again count too"),
	FIELD_WHEN("fua_alone_blocks", through_alone, through_alone_known,
		"blocks that a write with FUA alone had promised, as no flush came after it; those "
		"that were just being written again count too"),
	FIELD_AS("seconds_before_min", FIELD_IS_NS, ns_before_min,
		"when broken promises were acknowledged, back from the last answer; this "
		"and the next three are there when known",
		FIELD_IF(ages_known)),
	FIELD_AS("seconds_before_max", FIELD_IS_NS, ns_before_max, "", FIELD_IF(ages_known)),
	FIELD_WHEN("bytes_before_min", bytes_before_min, ages_known, "acknowledged since"),
	FIELD_WHEN("bytes_before_max", bytes_before_max, ages_known, ""),
	FIELD("complete", complete, "0 or 1: every block was read"),
	FIELD("uncut", uncut,
		"1: nothing was cut as far as the host can tell, because the target answered to "
		"the end and was not unplugged since; no promise counts as tested"),
	FIELD_WHEN("late", late, late_known,
		"1: the cut came after writing had ended, at a moment that nobody knows; no "
		"promise counts as tested"),
	FIELD("unended", unended, "1: the cut has no stop line, so promises may be missing"),
	FIELD("beyond", beyond,
		"blocks with a later write of this seed than the journal announced: promises may "
		"be missing"),
	FIELD("damages_more", damages_more, "ranges beyond those listed"),
};
#undef DUTY
#undef HERE
const struct line_kind kind_recheck = LINE_KIND("recheck", recheck_fields,
	"Appended by recheck: blocks by what was owed, and how many of them are broken. Broken "
	"blocks by what was found instead are in keys of their own, kind-NAME. The last of "
	"several lines for one cut counts.");

#define HERE struct recheck_damage
static const struct field damage_fields[] = {
	FIELD("offset_bytes", at, "bytes from the start of the target"),
	FIELD("length_bytes", bytes, ""),
	FIELD_AS("duty", FIELD_IS_WORD, duty, "flushed, acknowledged, in-flight or untouched",
		.words = duty_words),
	FIELD("kind", kind, "what was found instead: lost, torn, blank, ..."),
	FIELD("detail", detail, "the evidence of the first block, in words"),
	FIELD("expected", expected, "the generation that was owed at least"),
	FIELD("found", found, "the older one that is there instead; 0: none"),
	FIELD_AS("seconds_before", FIELD_IS_NS, ns_before, "as in recheck", FIELD_IF(aged)),
	FIELD_WHEN("bytes_before", bytes_before, aged, ""),
};
#undef HERE
const struct line_kind kind_damage = LINE_KIND("damage", damage_fields,
	"Neighbouring broken blocks with the same finding, after their recheck; 1000 at most.");

enum { DAMAGE_DUTY = 2 }; /* index in damage_fields */

/* ---- writing ---- */

int recheck_write(struct record_writer *w, const struct recheck_result *r, struct error *err)
{
	record_begin(w, kind_recheck.name);
	line_put_fields(&w->line, &kind_recheck, r);
	put_kinds(&w->line, r);
	if (record_commit(w, false, err) < 0)
		return -1;
	for (size_t i = 0; i < r->damage_count; i++)
		if (record_write(w, &kind_damage, &r->damages[i], err) < 0)
			return -1;
	return 0;
}

/* ---- reading ---- */

/* The counts of a damaged writer must not turn into a huge number of good blocks. */
static void make_sound(struct recheck_result *r)
{
	for (int d = 0; d < RECHECK_DUTIES; d++)
		if (r->broken[d] > r->blocks[d])
			r->blocks[d] = r->broken[d];
	if (r->promises_broken > r->promises)
		r->promises = r->promises_broken;
}

void recheck_take(struct recheck_result *out, const struct line *l)
{
	*out = (struct recheck_result){ 0 };
	line_take_fields(l, &kind_recheck, out);
	make_sound(out);
	take_kinds(out, l);
}

bool recheck_take_damage(struct recheck_damage *out, const struct line *l)
{
	*out = (struct recheck_damage){ 0 };
	return line_take_fields(l, &kind_damage, out) >> DAMAGE_DUTY & 1;
}
