/* The lines of a verify run, both ways. Fields of the state are described once, in a table. */
#include "record/verify.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/file.h"

/* Every number of the state that is a plain uint64_t. */
#define FIELD(name)                                               \
	{                                                         \
#name, offsetof(struct verify_record_state, name) \
	}
static const struct field {
	const char *key;
	size_t offset;
} fields[] = {
	FIELD(pass),
	FIELD(next),
	FIELD(passes),
	FIELD(reads.requests),
	FIELD(reads.retries),
	FIELD(reads.blocks),
	FIELD(reads.first_offset),
	FIELD(reads.first_errno),
	FIELD(writes.requests),
	FIELD(writes.retries),
	FIELD(writes.blocks),
	FIELD(writes.first_offset),
	FIELD(writes.first_errno),
	FIELD(flush_errno),
	FIELD(written_bytes),
	FIELD(read_bytes),
	FIELD(write_ns),
	FIELD(flush_ns),
	FIELD(read_ns),
	FIELD(device_errors),
	FIELD(range_count),
	FIELD(totals.region_start),
	FIELD(totals.region_bytes),
	FIELD(totals.judged),
	FIELD(totals.first_offset),
	FIELD(totals.last_offset),
	FIELD(totals.unlisted),
	FIELD(totals.request_first),
	FIELD(totals.request_middle),
	FIELD(totals.request_last),
	FIELD(totals.requests_damaged),
	FIELD(totals.requests_whole),
	FIELD(totals.bit_lowest),
	FIELD(totals.bit_highest),
	FIELD(totals.stuck_low),
	FIELD(totals.stuck_high),
	FIELD(totals.distance_gcd),
	FIELD(totals.distance_min),
	FIELD(totals.distance_max),
	FIELD(totals.found_ahead),
	FIELD(totals.other_run),
	FIELD(totals.other_seed),
	FIELD(totals.cell_bytes),
};
#undef FIELD

enum { FIELDS = sizeof fields / sizeof *fields };

static void put_list(struct text *t, const char *key, const uint64_t *list, size_t count)
{
	text_addf(t, " %s=", key);
	for (size_t i = 0; i < count; i++)
		text_addf(t, "%s%llu", i ? "," : "", (unsigned long long)list[i]);
}

/* How many there were, at most room. */
static size_t get_list(const struct line *l, const char *key, uint64_t *list, size_t room)
{
	const char *at = line_get_raw(l, key);
	size_t n = 0;

	while (at && *at && n < room) {
		char one[24];
		size_t length = strcspn(at, ",");

		if (length >= sizeof one)
			break;
		memcpy(one, at, length);
		one[length] = 0;
		if (number_parse_u64(one, &list[n]) < 0)
			break;
		n++;
		at += length + (at[length] == ',');
	}
	return n;
}

int verify_write_plan(
	struct record_writer *w, const struct verify_record_plan *p, struct error *err)
{
	struct text *t = &w->line;

	record_begin(w, "verify-plan");
	line_put_u64(t, "region_start", p->region_start);
	line_put_u64(t, "region_bytes", p->region_bytes);
	put_list(t, "sizes", p->sizes, p->size_count);
	line_put_u64(t, "sequential", p->sequential);
	line_put_u64(t, "random", p->random);
	line_put_u64(t, "generations", p->rewrites);
	line_put_u64(t, "write", p->write);
	line_put_u64(t, "read", p->read);
	put_list(t, "spots", p->spots, p->spot_count);
	line_put_u64(t, "give_up_after", p->give_up_after);
	line_put_u64(t, "kept_data", p->kept_data);
	return record_commit(w, true, err);
}

int verify_write_range(struct record_writer *w, const struct damage_range *r, struct error *err)
{
	record_begin(w, "verify-range");
	line_put_text(&w->line, "class", damage_class_name(r->class));
	line_put_u64(&w->line, "offset", r->offset);
	line_put_u64(&w->line, "bytes", r->bytes);
	line_put_u64(&w->line, "generation", r->generation);
	line_put_text(&w->line, "detail", r->detail);
	return record_commit(w, false, err);
}

