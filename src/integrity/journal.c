/* The journal of a cut: lines, and what they promise for each block. */
#include "integrity/journal.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "integrity/stamp.h"
#include "record/announced.h"
#include "record/field.h"
#include "record/journal_lines.h"
#include "record/line.h"

static const char *const promise_names[] = { "flushed", "acknowledged" };

bool journal_plug_is_same(const struct journal_plug *a, const struct journal_plug *b)
{
	return a->disk_sequence && a->disk_sequence == b->disk_sequence && *a->boot &&
	       !strcmp(a->boot, b->boot);
}

int journal_write_cycle(
	struct record_writer *w, const struct journal_cycle *c, uint64_t now_ns, struct error *err)
{
	struct journal_cycle_line line = { .number = c->number,
		.seed = c->seed,
		.region_start = c->region_start,
		.region_bytes = c->region_bytes,
		.block_bytes = c->block_bytes,
		.plug_known = true,
		.disk_sequence = c->plug.disk_sequence,
		.at_ns = now_ns };

	text_copy(line.promise, sizeof line.promise, promise_names[c->promise]);
	text_copy(line.boot, sizeof line.boot, c->plug.boot);
	return record_write(w, &kind_cycle, &line, err);
}

int journal_write_ready(struct record_writer *w, uint64_t now_ns, struct error *err)
{
	return record_write(w, &kind_ready, &(struct journal_moment_line){ now_ns }, err);
}

int journal_write_intents(struct record_writer *w, const struct cut_write *writes, size_t count,
	uint64_t now_ns, struct error *err)
{
	uint64_t at[JOURNAL_INTENTS_MAX], bytes[JOURNAL_INTENTS_MAX];
	struct journal_intend_line line = { .first = writes[0].number, .at_ns = now_ns };

	if (count > JOURNAL_INTENTS_MAX)
		return error_set(err, ERROR_IO, "too many writes for one line of '%s'", w->path);
	for (size_t i = 0; i < count; i++) {
		at[i] = writes[i].at;
		bytes[i] = writes[i].bytes;
	}
	line.writes = series_of(at, bytes, NULL, count);
	return record_write(w, &kind_intend, &line, err);
}

int journal_write_done(struct record_writer *w, uint32_t number, bool stored, uint64_t sent_ns,
	uint64_t now_ns, struct error *err)
{
	const struct journal_done_line line = { number, stored, sent_ns, now_ns };

	record_begin(w, kind_done.name);
	line_put_fields(&w->line, &kind_done, &line);
	return record_commit(w, stored, err);
}

int journal_write_flush(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err)
{
	return record_write(w, &kind_flush, &(struct journal_flush_line){ through, now_ns }, err);
}

int journal_write_stored(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err)
{
	return record_write(w, &kind_stored, &(struct journal_flush_line){ through, now_ns }, err);
}

int journal_write_pull(struct record_writer *w, uint64_t now_ns, struct error *err)
{
	return record_write(w, &kind_pull, &(struct journal_moment_line){ now_ns }, err);
}

int journal_write_stop(struct record_writer *w, const char *reason, int code,
	uint64_t device_errors, uint64_t now_ns, struct error *err)
{
	struct journal_stop_line line = {
		.code = code, .device_errors = device_errors, .at_ns = now_ns
	};

	text_copy(line.reason, sizeof line.reason, reason);
	return record_write(w, &kind_stop, &line, err);
}

/* ---- reading ---- */

/* Writes that were announced and are not yet known to be stored, oldest first. */
struct open_writes {
	struct open_write {
		uint32_t number;
		uint32_t bytes;
		uint64_t at;
	} * list;
	size_t first, count, room;
};

static int open_push(struct open_writes *o, const struct open_write *one)
{
	if (o->first + o->count == o->room) {
		size_t room = o->room ? o->room * 2 : 1024;
		struct open_write *grown;

		if (o->first > o->room / 2) {
			memmove(o->list, o->list + o->first, o->count * sizeof *o->list);
			o->first = 0;
		} else {
			grown = reallocarray(o->list, room, sizeof *grown);
			if (!grown)
				return -1;
			o->list = grown;
			o->room = room;
		}
	}
	o->list[o->first + o->count++] = *one;
	return 0;
}

/* Numbers run without gaps, so an open write is found by its distance. */
static struct open_write *open_find(struct open_writes *o, uint64_t number)
{
	uint64_t first = o->count ? o->list[o->first].number : 0;

	if (!o->count || number < first || number - first >= o->count)
		return NULL;
	return &o->list[o->first + (number - first)];
}

