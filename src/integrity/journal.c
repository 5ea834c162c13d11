/* The journal of a cut: lines, and what they promise for each block. */
#include "integrity/journal.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "integrity/stamp.h"
#include "record/announced.h"

static const char *const promise_names[] = { "flushed", "acknowledged" };

bool journal_plug_is_same(const struct journal_plug *a, const struct journal_plug *b)
{
	return a->disk_sequence && a->disk_sequence == b->disk_sequence && *a->boot &&
	       !strcmp(a->boot, b->boot);
}

int journal_write_cycle(
	struct record_writer *w, const struct journal_cycle *c, uint64_t now_ns, struct error *err)
{
	record_begin(w, "cycle");
	line_put_u64(&w->line, "number", c->number);
	line_put_u64(&w->line, "seed", c->seed);
	line_put_u64(&w->line, "region_start", c->region_start);
	line_put_u64(&w->line, "region_bytes", c->region_bytes);
	line_put_u64(&w->line, "block_bytes", c->block_bytes);
	line_put_text(&w->line, "promise", promise_names[c->promise]);
	line_put_u64(&w->line, "disk_sequence", c->plug.disk_sequence);
	line_put_text(&w->line, "boot", c->plug.boot);
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, true, err);
}

int journal_write_ready(struct record_writer *w, uint64_t now_ns, struct error *err)
{
	record_begin(w, "ready");
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, true, err);
}

int journal_write_intents(struct record_writer *w, const struct cut_write *writes, size_t count,
	uint64_t now_ns, struct error *err)
{
	record_begin(w, "intend");
	line_put_u64(&w->line, "first", writes[0].number);
	text_adds(&w->line, " writes=");
	for (size_t i = 0; i < count; i++)
		text_addf(&w->line, "%s%llu:%lu", i ? "," : "", (unsigned long long)writes[i].at,
			(unsigned long)writes[i].bytes);
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, true, err);
}

int journal_write_done(struct record_writer *w, uint32_t number, bool stored, uint64_t sent_ns,
	uint64_t now_ns, struct error *err)
{
	record_begin(w, "done");
	line_put_u64(&w->line, "write", number);
	line_put_u64(&w->line, "stored", stored);
	line_put_u64(&w->line, "sent_ns", sent_ns);
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, stored, err);
}

int journal_write_flush(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err)
{
	record_begin(w, "flush");
	line_put_u64(&w->line, "through", through);
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, false, err);
}

int journal_write_stored(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err)
{
	record_begin(w, "stored");
	line_put_u64(&w->line, "through", through);
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, true, err);
}

int journal_write_pull(struct record_writer *w, uint64_t now_ns, struct error *err)
{
	record_begin(w, "pull");
	line_put_u64(&w->line, "at_ns", now_ns);
	return record_commit(w, true, err);
}

