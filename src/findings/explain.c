/* From points to explanations. */
#include "findings/explain.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/cling.h"
#include "analysis/stall.h"
#include "analysis/student.h"
#include "base/error.h"
#include "findings/explain_phases.h"
#include "findings/explain_trust.h"
#include "findings/phase_tables.h"
#include "findings/points.h"

/* Larger ones come from a damaged or invented record. */
#define REQUEST_MAX (UINT64_C(1) << 40)
/* Of the time of a request: from so much of it in stalls on, its phases are not those of a request without. */
#define STALLED_SHARE 0.03
/* Of a request's time by the rates: phases that add up to more or less by so much are not of the same requests (ours). */
#define APART 0.1

enum { SPREAD_REQUESTS = 30 };

/* Geometric mean, as rates and comparisons have it. */
struct log_mean {
	double sum,
		squares; /* squares of the distance from the first value, which keeps them small */
	double first;
	size_t n;
};

static void log_mean_add(struct log_mean *m, double value)
{
	double v = log(value);

	if (!m->n++)
		m->first = v;
	m->sum += v - m->first;
	m->squares += (v - m->first) * (v - m->first);
}

static double log_mean_value(const struct log_mean *m)
{
	return m->n ? exp(m->first + m->sum / (double)m->n) : 0;
}

static double log_mean_sd(const struct log_mean *m)
{
	double n = (double)m->n;

	return m->n > 1 ? sqrt(fmax(0, m->squares - m->sum * m->sum / n) / (n - 1)) : 0;
}

/* Device requests per host request: as the kernel counted, else from its request limit. */
static double pieces_of(const struct point *p, uint32_t request_limit)
{
	double counted = p->device_requests_each;

	if (counted > 0.01 &&
		counted < 1e6) /* beyond that the counters are not about these requests */
		return counted;
	if (request_limit && p->request_bytes > request_limit)
		return ceil((double)p->request_bytes / request_limit);
	return 1;
}

/* Of the passes of a point: seconds of a request, and how much longer storing took than acknowledging. */
struct times {
	struct log_mean acknowledged, stored, quick;
	double after_s, flush_s;
};

/* How much longer storing took than acknowledging; 0 where it is not shown. */
static double storing_s(const struct run_pass *p)
{
	double rate = run_pass_rate_stored(p);

	return rate > 0 ? (double)p->bytes / rate - (double)p->busy_ns / 1e9 : 0;
}

/* Is the time of this pass that of storing? Where that is shown of no pass, the time of acknowledging stands in. */
static bool counts(const struct explained *x, const struct run_pass *p)
{
	return !x->shown || run_pass_rate_stored(p) > 0;
}

static void take_pass(struct times *t, const struct run_pass *pass)
{
	double requests = (double)pass->requests, busy = (double)pass->busy_ns / 1e9;

	log_mean_add(&t->acknowledged, busy / requests);
	log_mean_add(&t->stored, (busy + storing_s(pass)) / requests);
	log_mean_add(&t->quick, fmax(1, (double)pass->lat_min_ns) / 1e9);
	t->after_s += storing_s(pass);
	t->flush_s += (double)pass->flush_ns / 1e9;
}

static void note_behind(struct explained *x, const struct point *p, const struct times *t)
{
	double each = log_mean_value(&t->stored), ratio = each / log_mean_value(&t->acknowledged);
	double after_s = t->after_s / (double)t->stored.n;

	if (!(ratio > x->behind))
		return;
	x->behind = ratio;
	x->behind_at = p->request_bytes;
	x->behind_flush_s = after_s;
	x->behind_flushed = t->flush_s >= 0.9 * t->after_s;
	x->behind_bytes = after_s * (double)p->request_bytes / each;
}

static struct cost_point cost_of(const struct log_mean *m, struct cost_point like)
{
	like.passes = (double)m->n;
	like.seconds = log_mean_value(m);
	like.log_sd = log_mean_sd(m);
	return like;
}

