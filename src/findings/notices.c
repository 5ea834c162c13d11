/* Sentences on what to notice. */
#include "findings/notices.h"

#include <math.h>
#include <string.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/figures.h"
#include "findings/link.h"

struct writer {
	const struct run *run;
	const struct points *points;
	const struct notice_visitor *visitor;
	struct text t;
};

static void emit(struct writer *w, enum notice_kind kind)
{
	if (w->t.length)
		w->visitor->notice(w->visitor->context, kind, w->t.bytes);
	text_reset(&w->t);
}

/* "sequential reads of 4 KiB" */
static void add_point(struct text *t, const struct point *p)
{
	char size[SIZE_TEXT_MAX];

	text_addf(t, "%s %ss of %s", run_order_name(p->order), run_direction_name(p->direction),
		size_format(size, p->request_bytes));
	if (p->in_flight > 1)
		text_addf(t, " with %u in flight", p->in_flight);
}

static const char *plural(size_t n)
{
	return n == 1 ? "" : "s";
}

/* ---- the record itself ---- */

static void say_modelled(struct writer *w)
{
	if (!w->run->target.modelled)
		return;
	text_adds(&w->t,
		"These figures are modelled, not measured: the target is a gadget model on a "
		"virtual clock.");
	emit(w, NOTICE_CAUTION);
}

static void say_image(struct writer *w)
{
	if (strcmp(w->run->target.kind, "image") != 0)
		return;
	text_adds(&w->t,
		"The target is an image file: these are figures of the disk and filesystem it "
		"lies on, not of a removable drive.");
	emit(w, NOTICE_CAUTION);
}

static void say_end(struct writer *w)
{
	const struct run *r = w->run;

	if (!r->end.present)
		text_adds(&w->t,
			"The record has no end: the run was stopped or its machine went down "
			"while it was written. What follows rests on what came before that.");
	else if (!strcmp(r->end.status, "interrupted"))
		text_adds(&w->t, "The run was interrupted; what came before that is whole.");
	else if (strcmp(r->end.status, "complete") != 0)
		text_addf(&w->t, "The run ended early: %s.",
			*r->end.reason ? r->end.reason : r->end.status);
	emit(w, NOTICE_CAUTION);
}

static void say_damage(struct writer *w)
{
	size_t n = (size_t)w->run->damaged_lines;

	if (!n)
		return;
	text_addf(&w->t,
		"%zu line%s of the record %s damaged and left out: do not rest a release "
		"on it.",
		n, plural(n), n == 1 ? "is" : "are");
	emit(w, NOTICE_CAUTION);
}

/* ---- findings ---- */

static const struct point *best_of(const struct points *table)
{
	const struct point *best = NULL;

	for (size_t i = 0; i < table->count; i++) {
		const struct point *p = &table->list[i];

		if (p->stored.median > 0 && (!best || p->stored.median > best->stored.median))
			best = p;
	}
	return best;
}

/* The smallest request that reaches nearly all of the best rate: on a plateau, which size is best is chance. */
static const struct point *enough_of(const struct points *table, const struct point *best)
{
	for (size_t i = 0; i < table->count; i++)
		if (table->list[i].stored.median >= NOTICE_ENOUGH * best->stored.median)
			return &table->list[i];
	return best;
}

static void say_best(struct writer *w, const struct points *table)
{
	const struct point *best = best_of(table);
	char size[SIZE_TEXT_MAX];

	if (!best)
		return;
	text_addf(&w->t, "%s %ss %s ", best->order == RUN_RANDOM ? "Random" : "Sequential",
		run_direction_name(best->direction),
		best->direction == RUN_WRITE ? "store at most" : "reach at most");
	figure_add_rate(&w->t, best->stored.median);
	text_addf(&w->t, " (%.0f %% of it from requests of %s)", NOTICE_ENOUGH * 100,
		size_format(size, enough_of(table, best)->request_bytes));
	if (best->in_flight > 1)
		text_addf(&w->t, " with %u in flight", best->in_flight);
	if (best->link_ceiling_bps > 0) {
		text_adds(&w->t, ", ");
		figure_add_percent(&w->t, best->stored.median / best->link_ceiling_bps);
		text_adds(&w->t, " of what the link can carry");
	}
	text_adds(&w->t, ".");
	emit(w, NOTICE_FINDING);
}

static void say_bests(struct writer *w)
{
	for (size_t i = 0; i < w->points->count;) {
		struct points table = points_table(w->points, i);

		say_best(w, &table);
		i += table.count;
	}
}