struct loading {
	struct journal *j;
	struct open_writes open;
	struct error *err;
};

static int nonsense(struct loading *l, const char *what)
{
	return error_set(
		l->err, ERROR_USAGE, "the journal '%s' makes no sense: %s", l->j->path, what);
}

enum mark { MARK_ANNOUNCED, MARK_ACKNOWLEDGED, MARK_STORED };

static void mark(struct journal *j, const struct open_write *w, enum mark as)
{
	size_t first = (size_t)((w->at - j->cycle.region_start) / j->cycle.block_bytes);

	for (size_t i = first; i < first + w->bytes / j->cycle.block_bytes; i++) {
		struct journal_block *b = &j->blocks[i];

		/* Each later fact holds the earlier ones. */
		if (w->number > b->announced)
			b->announced = w->number;
		if (as >= MARK_ACKNOWLEDGED && w->number > b->acknowledged)
			b->acknowledged = w->number;
		if (as >= MARK_STORED && w->number > b->stored)
			b->stored = w->number;
	}
}

static int check_cycle(struct loading *l)
{
	const struct journal_cycle *c = &l->j->cycle;

	if (c->block_bytes < STAMP_BLOCK_MIN || c->block_bytes > STAMP_BLOCK_MAX ||
		!number_is_power_of_two(c->block_bytes))
		return nonsense(l, "the block size of a cycle is no block size");
	if (!c->region_bytes || c->region_bytes % c->block_bytes ||
		c->region_start % c->block_bytes ||
		c->region_bytes / c->block_bytes > JOURNAL_BLOCKS_MAX ||
		c->region_start > UINT64_MAX - c->region_bytes)
		return nonsense(l, "the region of a cycle is no whole number of blocks");
	return 0;
}

/* What a line says of a cycle. */
static int read_cycle(struct loading *l, const struct line *line)
{
	struct journal_cycle *c = &l->j->cycle;
	struct journal_cycle_line read = { .number = 0 };
	uint64_t found = line_take_fields(line, &kind_cycle, &read);

	if ((found & JOURNAL_CYCLE_NEEDED) != JOURNAL_CYCLE_NEEDED || read.number > UINT32_MAX ||
		read.block_bytes > UINT32_MAX)
		return nonsense(l, "a cycle line lacks a value");
	*c = (struct journal_cycle){ .number = (uint32_t)read.number,
		.seed = read.seed,
		.region_start = read.region_start,
		.region_bytes = read.region_bytes,
		.block_bytes = (uint32_t)read.block_bytes,
		/* Journals written before these were kept have the first plug-in alone, in "target". */
		.plug.disk_sequence =
			read.plug_known ? read.disk_sequence : l->j->target.disk_sequence };
	text_copy(c->plug.boot, sizeof c->plug.boot, read.boot);
	if (!strcmp(read.promise, promise_names[PROMISE_ACKNOWLEDGED]))
		c->promise = PROMISE_ACKNOWLEDGED;
	else if (strcmp(read.promise, promise_names[PROMISE_FLUSHED]) != 0)
		return nonsense(l, "a cycle promises what this version does not know");
	return check_cycle(l);
}

static int take_cycle(struct loading *l, const struct line *line)
{
	struct journal *j = l->j;

	if (read_cycle(l, line) < 0)
		return -1;
	free(j->blocks);
	j->block_count = (size_t)(j->cycle.region_bytes / j->cycle.block_bytes);
	j->blocks = calloc(j->block_count, sizeof *j->blocks);
	if (!j->blocks)
		return error_set(l->err, ERROR_IO, "out of memory for the journal '%s'", j->path);
	for (size_t i = 0; i < j->block_count; i++)
		j->blocks[i] = (struct journal_block){ CUT_BASELINE, CUT_BASELINE, CUT_BASELINE };
	l->open.first = l->open.count = 0;
	j->ready = false;
	j->announced = j->acknowledged = j->stored = CUT_BASELINE;
	j->writes = j->flushes = j->throughs = 0;
	j->through_last = false;
	j->pairs = (struct flush_pairs){ 0 };
	j->stop[0] = 0;
	return 0;
}

static bool lies_inside(const struct journal_cycle *c, const struct open_write *w)
{
	return w->bytes && w->bytes % c->block_bytes == 0 && w->at % c->block_bytes == 0 &&
	       w->at >= c->region_start && w->bytes <= c->region_bytes &&
	       w->at - c->region_start <= c->region_bytes - w->bytes;
}