static void take_point(struct explained *x, const struct point *p, uint32_t request_limit)
{
	struct cost_point c = { .request_bytes = p->request_bytes,
		.pieces = pieces_of(p, request_limit) };
	struct times t = { .after_s = 0 };

	/* A size of which it is not shown is no part of a table of stored costs. */
	for (size_t i = 0; i < p->pass_count && (!x->shown || p->stored.median > 0); i++)
		if (counts(x, p->passes[i]))
			take_pass(&t, p->passes[i]);
	x->passes += t.stored.n;
	x->left_out += p->left_out + p->pass_count - t.stored.n;
	if (!t.stored.n || x->point_count == COST_POINTS_MAX || !p->request_bytes ||
		p->request_bytes > REQUEST_MAX)
		return;
	x->points[x->point_count] = cost_of(&t.acknowledged, c);
	x->stored[x->point_count] = cost_of(&t.stored, c);
	x->quick[x->point_count] = cost_of(&t.quick, c);
	note_behind(x, p, &t);
	x->point_count++;
}

/* ---- what limits ---- */

static struct stall_pass stall_pass_of(const struct explained *x, const struct run_pass *p)
{
	return (struct stall_pass){ .request_bytes = p->request_bytes,
		.bytes = (double)p->bytes,
		.requests = (double)p->requests,
		.busy_s = (double)p->busy_ns / 1e9,
		.flush_s = storing_s(p),
		.p50_s = (double)p->lat_p50_ns / 1e9,
		.max_s = (double)p->lat_max_ns / 1e9,
		.in_flight = p->in_flight ? p->in_flight : 1,
		.stalls_alone = !counts(x, p) };
}

/* The passes of a table, by size; *count of them. Those that met a stall are the ones that are not shown to be stored: without
 * them there would seem to be fewer. NULL: out of memory. The caller frees it. */
static struct stall_pass *stall_passes_of(
	const struct explained *x, const struct points *table, size_t *count)
{
	struct stall_pass *list;
	size_t n = 1;

	for (size_t i = 0; i < table->count; i++)
		n += table->list[i].pass_count;
	list = calloc(n, sizeof *list);
	*count = 0;
	for (size_t i = 0; list && i < table->count; i++)
		for (size_t k = 0; k < table->list[i].pass_count; k++)
			list[(*count)++] = stall_pass_of(x, table->list[i].passes[k]);
	return list;
}

/* Of the pass in which it was largest. A tenth of few requests is hardly one. */
static double spread_of(const struct point *p)
{
	double most = -1;

	for (size_t i = 0; i < p->pass_count; i++)
		if (p->passes[i]->requests >= SPREAD_REQUESTS)
			most = fmax(most, (double)p->passes[i]->lat_p90_ns -
						  (double)p->passes[i]->lat_p50_ns);
	return most < 0 ? INFINITY : most / 1e9;
}

/* One size without its stalls: the passes at list[0..n). */
static struct growth_point growth_point_of(
	const struct stall_pass *list, size_t n, const struct point *p, double pieces)
{
	struct growth_point g = { .bytes = p->request_bytes, .pieces = pieces };
	struct log_mean seconds = { 0 };
	double spread = 0, requests = 0, error = 0, seconds_all = 0;

	for (size_t i = 0; i < n; i++) {
		const struct stall_pass *s = &list[i];

		if (s->stalls_alone)
			continue;
		error += s->stalled_error_s;
		seconds_all += s->busy_s + s->flush_s - s->stalled_s;
		log_mean_add(&seconds, (s->busy_s + s->flush_s - s->stalled_s) / s->requests);
		requests += s->requests;
	}
	for (size_t i = 0; i < p->pass_count; i++) {
		double p50 = (double)p->passes[i]->lat_p50_ns;

		if (p50 > 0)
			spread = fmax(spread, ((double)p->passes[i]->lat_p90_ns - p50) / p50);
	}
	g.spread_s = spread_of(p);
	g.seconds = log_mean_value(&seconds);
	/* What the requests' own spread makes of their mean at the least; 1.28: 90 % of a normal distribution. */
	g.noise = fmin(spread, 0.5) / 1.28 / sqrt(requests);
	if (seconds.n > 1)
		g.noise = fmax(g.noise, log_mean_sd(&seconds) / sqrt((double)seconds.n) *
						student_critical(0.95, (double)seconds.n - 1) / 2);
	g.noise += error / seconds_all;
	return g;
}