/* ---- what touches single points: the worst is named, the others counted ---- */

/* 0 or less: nothing to say of this point; the larger, the worse. */
typedef double concern(const struct writer *w, const struct point *p);

static const struct point *worst_of(const struct writer *w, concern *how_bad, size_t *count)
{
	const struct point *worst = NULL;
	double most = 0;

	*count = 0;
	for (size_t i = 0; i < w->points->count; i++) {
		double bad = how_bad(w, &w->points->list[i]);

		if (bad <= 0)
			continue;
		(*count)++;
		if (bad > most) {
			most = bad;
			worst = &w->points->list[i];
		}
	}
	return worst;
}

static void add_and_others(struct text *t, size_t count)
{
	if (count > 1)
		text_addf(t, " (and %zu other point%s)", count - 1, plural(count - 1));
}

static double half_width(const struct point *p)
{
	const struct rate_summary *s = &p->stored;
	double width = s->interval_known ? s->high - s->low : s->fastest - s->slowest;

	return s->median > 0 ? width / 2 / s->median : 0;
}

static double concern_spread(const struct writer *w, const struct point *p)
{
	double half = half_width(p);

	(void)w;
	return p->pass_count > 1 && half > NOTICE_WIDE_SPREAD ? half : 0;
}

static void say_spread(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_spread, &count);

	if (!p)
		return;
	text_adds(&w->t, "The passes of ");
	add_point(&w->t, p);
	text_addf(&w->t, " differ by +-%.0f %%", half_width(p) * 100);
	add_and_others(&w->t, count);
	text_adds(&w->t, ": ask for more or longer passes before comparing builds.");
	emit(w, NOTICE_CAUTION);
}

static double concern_stall(const struct writer *w, const struct point *p)
{
	(void)w;
	if (p->lat_p50_s <= 0 || p->lat_max_s < NOTICE_STALL_SECONDS)
		return 0;
	return p->lat_max_s / p->lat_p50_s >= NOTICE_STALL_TIMES ? p->lat_max_s : 0;
}

static void say_stalls(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_stall, &count);

	if (!p)
		return;
	text_adds(&w->t, "The target stalls: the slowest of the ");
	add_point(&w->t, p);
	text_adds(&w->t, " took ");
	figure_add_duration(&w->t, p->lat_max_s);
	text_adds(&w->t, ", the median one ");
	figure_add_duration(&w->t, p->lat_p50_s);
	add_and_others(&w->t, count);
	text_adds(&w->t, ".");
	emit(w, NOTICE_CAUTION);
}

static double concern_behind(const struct writer *w, const struct point *p)
{
	(void)w;
	if (p->direction != RUN_WRITE || p->stored.median <= 0)
		return 0;
	double times = p->acknowledged.median / p->stored.median;

	return times > NOTICE_BEHIND ? times : 0;
}

static void say_behind(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_behind, &count);

	if (!p)
		return;
	text_adds(&w->t, "Writes are acknowledged well before they are stored: ");
	add_point(&w->t, p);
	text_adds(&w->t, " are answered at ");
	figure_add_rate(&w->t, p->acknowledged.median);
	text_adds(&w->t, " and stored at ");
	figure_add_rate(&w->t, p->stored.median);
	add_and_others(&w->t, count);
	text_adds(&w->t, ". Quote the stored rate, and audit the write-behind.");
	emit(w, NOTICE_CAUTION);
}

static double concern_flag(const struct point *p, enum run_pass_flag flag)
{
	return (double)point_flagged(p, flag);
}

static double concern_split(const struct writer *w, const struct point *p)
{
	(void)w;
	return point_flagged(p, RUN_PASS_SPLIT) && p->device_requests_each > NOTICE_SPLIT
		       ? p->device_requests_each
		       : 0;
}

static void say_split(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_split, &count);
	uint32_t limit = w->run->target.request_limit_bytes;
	char size[SIZE_TEXT_MAX];

	if (!p)
		return;
	add_point(&w->t, p);
	w->t.bytes[0] = (char)(w->t.bytes[0] - 'a' + 'A');
	text_adds(&w->t, " reach the device as ");
	figure_add(&w->t, p->device_requests_each);
	text_adds(&w->t, " requests each");
	add_and_others(&w->t, count);
	if (limit && p->request_bytes > limit)
		text_addf(&w->t, ": the kernel splits above %s", size_format(size, limit));
	text_adds(&w->t, ". Read their rate as that of the smaller requests.");
	emit(w, NOTICE_CAUTION);
}