static int take_intents(struct loading *l, const struct line *line)
{
	uint64_t at[JOURNAL_INTENTS_MAX], bytes[JOURNAL_INTENTS_MAX];
	struct journal_intend_line read = { .writes = { .columns = { at, bytes },
						    .room = JOURNAL_INTENTS_MAX } };
	struct journal *j = l->j;

	/* The first two fields. */
	if ((line_take_fields(line, &kind_intend, &read) & 3) != 3 ||
		read.first != (uint64_t)j->announced + 1)
		return nonsense(l, "announced writes are missing between its lines");
	if (!read.writes.whole)
		return nonsense(l, "an announced write has no length");
	for (size_t i = 0; i < read.writes.rows; i++) {
		struct open_write w = { .number = (uint32_t)(read.first + i),
			.bytes = bytes[i] <= UINT32_MAX ? (uint32_t)bytes[i] : 0,
			.at = at[i] };

		if (!lies_inside(&j->cycle, &w) || read.first + i > UINT32_MAX)
			return nonsense(l, "an announced write lies outside the region");
		if (open_push(&l->open, &w) < 0)
			return error_set(
				l->err, ERROR_IO, "out of memory for the journal '%s'", j->path);
		mark(j, &w, MARK_ANNOUNCED);
		j->announced = w.number;
	}
	return 0;
}

static int take_done(struct loading *l, const struct line *line)
{
	struct journal_done_line read = { .write = 0 };
	struct open_write *w;

	line_take_fields(line, &kind_done, &read);
	w = open_find(&l->open, read.write);
	if (!w)
		return nonsense(l, "a write returned that was never announced");
	mark(l->j, w, read.stored ? MARK_STORED : MARK_ACKNOWLEDGED);
	l->j->throughs += read.stored;
	l->j->through_last = read.stored;
	flush_pairs_wrote(&l->j->pairs, w->bytes, read.stored);
	l->j->acknowledged = w->number;
	l->j->writes++;
	return 0;
}

/* Every write up to here had returned when the flush was sent: writing stops at the first one that does not. */
static int take_stored(struct loading *l, const struct line *line)
{
	struct journal_flush_line read = { .through = UINT64_MAX };
	struct open_writes *o = &l->open;

	line_take_fields(line, &kind_stored, &read);
	if (read.through > l->j->announced)
		return nonsense(l, "a flush covers writes that were never announced");
	while (o->count && o->list[o->first].number <= read.through) {
		mark(l->j, &o->list[o->first], MARK_STORED);
		o->first++;
		o->count--;
	}
	l->j->stored = (uint32_t)read.through;
	l->j->flushes++;
	l->j->through_last = false;
	if (read.at_ns >= l->j->flush_sent_ns)
		flush_pairs_flushed(&l->j->pairs, read.at_ns - l->j->flush_sent_ns);
	return 0;
}

/* The last sign of life: every line but this has the moment as one of its fields. */
static void take_moment(struct journal *j, const struct line *line)
{
	struct journal_moment_line read = { j->stop_ns };
	struct journal_stop_line stop = { .at_ns = 0 };

	if (!strcmp(line->kind, kind_stop.name)) {
		line_take_fields(line, &kind_stop, &stop);
		text_copy(j->stop, sizeof j->stop, stop.reason);
		/* The answer that told of the cut may come half a minute after it: the last good one is nearer. */
		if (!strcmp(stop.reason, "gone"))
			return;
	}
	line_take_fields(line, &kind_ready, &read);
	j->stop_ns = read.at_ns;
}

static int take_line(struct loading *l, const struct line *line)
{
	struct run run = { 0 };
	struct journal *j = l->j;

	if (!strcmp(line->kind, kind_cycle.name))
		return take_cycle(l, line);
	if (!strcmp(line->kind, kind_run.name) || !strcmp(line->kind, kind_target.name)) {
		run.head = j->head;
		run.target = j->target;
		run_take_line(&run, line, NULL);
		j->head = run.head;
		j->target = run.target;
		return 0;
	}
	if (!strcmp(line->kind, "kept")) {
		run_take_line(&run, line, NULL);
		j->put_back = run.kept.state == RUN_KEPT_BACK;
		return 0;
	}
	if (!j->blocks)
		return 0;
	if (!strcmp(line->kind, kind_intend.name))
		return take_intents(l, line);
	take_moment(j, line);
	if (!strcmp(line->kind, kind_ready.name))
		j->ready = true;
	else if (!strcmp(line->kind, kind_flush.name))
		j->flush_sent_ns = j->stop_ns; /* its own moment, taken just now */
	else if (!strcmp(line->kind, kind_done.name))
		return take_done(l, line);
	else if (!strcmp(line->kind, kind_stored.name))
		return take_stored(l, line);
	return 0;
}