/* Of the pass in the middle of the medians, near enough: the first usable one. */
static struct frames_point frames_point_of(const struct point *p, const struct growth_point *g)
{
	struct frames_point f = { .bytes = (double)g->bytes,
		.pieces = g->pieces,
		.seconds = g->seconds,
		.noise = g->noise };

	for (size_t i = 0; i < p->pass_count && !(f.median_s > 0); i++) {
		f.median_s = (double)p->passes[i]->lat_p50_ns / 1e9;
		f.p90_s = (double)p->passes[i]->lat_p90_ns / 1e9;
	}
	return f;
}

/* A frame more or less for a request is then the bus's doing. */
static void allow_frames(struct growth_point *points, size_t n, double frame_s)
{
	for (size_t i = 0; i < n; i++)
		points[i].noise = hypot(
			points[i].noise, 0.35 * frame_s / (points[i].seconds / points[i].pieces));
}

static uint64_t nearest_size(const struct explained *x, uint64_t usual)
{
	uint64_t low = x->points[0].request_bytes,
		 high = x->points[x->point_count - 1].request_bytes;

	return usual < low ? low : usual > high ? high : usual;
}

static void find_growth(struct explained *x, const struct points *table,
	const struct stall_pass *list, size_t count, uint32_t request_limit)
{
	struct growth_point points[GROWTH_POINTS_MAX] = { 0 };
	struct frames_point frames[GROWTH_POINTS_MAX] = { 0 };
	struct growth_options options = { .piece_limit = request_limit,
		.units = x->direction == RUN_WRITE,
		.block_bytes = (uint32_t)x->block_bytes,
		.wanted_bytes = x->judged_bytes };
	double straight;
	size_t n = 0, at = 0, of_size;

	for (size_t i = 0; i < table->count && n < GROWTH_POINTS_MAX; i++, at += of_size) {
		const struct point *p = &table->list[i];
		double pieces = pieces_of(p, request_limit);

		for (of_size = 0; at + of_size < count &&
				  list[at + of_size].request_bytes == p->request_bytes;)
			of_size++;
		if (!of_size || !p->request_bytes || p->request_bytes > REQUEST_MAX)
			continue;
		/* Pieces of one request do not hide the host's gap from each other. */
		if (x->in_flight > 1 && pieces > 1.01 && n >= COST_SIZES_MIN)
			continue;
		points[n] = growth_point_of(&list[at], of_size, p, pieces);
		if (!(points[n].seconds > 0)) /* none of its passes is shown to be stored */
			continue;
		frames[n] = frames_point_of(p, &points[n]);
		n++;
	}
	growth_find(&x->growths, points, n, &options);
	straight =
		x->growths.fits && !x->growths.partial && x->growths.list[0].kind == GROWTH_STRAIGHT
			? x->growths.list[0].misfit
			: INFINITY;
	x->frames = frames_look(x->usb, frames, n, x->growths.fits, straight);
	/* A line of a few frames' time may be all steps. */
	if (!n || x->frames == FRAMES_EXCLUDED ||
		(isfinite(straight) && points[n - 1].seconds / points[n - 1].pieces -
						       points[0].seconds / points[0].pieces >
					       4 * x->usb->frame_s))
		return;
	allow_frames(points, n, x->usb->frame_s);
	growth_find(&x->framed, points, n, &options);
}

/* Much more to store after the last answer than a flush itself takes: something waited. */
static bool writes_behind(const struct explained *x, const struct points *table)
{
	double after = 0, n = 0, least = x->points[0].seconds * x->in_flight;

	for (size_t i = 0; i < table->count; i++) {
		for (size_t k = 0; k < table->list[i].pass_count; k++) {
			after += storing_s(table->list[i].passes[k]);
			n++;
		}
	}
	return n > 0 && after / n > 2 * least;
}

/* Until the answer where nothing has to be waited for: at most what the quickest request took, and what all took on average. */
static double front_of(const struct explained *x)
{
	for (size_t i = 0; i < x->point_count; i++)
		if (x->points[i].request_bytes == x->judged_bytes)
			return fmin(x->quick[i].seconds, x->points[i].seconds);
	return 0;
}

