/* A journal of cuts, for reports. */
#include "record/cut_load.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/announced.h"
#include "record/field.h"
#include "record/file.h"
#include "record/journal_lines.h"
#include "record/line.h"
#include "record/run.h"

struct loading {
	struct cut_record *out;
	const char *path;
	struct cut_cycle *now; /* being written to; NULL before the first */
	struct cut_cycle *judged; /* whose damage comes now; NULL: none's */
	struct announced announced;
	uint64_t ready_at, flush_sent_at;
	bool flush_sent;
	bool modelled, fua;
	uint32_t detailed;
	struct error *err;
};

static int take_cycle(struct loading *l, const struct line *line)
{
	struct cut_record *r = l->out;
	struct journal_cycle_line read = { .number = 0 };
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
	line_take_fields(line, &kind_cycle, &read);
	*l->now = (struct cut_cycle){ .number =
					      read.number <= UINT32_MAX ? (uint32_t)read.number : 0,
		.seed = read.seed,
		.region_start = read.region_start,
		.region_bytes = read.region_bytes,
		.block_bytes = read.block_bytes <= UINT32_MAX ? (uint32_t)read.block_bytes : 0,
		.by_answer = !strcmp(read.promise, "acknowledged") };
	l->flush_sent = false;
	l->announced = (struct announced){ 0 };
	return 0;
}

/* The answer that told of the cut may come half a minute after it: the last good one is nearer. */
static void note_time(struct loading *l, const struct line *line, uint64_t at)
{
	if (!strcmp(line->kind, kind_stop.name) && !strcmp(l->now->stop, "gone"))
		return;
	if (l->now->ready && at >= l->ready_at)
		l->now->ns = at - l->ready_at;
}

static void take_done(struct loading *l, const struct line *line)
{
	struct journal_done_line read = { .write = 0 };
	uint32_t bytes;

	line_take_fields(line, &kind_done, &read);
	bytes = announced_bytes(&l->announced, read.write);
	l->now->writes++;
	l->now->bytes += bytes;
	l->now->throughs += read.stored;
	l->now->through_last = read.stored;
	flush_pairs_wrote(&l->now->pairs, bytes, read.stored);
	if (!read.stored) {
		l->now->writes_at_risk++;
		l->now->bytes_at_risk += bytes;
	}
}

static void take_stored(struct loading *l, uint64_t at)
{
	uint64_t ns = at - l->flush_sent_at;

	l->now->flushes++;
	l->now->through_last = false;
	l->now->writes_at_risk = l->now->bytes_at_risk = 0;
	if (l->flush_sent && at >= l->flush_sent_at) {
		if (ns > l->now->flush_ns_max)
			l->now->flush_ns_max = ns;
		flush_pairs_flushed(&l->now->pairs, ns);
	}
	l->flush_sent = false;
}

static void take_stop(struct loading *l, const struct line *line)
{
	struct journal_stop_line read = { .at_ns = 0 };

	line_take_fields(line, &kind_stop, &read);
	text_copy(l->now->stop, sizeof l->now->stop, read.reason);
	l->now->device_errors = read.device_errors;
}

/* A line that tells how the writing went; all have the moment as one of their fields. */
static void take_progress(struct loading *l, const struct line *line)
{
	struct journal_moment_line moment = { 0 };
	bool timed = line_take_fields(line, &kind_ready, &moment) != 0;
	const char *kind = line->kind;

	if (!strcmp(kind, kind_stop.name))
		take_stop(l, line);
	if (!strcmp(kind, kind_ready.name)) {
		l->now->ready = timed;
		l->ready_at = moment.at_ns;
	}
	if (timed)
		note_time(l, line, moment.at_ns);
	if (!strcmp(kind, kind_intend.name)) {
		announced_take(&l->announced, line);
	} else if (!strcmp(kind, kind_done.name)) {
		take_done(l, line);
	} else if (!strcmp(kind, kind_flush.name)) {
		l->flush_sent = timed;
		l->flush_sent_at = moment.at_ns;
	} else if (!strcmp(kind, kind_stored.name)) {
		take_stored(l, moment.at_ns);
	} else if (!strcmp(kind, kind_pull.name)) {
		l->now->pulled = true;
		l->now->pulled_ns = l->now->ns;
	}
}

/* Older rechecks did not ask when the cut came. A model's comes by itself, among the writes. */
static void find_late(const struct loading *l, const struct cut_cycle *c, struct recheck_result *v)
{
	if (!v->late_known)
		v->late = !l->modelled && *c->stop && strcmp(c->stop, "gone") != 0 && !v->uncut;
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
	find_late(l, l->judged, &verdict);
	recheck_result_release(&l->judged->verdict);
	l->judged->verdict = verdict;
	l->judged->verdict.flushes = l->judged->pairs;
	l->judged->verdict.throughs = l->fua ? l->judged->throughs : 0;
	l->judged->verdict.through_last = l->judged->through_last;
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

static void take_target(struct loading *l, const struct line *line)
{
	char kind[16];
	uint64_t fua;

	if (line_get_text(line, "kind", kind, sizeof kind))
		l->modelled = !strcmp(kind, "model");
	l->fua = line_get_u64(line, "fua", &fua) && fua;
}

static int take_line(struct loading *l, const struct line *line)
{
	if (!strcmp(line->kind, kind_target.name))
		take_target(l, line);
	if (!strcmp(line->kind, kind_cycle.name))
		return take_cycle(l, line);
	if (!l->now)
		return 0;
	if (!strcmp(line->kind, kind_recheck.name)) {
		take_recheck(l, line);
		return 0;
	}
	if (!strcmp(line->kind, kind_damage.name))
		return take_damage(l, line);
	if (strcmp(line->kind, kind_end.name) != 0)
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

void cut_record_judge(struct cut_record *r, struct recheck_result *verdict)
{
	size_t i = r->count;

	while (i && r->cycles[i - 1].number != verdict->cycle)
		i--;
	if (!i) {
		recheck_result_release(verdict);
		return;
	}
	recheck_result_release(&r->cycles[i - 1].verdict);
	r->cycles[i - 1].verdict = *verdict;
	r->cycles[i - 1].rechecks++;
	*verdict = (struct recheck_result){ 0 };
}

void cut_record_release(struct cut_record *r)
{
	for (size_t i = 0; i < r->count; i++)
		recheck_result_release(&r->cycles[i].verdict);
	free(r->cycles);
	*r = (struct cut_record){ 0 };
}