/* Runs of equal cells as COUNTxJUDGED:DAMAGED:CLASSES, so that a clean map takes a few bytes. */
static void put_map(struct text *t, const struct damage_totals *d)
{
	text_adds(t, " map=");
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

static void get_map(const struct line *l, struct damage_totals *d)
{
	const char *at = line_get_raw(l, "map");
	size_t i = 0;

	while (at && *at && i < DAMAGE_MAP_CELLS) {
		char *end;
		unsigned long long n = strtoull(at, &end, 10), judged, damaged, classes;

		if (*end != 'x')
			return;
		judged = strtoull(end + 1, &end, 10);
		if (*end != ':')
			return;
		damaged = strtoull(end + 1, &end, 10);
		if (*end != ':')
			return;
		classes = strtoull(end + 1, &end, 10);
		for (; n && i < DAMAGE_MAP_CELLS; n--, i++) {
			d->cell_judged[i] = judged;
			d->cell_damaged[i] = damaged;
			d->cell_classes[i] = (uint32_t)classes;
		}
		at = end + (*end == ',');
	}
}

int verify_write_state(
	struct record_writer *w, const struct verify_record_state *s, struct error *err)
{
	const struct damage_totals *d = &s->totals;
	struct text *t = &w->line;

	record_begin(w, "verify-state");
	line_put_text(t, "outcome", s->outcome);
	line_put_u64(t, "reading", s->reading);
	for (size_t i = 0; i < FIELDS; i++)
		line_put_u64(t, fields[i].key,
			*(const uint64_t *)(const void *)((const char *)s + fields[i].offset));
	line_put_u64(t, "block_bytes", d->block_bytes);
	line_put_i64(t, "slip_min", d->slip_min);
	line_put_i64(t, "slip_max", d->slip_max);
	put_list(t, "classes", d->by_class, DAMAGE_CLASSES);
	put_list(t, "bits_set", d->set_at, 8);
	put_list(t, "bits_cleared", d->cleared_at, 8);
	put_map(t, d);
	return record_commit(w, true, err);
}

int verify_write_resume(struct record_writer *w, struct error *err)
{
	record_begin(w, "verify-resume");
	return record_commit(w, true, err);
}

/* ---- reading ---- */

static bool get_bool(const struct line *l, const char *key)
{
	uint64_t n = 0;

	return line_get_u64(l, key, &n) && n != 0;
}

static void take_plan(struct verify_record *v, const struct line *l)
{
	struct verify_record_plan *p = &v->plan;

	*p = (struct verify_record_plan){ 0 };
	line_get_u64(l, "region_start", &p->region_start);
	line_get_u64(l, "region_bytes", &p->region_bytes);
	p->size_count = get_list(l, "sizes", p->sizes, VERIFY_RECORD_SIZES);
	p->sequential = get_bool(l, "sequential");
	p->random = get_bool(l, "random");
	line_get_u64(l, "generations", &p->rewrites);
	p->write = get_bool(l, "write");
	p->read = get_bool(l, "read");
	p->spot_count = get_list(l, "spots", p->spots, VERIFY_RECORD_SPOTS);
	line_get_u64(l, "give_up_after", &p->give_up_after);
	p->kept_data = get_bool(l, "kept_data");
	v->planned = true;
}

static void take_state(struct verify_record *v, const struct line *l)
{
	struct verify_record_state *s = &v->state;
	struct damage_totals *d = &s->totals;
	uint64_t block = 0;

	*s = (struct verify_record_state){ 0 };
	line_get_text(l, "outcome", s->outcome, sizeof s->outcome);
	s->reading = get_bool(l, "reading");
	for (size_t i = 0; i < FIELDS; i++)
		line_get_u64(l, fields[i].key, (uint64_t *)(void *)((char *)s + fields[i].offset));
	if (line_get_u64(l, "block_bytes", &block) && block <= UINT32_MAX)
		d->block_bytes = (uint32_t)block;
	line_get_i64(l, "slip_min", &d->slip_min);
	line_get_i64(l, "slip_max", &d->slip_max);
	get_list(l, "classes", d->by_class, DAMAGE_CLASSES);
	get_list(l, "bits_set", d->set_at, 8);
	get_list(l, "bits_cleared", d->cleared_at, 8);
	get_map(l, d);
	v->stated = true;
}

static int take_range(struct verify_record *v, const struct line *l, struct error *err)
{
	char class[32] = "";
	struct damage_range *r;
	uint64_t generation = 0;
	int c;

	if (v->range_count == 0 || number_is_power_of_two(v->range_count)) {
		size_t room = v->range_count ? v->range_count * 2 : 1;
		struct damage_range *grown = reallocarray(v->ranges, room, sizeof *grown);

		if (!grown)
			return error_set(
				err, ERROR_IO, "out of memory for the ranges of '%s'", v->run.path);
		v->ranges = grown;
	}
	line_get_text(l, "class", class, sizeof class);
	c = damage_class_parse(class);
	if (c <= DAMAGE_NONE)
		return 0; /* of a newer version */
	r = &v->ranges[v->range_count++];
	*r = (struct damage_range){ .class = (enum damage_class)c };
	line_get_u64(l, "offset", &r->offset);
	line_get_u64(l, "bytes", &r->bytes);
	line_get_u64(l, "generation", &generation);
	r->generation = (uint32_t)generation;
	line_get_text(l, "detail", r->detail, sizeof r->detail);
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

	if (!strcmp(l->kind, "verify-range"))
		return take_range(v, l, err);
	if (!strcmp(l->kind, "verify-plan"))
		take_plan(v, l);
	else if (!strcmp(l->kind, "verify-state"))
		take_state(v, l);
	else if (!strcmp(l->kind, "verify-resume")) {
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
		rc = error_set(err, ERROR_USAGE, "'%s' is not the record of a verify run", path);
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