/* What is known of link and card, and what was seen of the rest. */
static struct culprit_input culprit_input_of(
	const struct explained *x, const struct explain_known *known, const struct run *run)
{
	bool write = x->direction == RUN_WRITE;
	double stalled = stalls_per_byte(&x->stalls) * (double)x->judged_bytes;
	uint32_t limit = run->target.request_limit_bytes;
	struct culprit_input in = { .growths = &x->growths,
		.framed = x->framed.count ? &x->framed : NULL,
		.bytes = x->judged_bytes,
		.pieces = limit && x->judged_bytes > limit ? ceil((double)x->judged_bytes / limit)
							   : 1,
		.block_bytes = x->block_bytes,
		.in_flight = x->in_flight,
		.write = write,
		/* One that stores when it is left alone, or full, makes link and card wait for one another after all. */
		.behind = x->buffered && !run->storing.waits_for_idle,
		.front_s = x->buffered ? front_of(x) : 0,
		.may_buffer = write && (x->buffered || !strcmp(run->target.cache, "write back")),
		.link = { known->link, x->usb ? x->usb->ceiling : 0 },
		.card = { known->card[x->direction], write ? known->bus.write : known->bus.read },
		.frame_s = x->usb ? x->usb->frame_s : 0,
		.frame_bytes_per_s = x->usb ? x->usb->ceiling : 0,
		.frames = x->frames,
		.stall_s = x->backlog ? 0 : stalled,
		.backlog_s = x->backlog ? stalled : 0 };

	if (x->frames == FRAMES_SEEN && !(in.link.rate > 0))
		in.link.rate = in.link.ceiling;
	return in;
}

/* Sweeps read first; records of earlier versions have both in turn. */
static bool read_after_writes(const struct run *run)
{
	uint64_t write = UINT64_MAX, read = 0;

	for (size_t i = 0; i < run->pass_count; i++) {
		const struct run_pass *p = &run->passes[i];

		if (p->direction == RUN_WRITE && p->at_ns < write)
			write = p->at_ns;
		else if (p->direction == RUN_READ && p->at_ns > read)
			read = p->at_ns;
	}
	return read > write;
}

/* False when memory runs out. */
/* Clearly faster until the buffer was full: jitter makes small differences too. */
static bool runs_ahead(const struct run_storing *s)
{
	return s->held_up && s->head_bps > EXPLAIN_AHEAD * s->drain_bps;
}

static bool find_culprits(struct explained *x, const struct explain_known *known,
	const struct points *table, const struct run *run)
{
	struct culprit_input in;
	size_t count;
	struct stall_pass *list = stall_passes_of(x, table, &count);
	bool enough = list && stalls_find(&x->stalls, list, count);

	x->judged_bytes = nearest_size(x, known->usual_bytes);
	if (enough)
		find_growth(x, table, list, count, run->target.request_limit_bytes);
	free(list);
	x->buffered =
		x->direction == RUN_WRITE && (runs_ahead(&run->storing) || writes_behind(x, table));
	x->backlog = x->direction == RUN_READ && x->stalls.seconds > 0 && read_after_writes(run);
	in = culprit_input_of(x, known, run);
	culprits_find(&x->culprits, &in);
	/* What is only acknowledged may be as quick as the link: that says nothing of what limits storing. */
	if (!x->shown)
		x->culprits = (struct culprits){ .doubt = CULPRIT_NOT_STORED,
			.list = { { .cause = CAUSE_UNKNOWN } },
			.count = 1 };
	return enough;
}

/* The same firmware moves data both ways: where one direction does not take turns, doing so in the other may be a chance
 * likeness of something else. Not so where writes have a buffer to themselves. */
static void doubt_turns(struct explanation *e, const struct run *run)
{
	for (size_t i = 0; i < e->count; i++) {
		struct explained *x = &e->tables[i];
		struct culprit_input in = culprit_input_of(x, &e->known, run);

		for (size_t k = 0; k < e->count; k++)
			in.doubt_in_turn |= e->tables[k].culprits.turns == TURNS_REFUTED &&
					    e->tables[k].order == x->order &&
					    e->tables[k].in_flight == x->in_flight;
		if (x->culprits.turns != TURNS_SHOWN || !in.doubt_in_turn)
			continue;
		x->doubt_in_turn = true;
		culprits_find(&x->culprits, &in);
	}
}

