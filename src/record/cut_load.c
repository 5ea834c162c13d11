/* A journal of cuts, for reports. */
#include "record/cut_load.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "record/announced.h"
#include "record/file.h"

struct loading {
	struct cut_record *out;
	const char *path;
	struct cut_cycle *now; /* being written to; NULL before the first */
	struct cut_cycle *judged; /* whose damage comes now; NULL: none's */
	struct announced announced;
	uint64_t ready_at, flush_sent_at;
	bool flush_sent;
	uint32_t detailed;
	struct error *err;
};

static int take_cycle(struct loading *l, const struct line *line)
{
	struct cut_record *r = l->out;
	uint64_t number = 0, block = 0;
	char promise[16] = "";
	struct cut_cycle *grown = r->cycles;

	if (r->count == CUT_CYCLES_MAX)
		return error_set(l->err, ERROR_USAGE,
			"the journal '%s' holds more than %d cuts, which report does not show",
			l->path, CUT_CYCLES_MAX);
	/* Doubling at powers of two: the count itself tells when the room is used up. */
	if (!r->count || number_is_power_of_two(r->count))
		grown = reallocarray(r->cycles, r->count ? r->count * 2 : 1, sizeof *grown);
	if (!grown)
		return error_set(l->err, ERROR_IO, "out of memory for the journal '%s'", l->path);
	r->cycles = grown;
	l->now = &grown[r->count++];
	l->judged = NULL;
	*l->now = (struct cut_cycle){ 0 };
	line_get_u64(line, "number", &number);
	line_get_u64(line, "seed", &l->now->seed);
	line_get_u64(line, "region_start", &l->now->region_start);
	line_get_u64(line, "region_bytes", &l->now->region_bytes);
	line_get_u64(line, "block_bytes", &block);
	line_get_text(line, "promise", promise, sizeof promise);
	l->now->number = number <= UINT32_MAX ? (uint32_t)number : 0;
	l->now->block_bytes = block <= UINT32_MAX ? (uint32_t)block : 0;
	l->now->by_answer = !strcmp(promise, "acknowledged");
	l->flush_sent = false;
	l->announced = (struct announced){ 0 };
	return 0;
}

/* The answer that told of the cut may come half a minute after it: the last good one is nearer. */
static void note_time(struct loading *l, const struct line *line)
{
	uint64_t at = 0;

	if (!strcmp(line->kind, "stop") && !strcmp(l->now->stop, "gone"))
		return;
	if (l->now->ready && line_get_u64(line, "at_ns", &at) && at >= l->ready_at)
		l->now->ns = at - l->ready_at;
}

static void take_done(struct loading *l, const struct line *line)
{
	uint64_t number = 0, stored = 0;
	uint32_t bytes;

	line_get_u64(line, "write", &number);
	line_get_u64(line, "stored", &stored);
	bytes = announced_bytes(&l->announced, number);
	l->now->writes++;
	l->now->bytes += bytes;
	l->now->throughs += stored != 0;
	if (!stored) {
		l->now->writes_at_risk++;
		l->now->bytes_at_risk += bytes;
	}
}

static void take_stored(struct loading *l, const struct line *line)
{
	uint64_t at = 0;

	l->now->flushes++;
	l->now->writes_at_risk = l->now->bytes_at_risk = 0;
	line_get_u64(line, "at_ns", &at);
	if (l->flush_sent && at >= l->flush_sent_at && at - l->flush_sent_at > l->now->flush_ns_max)
		l->now->flush_ns_max = at - l->flush_sent_at;
	l->flush_sent = false;
}

/* A line that tells how the writing went. */
static void take_progress(struct loading *l, const struct line *line)
{
	const char *kind = line->kind;

	if (!strcmp(kind, "stop"))
		line_get_text(line, "reason", l->now->stop, sizeof l->now->stop);
	if (!strcmp(kind, "ready"))
		l->now->ready = line_get_u64(line, "at_ns", &l->ready_at);
	note_time(l, line);
	if (!strcmp(kind, "intend"))
		announced_take(&l->announced, line);
	else if (!strcmp(kind, "done"))
		take_done(l, line);
	else if (!strcmp(kind, "flush"))
		l->flush_sent = line_get_u64(line, "at_ns", &l->flush_sent_at);
	else if (!strcmp(kind, "stored"))
		take_stored(l, line);
	else if (!strcmp(kind, "pull")) {
		l->now->pulled = true;
		l->now->pulled_ns = l->now->ns;
	}
}

/* Cuts are rechecked in their order, and the last one as often as somebody likes. */
static void take_recheck(struct loading *l, const struct line *line)
{
	struct recheck_result verdict;

	recheck_take(&verdict, line);
	l->judged = NULL;
	for (size_t i = l->out->count; i-- && !l->judged;)
		if (l->out->cycles[i].number == verdict.cycle)
			l->judged = &l->out->cycles[i];
	if (!l->judged)
		return;
	l->detailed -= l->judged->verdict.damages != NULL;
	recheck_result_release(&l->judged->verdict);
	l->judged->verdict = verdict;
	l->judged->rechecks++;
}

static int take_damage(struct loading *l, const struct line *line)
{
	struct recheck_result *v = l->judged ? &l->judged->verdict : NULL;
	struct recheck_damage d;

	if (!v || !recheck_take_damage(&d, line))
		return 0;
	if (v->damage_count == CUT_DAMAGES_MAX ||
		(!v->damages && l->detailed == CUT_DETAILED_MAX)) {
		v->damages_more++;
		return 0;
	}
	if (!v->damages) {
		v->damages = calloc(CUT_DAMAGES_MAX, sizeof *v->damages);
		l->detailed++;
	}
	if (!v->damages)
		return error_set(l->err, ERROR_IO, "out of memory for the journal '%s'", l->path);
	v->damages[v->damage_count++] = d;
	return 0;
}

static int take_line(struct loading *l, const struct line *line)
{
	if (!strcmp(line->kind, "cycle"))
		return take_cycle(l, line);
	if (!l->now)
		return 0;
	if (!strcmp(line->kind, "recheck")) {
		take_recheck(l, line);
		return 0;
	}
	if (!strcmp(line->kind, "damage"))
		return take_damage(l, line);
	if (strcmp(line->kind, "end") != 0)
		take_progress(l, line);
	return 0;
}

int cut_load(struct cut_record *out, const char *path, struct error *err)
{
	struct loading *l = calloc(1, sizeof *l);
	struct record_reader reader;
	struct line line;
	int rc;

	*out = (struct cut_record){ 0 };
	if (!l)
		return error_set(err, ERROR_IO, "out of memory for the journal '%s'", path);
	l->out = out;
	l->path = path;
	l->err = err;
	rc = record_open(&reader, path, err);
	if (rc == 0) {
		while ((rc = record_next(&reader, &line, err)) > 0)
			if (take_line(l, &line) < 0) {
				rc = -1;
				break;
			}
		record_reader_release(&reader);
	}
	free(l);
	if (rc < 0)
		cut_record_release(out);
	return rc;
}

void cut_record_release(struct cut_record *r)
{
	for (size_t i = 0; i < r->count; i++)
		recheck_result_release(&r->cycles[i].verdict);
	free(r->cycles);
	*r = (struct cut_record){ 0 };
}