int journal_load(struct journal *j, const char *path, struct error *err)
{
	struct record_reader reader;
	struct loading l = { .j = j, .err = err };
	struct line line;
	int rc;

	*j = (struct journal){ 0 };
	text_copy(j->path, sizeof j->path, path);
	if (record_open(&reader, path, err) < 0)
		return -1;
	if (strcmp(reader.kind, JOURNAL_KIND) != 0) {
		rc = error_set(err, ERROR_USAGE, "'%s' is %s, not the journal of a cut", path,
			run_kind_words(reader.kind));
	} else {
		while ((rc = record_next(&reader, &line, err)) > 0)
			if (take_line(&l, &line) < 0) {
				rc = -1;
				break;
			}
	}
	j->damaged_lines = reader.damaged;
	/* A lost line could be an announcement or a cycle: nothing found could be judged against what is left. */
	if (rc == 0 && j->damaged_lines)
		rc = error_set(err, ERROR_USAGE,
			"the journal '%s' is damaged at line %llu, so no verdict can rest on it; "
			"cut again",
			path, (unsigned long long)reader.first_damaged);
	if (rc == 0 && !j->ready)
		rc = error_set(err, ERROR_USAGE,
			"the journal '%s' ends before the baseline was on the target, so there is "
			"nothing to recheck; cut again",
			path);
	if (rc == 0 && j->put_back)
		rc = error_set(err, ERROR_USAGE,
			"the run of the journal '%s' put the region's own data back at its end, so "
			"there is nothing left to recheck; cut again",
			path);
	free(l.open.list);
	record_reader_release(&reader);
	if (rc < 0)
		journal_release(j);
	return rc;
}

void journal_release(struct journal *j)
{
	free(j->blocks);
	j->blocks = NULL;
	j->block_count = 0;
}

/* ---- ages ---- */

struct aging {
	uint32_t cycle;
	bool inside; /* the cycle in question */
	uint64_t bytes; /* acknowledged so far */
	struct announced announced;
};

static struct journal_age *find_age(struct journal_age *ages, size_t count, uint64_t number)
{
	size_t low = 0, high = count;

	while (low < high) {
		size_t middle = low + (high - low) / 2;

		if (ages[middle].number < number)
			low = middle + 1;
		else
			high = middle;
	}
	return low < count && ages[low].number == number ? &ages[low] : NULL;
}

static void age_line(
	struct aging *a, const struct line *line, struct journal_age *ages, size_t count)
{
	struct journal_cycle_line cycle = { .number = 0 };
	struct journal_done_line done = { .write = 0 };
	struct journal_age *age;

	if (!strcmp(line->kind, kind_cycle.name)) {
		line_take_fields(line, &kind_cycle, &cycle);
		a->inside = cycle.number == a->cycle;
	} else if (a->inside && !strcmp(line->kind, kind_intend.name)) {
		announced_take(&a->announced, line);
	} else if (a->inside && !strcmp(line->kind, kind_done.name)) {
		line_take_fields(line, &kind_done, &done);
		a->bytes += announced_bytes(&a->announced, done.write);
		age = find_age(ages, count, done.write);
		if (age)
			*age = (struct journal_age){ (uint32_t)done.write, done.at_ns, a->bytes };
	}
}

int journal_ages(const struct journal *j, struct journal_age *ages, size_t count, struct error *err)
{
	struct aging *a = calloc(1, sizeof *a);
	struct record_reader reader;
	struct line line;
	int rc;

	if (!a)
		return error_set(err, ERROR_IO, "out of memory");
	a->cycle = j->cycle.number;
	for (size_t i = 0; i < count; i++)
		ages[i].ns_before = ages[i].bytes_before = UINT64_MAX;
	if (record_open(&reader, j->path, err) < 0) {
		free(a);
		return -1;
	}
	while ((rc = record_next(&reader, &line, err)) > 0)
		age_line(a, &line, ages, count);
	record_reader_release(&reader);
	for (size_t i = 0; i < count; i++) {
		if (ages[i].ns_before == UINT64_MAX)
			continue;
		ages[i].ns_before =
			j->stop_ns > ages[i].ns_before ? j->stop_ns - ages[i].ns_before : 0;
		ages[i].bytes_before = a->bytes - ages[i].bytes_before;
	}
	free(a);
	return rc;
}