/* What is named, and would not be alone if one of the given rates were not known, is as right as that rate. */
static void note_trust(
	struct explained *x, const struct explain_known *known, const struct run *run)
{
	for (int given = 0; given < 2; given++) {
		struct explain_known less = *known;
		double *rate = given == EXPLAIN_GIVEN_LINK ? &less.link : &less.card[x->direction];
		struct culprit_input in;

		if (!(*rate > 0))
			continue;
		*rate = 0;
		in = culprit_input_of(x, &less, run);
		in.doubt_in_turn = x->doubt_in_turn;
		if (explain_needs(x, &in, (enum explain_given)given))
			x->rests_on |= 1u << given;
	}
}

/* Both directions go over one link. */
static void distrust(struct explanation *e)
{
	bool refuted = false;

	for (size_t i = 0; i < e->count; i++)
		refuted |= explain_refutes_link(&e->tables[i]);
	for (size_t i = 0; i < e->count; i++)
		explain_distrust(&e->tables[i], refuted);
}

static void budget(struct explained *x, const struct explain_known *known)
{
	bool write = x->direction == RUN_WRITE;
	struct diagnose_input in = { .line = &x->line,
		.points = x->stored,
		.point_count = x->point_count,
		.usual_bytes = known->usual_bytes,
		.block_bytes = x->block_bytes,
		.fixed_s = x->culprits.fixed_s,
		.usb = x->usb,
		.link = known->link,
		.card = known->card[x->direction],
		.card_ceiling = write ? known->bus.write : known->bus.read };

	diagnose(&x->diagnosis, &in);
}

static bool any_stored(const struct points *table)
{
	for (size_t i = 0; i < table->count; i++)
		if (table->list[i].stored.median > 0)
			return true;
	return false;
}

/* ---- do passes depend on when they were made? ---- */

/* Which point of the line has that size; point_count: none. */
static size_t point_of_size(const struct explained *x, uint64_t bytes)
{
	size_t i = 0;

	while (i < x->point_count && x->stored[i].request_bytes != bytes)
		i++;
	return i;
}

/* Those that the line rests on. */
static size_t wander_passes_of(
	const struct explained *x, const struct points *table, struct wander_pass *out)
{
	size_t n = 0;

	for (size_t i = 0; i < table->count; i++) {
		size_t point = point_of_size(x, table->list[i].request_bytes);

		for (size_t k = 0; k < table->list[i].pass_count && point < x->point_count; k++) {
			const struct run_pass *p = table->list[i].passes[k];
			double seconds = (double)p->busy_ns / 1e9 + storing_s(p);

			if (!counts(x, p) || !(seconds > 0))
				continue;
			out[n++] = (struct wander_pass){ .at_s = (double)p->at_ns / 1e9,
				.point = point,
				.log_seconds = log(seconds / (double)p->requests) };
		}
	}
	return n;
}

/* False when memory runs out. */
static bool look_for_wander(struct explained *x, const struct points *table)
{
	size_t n = 0;
	struct wander_pass *passes;
	struct cling cling;
	bool enough;

	for (size_t i = 0; i < table->count; i++)
		n += table->list[i].pass_count;
	passes = calloc(n + 1, sizeof *passes);
	n = passes ? wander_passes_of(x, table, passes) : 0;
	enough = passes && wander_find(&x->wander, passes, n) && cling_find(&cling, passes, n) &&
		 cling_widen(&x->line, &cling, passes);
	free(passes);
	return enough;
}

static const struct usb_link *link_of(const struct run_target *t)
{
	if (strcmp(t->transport, "usb") != 0 && !t->modelled)
		return NULL;
	return usb_link_at(t->link_bits_per_second);
}