int journal_write_stop(struct record_writer *w, const char *reason, int code,
	uint64_t device_errors, uint64_t now_ns, struct error *err)
{
	record_begin(w, "stop");
	line_put_text(&w->line, "reason", reason);
	line_put_i64(&w->line, "errno", code);
	if (device_errors)
		line_put_u64(&w->line, "device_errors", device_errors);
	line_put_u64(&w->line, "at_ns", now_ns);
	record_put_holds(w);
	return record_commit(w, true, err);
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

static int take_cycle(struct loading *l, const struct line *line)
{
	struct journal *j = l->j;
	uint64_t number = 0, block = 0;
	char promise[16] = "";

	j->cycle = (struct journal_cycle){ 0 };
	if (!line_get_u64(line, "number", &number) || number > UINT32_MAX ||
		!line_get_u64(line, "seed", &j->cycle.seed) ||
		!line_get_u64(line, "region_start", &j->cycle.region_start) ||
		!line_get_u64(line, "region_bytes", &j->cycle.region_bytes) ||
		!line_get_u64(line, "block_bytes", &block) || block > UINT32_MAX ||
		!line_get_text(line, "promise", promise, sizeof promise))
		return nonsense(l, "a cycle line lacks a value");
	/* Journals written before these were kept have the first plug-in alone, in "target". */
	if (!line_get_u64(line, "disk_sequence", &j->cycle.plug.disk_sequence))
		j->cycle.plug.disk_sequence = j->target.disk_sequence;
	line_get_text(line, "boot", j->cycle.plug.boot, sizeof j->cycle.plug.boot);
	j->cycle.number = (uint32_t)number;
	j->cycle.block_bytes = (uint32_t)block;
	if (!strcmp(promise, promise_names[PROMISE_ACKNOWLEDGED]))
		j->cycle.promise = PROMISE_ACKNOWLEDGED;
	else if (strcmp(promise, promise_names[PROMISE_FLUSHED]) != 0)
		return nonsense(l, "a cycle promises what this version does not know");
	if (check_cycle(l) < 0)
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
	j->writes = j->flushes = 0;
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
	const char *list = line_get_raw(line, "writes");
	struct journal *j = l->j;
	uint64_t number;

	if (!list || !line_get_u64(line, "first", &number) || number != (uint64_t)j->announced + 1)
		return nonsense(l, "announced writes are missing between its lines");
	while (*list) {
		struct open_write w = { .number = (uint32_t)number };
		char *end;
		unsigned long long bytes;

		w.at = strtoull(list, &end, 10);
		if (*end != ':')
			return nonsense(l, "an announced write has no length");
		bytes = strtoull(end + 1, &end, 10);
		w.bytes = bytes <= UINT32_MAX ? (uint32_t)bytes : 0;
		if ((*end && *end != ',') || !lies_inside(&j->cycle, &w) || number > UINT32_MAX)
			return nonsense(l, "an announced write lies outside the region");
		if (open_push(&l->open, &w) < 0)
			return error_set(
				l->err, ERROR_IO, "out of memory for the journal '%s'", j->path);
		mark(j, &w, MARK_ANNOUNCED);
		j->announced = w.number;
		number++;
		list = end + (*end == ',');
	}
	return 0;
}

static int take_done(struct loading *l, const struct line *line)
{
	struct open_write *w;
	uint64_t number = 0, stored = 0;

	if (!line_get_u64(line, "write", &number) || !(w = open_find(&l->open, number)))
		return nonsense(l, "a write returned that was never announced");
	line_get_u64(line, "stored", &stored);
	mark(l->j, w, stored ? MARK_STORED : MARK_ACKNOWLEDGED);
	l->j->acknowledged = w->number;
	l->j->writes++;
	return 0;
}

/* Every write up to here had returned when the flush was sent: writing stops at the first one that does not. */
static int take_stored(struct loading *l, const struct line *line)
{
	struct open_writes *o = &l->open;
	uint64_t through = 0;

	if (!line_get_u64(line, "through", &through) || through > l->j->announced)
		return nonsense(l, "a flush covers writes that were never announced");
	while (o->count && o->list[o->first].number <= through) {
		mark(l->j, &o->list[o->first], MARK_STORED);
		o->first++;
		o->count--;
	}
	l->j->stored = (uint32_t)through;
	l->j->flushes++;
	return 0;
}

static int take_line(struct loading *l, const struct line *line)
{
	struct run run = { 0 };
	struct journal *j = l->j;

	if (!strcmp(line->kind, "cycle"))
		return take_cycle(l, line);
	if (!strcmp(line->kind, "run") || !strcmp(line->kind, "target")) {
		run.head = j->head;
		run.target = j->target;
		run_take_line(&run, line, NULL);
		j->head = run.head;
		j->target = run.target;
		return 0;
	}
	if (!j->blocks)
		return 0;
	if (!strcmp(line->kind, "intend"))
		return take_intents(l, line);
	if (!strcmp(line->kind, "stop"))
		line_get_text(line, "reason", j->stop, sizeof j->stop);
	/* The answer that told of the cut may come half a minute after it: the last good one is nearer. */
	if (strcmp(line->kind, "stop") != 0 || strcmp(j->stop, "gone") != 0)
		line_get_u64(line, "at_ns", &j->stop_ns);
	if (!strcmp(line->kind, "ready"))
		j->ready = true;
	else if (!strcmp(line->kind, "done"))
		return take_done(l, line);
	else if (!strcmp(line->kind, "stored"))
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
		rc = error_set(err, ERROR_USAGE,
			"'%s' is a record of kind '%s', not the journal of a cut", path,
			reader.kind);
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
	struct journal_age *age;
	uint64_t n = 0, at = 0;

	if (!strcmp(line->kind, "cycle")) {
		a->inside = line_get_u64(line, "number", &n) && n == a->cycle;
	} else if (a->inside && !strcmp(line->kind, "intend")) {
		announced_take(&a->announced, line);
	} else if (a->inside && !strcmp(line->kind, "done") && line_get_u64(line, "write", &n) &&
		   line_get_u64(line, "at_ns", &at)) {
		a->bytes += announced_bytes(&a->announced, n);
		age = find_age(ages, count, n);
		if (age)
			*age = (struct journal_age){ (uint32_t)n, at, a->bytes };
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