static double concern_above_link(const struct writer *w, const struct point *p)
{
	(void)w;
	if (p->link_ceiling_bps <= 0 || p->acknowledged.median <= p->link_ceiling_bps)
		return 0;
	return p->acknowledged.median;
}

static void say_above_link(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_above_link, &count);

	if (!p)
		return;
	text_adds(&w->t, "More than the link can carry: ");
	add_point(&w->t, p);
	text_adds(&w->t, " show ");
	figure_add_rate(&w->t, p->acknowledged.median);
	add_and_others(&w->t, count);
	text_adds(&w->t,
		". Something on the host answered them, or the link is not the one the kernel "
		"reports.");
	emit(w, NOTICE_CAUTION);
}

static double concern_few(const struct writer *w, const struct point *p)
{
	(void)w;
	return p->pass_count && !p->acknowledged.interval_known;
}

static void say_few(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_few, &count);

	if (!p)
		return;
	text_addf(&w->t,
		"%zu point%s %s too few passes for a 95 %% interval, so the noise is not "
		"known there.",
		count, plural(count), count == 1 ? "has" : "have");
	emit(w, NOTICE_CAUTION);
}

/* ---- flags of passes ---- */

static size_t flagged_passes(const struct writer *w, enum run_pass_flag flag)
{
	double n = 0;

	for (size_t i = 0; i < w->points->count; i++)
		n += concern_flag(&w->points->list[i], flag);
	return (size_t)n;
}

static const struct {
	enum run_pass_flag flag;
	const char *one, *many, *rest;
} flag_sentences[] = {
	{ RUN_PASS_FOREIGN_IO, "pass saw", "passes saw",
		"I/O that this run did not ask for: close what uses the target, and measure "
		"again." },
	{ RUN_PASS_MERGED, "pass had", "passes had",
		"requests merged on the way: the device got fewer, larger ones than the table "
		"says." },
	{ RUN_PASS_WRAPPED, "pass used", "passes used",
		"the whole region up and began it again: a cache may have answered; name a larger "
		"--region or less --seconds." },
	{ RUN_PASS_SHORT, "pass has", "passes have",
		"too few requests for a rate to rest on: give them more --seconds." },
	{ RUN_PASS_TAIL, "pass touched", "passes touched",
		"the last 8 sectors, which the kernel asks of a USB disk one by one: keep the "
		"--region "
		"off them." },
};

static void say_flags(struct writer *w)
{
	for (size_t i = 0; i < sizeof flag_sentences / sizeof *flag_sentences; i++) {
		size_t n = flagged_passes(w, flag_sentences[i].flag);

		if (!n)
			continue;
		text_addf(&w->t, "%zu %s %s", n,
			n == 1 ? flag_sentences[i].one : flag_sentences[i].many,
			flag_sentences[i].rest);
		emit(w, NOTICE_CAUTION);
	}
}

static void say_errors(struct writer *w)
{
	unsigned long long errors = 0;

	for (size_t i = 0; i < w->points->count; i++)
		errors += w->points->list[i].errors;
	if (!errors)
		return;
	text_addf(&w->t, "%llu request%s failed; the CSV says in which pass.", errors,
		errors == 1 ? "" : "s");
	emit(w, NOTICE_CAUTION);
}

static void say_left_out(struct writer *w)
{
	size_t n = 0, passes = 0;

	for (size_t i = 0; i < w->points->count; i++) {
		n += w->points->list[i].left_out;
		passes += w->points->list[i].pass_count;
	}
	if (!n)
		return;
	text_addf(&w->t,
		"%zu pass%s cut short or moved nothing and %s left out of the figures (%zu "
		"%s).",
		n, n == 1 ? " was" : "es were", n == 1 ? "is" : "are", passes,
		passes == 1 ? "counts" : "count");
	emit(w, NOTICE_CAUTION);
}

bool notices_visit(
	const struct run *run, const struct points *points, const struct notice_visitor *visitor)
{
	struct writer w = { .run = run, .points = points, .visitor = visitor };
	bool whole;

	text_init(&w.t);
	say_modelled(&w);
	say_image(&w);
	say_end(&w);
	say_damage(&w);
	say_bests(&w);
	say_errors(&w);
	say_left_out(&w);
	say_behind(&w);
	say_stalls(&w);
	say_spread(&w);
	say_few(&w);
	say_split(&w);
	say_above_link(&w);
	say_flags(&w);
	whole = !w.t.failed;
	text_release(&w.t);
	return whole;
}