/* Means of phases have the stalls in them, in whichever they fell: no overlap would save those. */
static void keep_stalls_apart(struct explained *x)
{
	double stalled = stalls_per_byte(&x->stalls) * x->phases.bytes;

	x->phases_stalled = x->stalls.count > 0 && stalled > STALLED_SHARE * x->phases.seconds;
	if (x->phases_stalled)
		x->phases.gain = 0;
}

/* Passes that show their phases may be few, and not like the others whose rates are explained. */
static bool are_phases_apart(const struct explained *x)
{
	for (size_t i = 0; i < x->point_count; i++) {
		const struct cost_point *p = &x->points[i];

		if ((double)p->request_bytes == x->phases.bytes)
			return fabs(x->phases.seconds / p->seconds - 1) > APART;
	}
	return false;
}

static void take_phases(
	struct explained *x, const struct points *table, const struct explain_known *known)
{
	x->phases = explain_phases_of(table, x, known->link, known->card[x->direction]);
	for (size_t i = 0; i < table->count; i++) {
		struct phases_of_point of = phases_of_point(&table->list[i]);

		x->bus_shared |= of.shared;
		if ((double)table->list[i].request_bytes == x->phases.bytes)
			memcpy(x->phases_typical, of.typical_seconds, sizeof x->phases_typical);
	}
	x->phases_apart = x->phases.known && are_phases_apart(x);
}

/* False when memory runs out. */
static bool take_table(struct explanation *e, const struct points *table, const struct run *run)
{
	const struct point *first = &table->list[0];
	struct explained *x = &e->tables[e->count];
	uint32_t block = run->target.logical_block_bytes;

	*x = (struct explained){ .direction = first->direction,
		.order = first->order,
		.in_flight = first->in_flight,
		.block_bytes = block ? block : 512,
		.shown = any_stored(table),
		.idle_flush_s = (double)run->storing.idle_flush_ns / 1e9,
		.flush_refused = !strcmp(run->storing.flusher, "refused"),
		.flushed = { { run->storing.flushed_bytes, (double)run->storing.flushed_ns / 1e9 },
			{ run->storing.flushed_large_bytes,
				(double)run->storing.flushed_large_ns / 1e9 } },
		.usb = link_of(&run->target) };
	for (size_t i = 0; i < table->count; i++)
		take_point(x, &table->list[i], run->target.request_limit_bytes);
	if (!x->point_count)
		return true;
	x->link_known = e->known.link > 0;
	x->card_known = e->known.card[x->direction] > 0;
	cost_line_make(&x->line, x->stored, x->point_count);
	if (!look_for_wander(x, table) || !find_culprits(x, &e->known, table, run))
		return false;
	take_phases(x, table, &e->known);
	keep_stalls_apart(x);
	budget(x, &e->known);
	e->count++;
	return true;
}

static size_t count_tables(const struct points *points)
{
	size_t n = 0;

	for (size_t i = 0; i < points->count; n++)
		i += points_table(points, i).count;
	return n;
}

int explanation_make(struct explanation *e, const struct run *run,
	const struct explain_known *known, struct error *err)
{
	struct points points;
	bool enough;

	*e = (struct explanation){ .known = *known };
	if (points_make(&points, run, err) < 0)
		return -1;
	e->tables = calloc(count_tables(&points) + 1, sizeof *e->tables);
	enough = e->tables != NULL;
	for (size_t i = 0; enough && i < points.count;) {
		struct points table = points_table(&points, i);

		enough = take_table(e, &table, run);
		i += table.count;
	}
	points_release(&points);
	if (!enough) {
		explanation_release(e);
		return error_set(err, ERROR_IO, "out of memory for '%s'", run->path);
	}
	doubt_turns(e, run);
	for (size_t i = 0; i < e->count; i++) {
		explain_phases_rule_out(&e->tables[i]);
		note_trust(&e->tables[i], known, run);
	}
	distrust(e);
	return 0;
}

void explanation_release(struct explanation *e)
{
	free(e->tables);
	*e = (struct explanation){ 0 };
}

const struct explained *explanation_of(const struct explanation *e, enum run_direction direction)
{
	for (size_t i = 0; i < e->count; i++)
		if (e->tables[i].direction == direction)
			return &e->tables[i];
	return NULL;
}
