/* From passes to points. */
#include "findings/points.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "analysis/cling.h"
#include "analysis/quantile.h"
#include "base/error.h"
#include "base/pool.h"
#include "findings/link.h"

static int compare_u64(uint64_t a, uint64_t b)
{
	return a < b ? -1 : a > b;
}

/* By table, then size, then number of the pass. */
static int compare_passes(const void *a, const void *b)
{
	const struct run_pass *x = *(const struct run_pass *const *)a;
	const struct run_pass *y = *(const struct run_pass *const *)b;
	int order = (int)x->direction - (int)y->direction;

	if (!order)
		order = (int)x->order - (int)y->order;
	if (!order)
		order = compare_u64(x->in_flight, y->in_flight);
	if (!order)
		order = compare_u64(x->request_bytes, y->request_bytes);
	if (!order)
		order = compare_u64(x->pass, y->pass);
	return order ? order : compare_u64(x->at_ns, y->at_ns);
}

static bool same_table(const struct point *a, const struct point *b)
{
	return a->direction == b->direction && a->order == b->order && a->in_flight == b->in_flight;
}

static bool belongs(const struct point *p, const struct run_pass *pass)
{
	return p->direction == pass->direction && p->order == pass->order &&
	       p->in_flight == pass->in_flight && p->request_bytes == pass->request_bytes;
}

static double seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

static double value_p50(const struct run_pass *p)
{
	return seconds(p->lat_p50_ns);
}

static double value_flush(const struct run_pass *p)
{
	return seconds(p->flush_ns);
}

static double value_requests_per_second(const struct run_pass *p)
{
	return p->busy_ns ? (double)p->requests / seconds(p->busy_ns) : 0;
}

typedef double pass_value(const struct run_pass *);

static void collect(const struct point *p, pass_value *value, double *scratch)
{
	for (size_t i = 0; i < p->pass_count; i++)
		scratch[i] = value(p->passes[i]);
}

static struct rate_summary rates_of(const struct point *p, pass_value *value, double *scratch)
{
	collect(p, value, scratch);
	return rate_summary_of(scratch, p->pass_count);
}

static double median_of(const struct point *p, pass_value *value, double *scratch)
{
	if (!p->pass_count)
		return 0;
	collect(p, value, scratch);
	quantile_sort(scratch, p->pass_count);
	return quantile_median_of_sorted(scratch, p->pass_count);
}

/* Without the empty writes by which the kernel counts flushes. */
static uint64_t device_requests(const struct run_pass *p)
{
	uint64_t more = p->device_requests > p->requests ? p->device_requests - p->requests : 0;

	return p->device_requests - (more < p->device_flushes ? more : p->device_flushes);
}

/* Until all of it was stored; 0: it is not known. */
static double stored_seconds(const struct run_pass *p)
{
	double rate = run_pass_rate_stored(p);

	return rate > 0 ? (double)p->bytes / rate : 0;
}

/* What requests stalled in it, beyond the median one. */
static double stalled_seconds(const struct run_pass *p)
{
	return fmax(0, seconds(p->stall_ns) - seconds(p->lat_p50_ns) * (double)p->stalls);
}

static void add_times(struct point *p, const struct run_pass *pass)
{
	if (!(stored_seconds(pass) > 0))
		return;
	p->bytes += (double)pass->bytes;
	p->stored_s += stored_seconds(pass);
	p->stalls += pass->stalls;
	p->stalls_s += stalled_seconds(pass);
}

/* The later in the list, the weaker. */
static void add_evidence(struct point *p, const struct run_pass *pass)
{
	if (pass->direction != RUN_WRITE || !pass->stored_by || !pass->stored_ns)
		return;
	p->shown++;
	if (pass->stored_by > p->stored_by)
		p->stored_by = pass->stored_by;
}

static void add_up(struct point *p)
{
	uint64_t device = 0, host = 0;
	bool known = p->pass_count > 0;

	for (size_t i = 0; i < p->pass_count; i++) {
		const struct run_pass *pass = p->passes[i];

		if (seconds(pass->lat_max_ns) > p->lat_max_s)
			p->lat_max_s = seconds(pass->lat_max_ns);
		known = known && pass->device_known;
		device += device_requests(pass);
		host += pass->requests;
		add_times(p, pass);
		add_evidence(p, pass);
	}
	/* Some passes may have gone by without; of most it must be known. */
	if (2 * p->shown <= p->pass_count)
		p->stored_by = RUN_NOT_SHOWN;
	p->device_requests_each = known && host ? (double)device / (double)host : 0;
}

/* A closing flush stalls that makes its pass take half as long again as its bytes take in the median pass, and FLUSH_STALL_S at
 * least (ours). What requests stalled in it is counted with them. */
#define FLUSH_STALL_SHARE 0.5
#define FLUSH_STALL_S 0.05

static double free_seconds(const struct run_pass *p)
{
	double stored = stored_seconds(p);

	return stored > 0 ? stored - stalled_seconds(p) : 0;
}

static double value_seconds_per_byte(const struct run_pass *p)
{
	return p->bytes ? free_seconds(p) / (double)p->bytes : 0;
}

/* Behind a buffer a card's stall may pass in the flush alone. */
static void add_flush_stalls(struct point *p, double *scratch)
{
	double each = median_of(p, value_seconds_per_byte, scratch);

	if (p->pass_count < 3 || !(each > 0))
		return;
	for (size_t i = 0; i < p->pass_count; i++) {
		const struct run_pass *pass = p->passes[i];
		double usual = each * (double)pass->bytes;
		double more = free_seconds(pass) - usual, flush = seconds(pass->flush_ns);

		if (more < FLUSH_STALL_S || more < FLUSH_STALL_SHARE * usual ||
			flush - p->flush_s < more / 2)
			continue;
		p->stalls++;
		p->stalls_s += more;
		p->flush_stall_s = fmax(p->flush_stall_s, flush);
	}
}

bool point_has_p99(const struct point *p)
{
	for (size_t i = 0; i < p->pass_count; i++)
		if (p->passes[i]->requests < RUN_P99_REQUESTS)
			return false;
	return p->pass_count > 0;
}

static double value_p99(const struct run_pass *p)
{
	return seconds(p->lat_p99_ns);
}

static void fill(struct point *p, double *scratch)
{
	add_up(p);
	p->acknowledged = rates_of(p, run_pass_rate_acknowledged, scratch);
	if (p->direction == RUN_READ || p->stored_by)
		p->stored = rates_of(p, run_pass_rate_stored, scratch);
	p->requests_per_second = median_of(p, value_requests_per_second, scratch);
	p->lat_p50_s = median_of(p, value_p50, scratch);
	p->lat_p99_s = point_has_p99(p) ? median_of(p, value_p99, scratch) : 0;
	p->flush_s = median_of(p, value_flush, scratch);
	if (p->direction == RUN_WRITE && p->stored_by)
		add_flush_stalls(p, scratch);
}

static void add_flags(struct point *p, const struct run_pass *pass)
{
	p->errors += pass->errors;
	if (pass->flags & RUN_PASS_RESETS) {
		p->disturbed++;
		p->device_errors += pass->device_errors;
	}
	for (size_t f = 0; f < RUN_PASS_FLAGS; f++)
		p->flagged[f] += (pass->flags >> f) & 1;
}

/* Splits the sorted passes into points; those that do not count go behind the ones that do. */
static size_t take_point(struct point *p, const struct run_pass **passes, size_t left)
{
	const struct run_pass *first = passes[0];
	size_t n = 0, good = 0;

	*p = (struct point){ .direction = first->direction,
		.order = first->order,
		.in_flight = first->in_flight,
		.request_bytes = first->request_bytes,
		.passes = passes };
	while (n < left && belongs(p, passes[n])) {
		add_flags(p, passes[n]);
		if (run_pass_usable(passes[n])) {
			const struct run_pass *good_one = passes[n];

			passes[n] = passes[good];
			passes[good++] = good_one;
		}
		n++;
	}
	p->pass_count = good;
	p->left_out = n - good;
	return n;
}

static size_t count_points(const struct run_pass **passes, size_t n)
{
	struct point p;
	size_t points = 0;

	for (size_t at = 0; at < n; points++)
		at += take_point(&p, passes + at, n - at);
	return points;
}

/* Stalls of a table: what a point's own passes met of them is chance. */
struct stall_sums {
	double count, seconds, bytes, stalled_s;
};

static struct stall_sums stalls_of(const struct points *table)
{
	struct stall_sums s = { 0 };

	for (size_t i = 0; i < table->count; i++) {
		s.count += (double)table->list[i].stalls;
		s.seconds += table->list[i].stored_s;
		s.bytes += table->list[i].bytes;
		s.stalled_s += table->list[i].stalls_s;
	}
	return s;
}

/* Do they come with the bytes moved (a card that tidies up), or with time (a host that is busy)? Whichever the points'
 * counts are nearer to, by Pearson's chi-squared. */
static bool stalls_follow_bytes(const struct points *table, const struct stall_sums *s)
{
	double by_bytes = 0, by_time = 0;

	for (size_t i = 0; i < table->count; i++) {
		const struct point *p = &table->list[i];
		double n = (double)p->stalls, bytes = s->count * p->bytes / s->bytes,
		       time = s->count * p->stored_s / s->seconds;

		if (!(bytes > 0) || !(time > 0))
			continue;
		by_bytes += (n - bytes) * (n - bytes) / bytes;
		by_time += (n - time) * (n - time) / time;
	}
	return by_bytes <= by_time;
}

static void add_long_run(const struct points *all, size_t first)
{
	struct points table = points_table(all, first);
	struct stall_sums s = stalls_of(&table);
	bool follow_bytes = s.count > 0 && stalls_follow_bytes(&table, &s);

	for (size_t i = 0; i < table.count; i++) {
		struct point *p = &table.list[i];
		double free_s = p->stored_s - p->stalls_s;
		double share = s.seconds > 0 ? s.stalled_s / s.seconds : 0;

		p->table_stalled = share;
		if (!(p->stored.median > 0) || !(free_s > 0))
			continue;
		p->long_run = p->bytes / (follow_bytes ? free_s + p->bytes * s.stalled_s / s.bytes
						       : free_s / (1 - share));
	}
}

/* ---- intervals of passes that resemble their neighbours ---- */

typedef struct rate_summary *summary_of(struct point *p);

static struct rate_summary *acknowledged_of(struct point *p)
{
	return &p->acknowledged;
}

static struct rate_summary *stored_of(struct point *p)
{
	return &p->stored;
}

static size_t take_passes(struct wander_pass *out, const struct points *table, pass_value *rate)
{
	size_t n = 0, point = 0;

	for (size_t i = 0; i < table->count; i++) {
		size_t before = n;

		for (size_t k = 0; k < table->list[i].pass_count; k++) {
			const struct run_pass *pass = table->list[i].passes[k];

			if (rate(pass) > 0)
				out[n++] = (struct wander_pass){ .at_s = seconds(pass->at_ns),
					.point = point,
					.log_seconds = -log(rate(pass)) };
		}
		point += n > before; /* a number for each that has any */
	}
	wander_sort(out, n);
	return n;
}

/* Passes of a point are farther apart in time than those of a table, but not so far that they share nothing. */
static bool widen(
	const struct points *table, struct wander_pass *room, pass_value *rate, summary_of *summary)
{
	struct cling cling;
	size_t n = take_passes(room, table, rate);

	if (!cling_find(&cling, room, n))
		return false;
	for (size_t i = 0; i < table->count; i++) {
		struct rate_summary *s = summary(&table->list[i]);

		rate_summary_widen(s, cling_half_of_mean(&cling, s->n));
	}
	return true;
}

static bool widen_all(struct points *all, size_t passes)
{
	struct wander_pass *room = calloc(passes + 1, sizeof *room);
	bool enough = room != NULL;

	for (size_t i = 0; enough && i < all->count; i += points_table(all, i).count) {
		struct points table = points_table(all, i);

		enough = widen(&table, room, run_pass_rate_stored, stored_of);
		if (enough && all->list[i].direction == RUN_WRITE)
			enough = widen(&table, room, run_pass_rate_acknowledged, acknowledged_of);
		for (size_t k = i; k < i + table.count && all->list[k].direction == RUN_READ; k++)
			all->list[k].acknowledged = all->list[k].stored;
	}
	free(room);
	return enough;
}

/* ---- parts of the region ---- */

static double log_rate(const struct run_pass *p)
{
	double rate = run_pass_rate_stored(p);

	return log(rate > 0 ? rate : run_pass_rate_acknowledged(p));
}

/* As passes are laid out: measure/offsets.h. */
static size_t part_of(const struct run_pass *p, const struct run_plan *plan)
{
	uint64_t slots = plan->region_bytes / p->request_bytes, parts = plan->passes;
	uint64_t slot = (p->start_bytes - plan->region_start) / p->request_bytes;
	size_t part = 0;

	while (part < parts &&
		slot >= slots / parts * (part + 1) + slots % parts * (part + 1) / parts)
		part++;
	return part;
}

/* The logarithms of its passes' rates, one in each part. False: not one in each, or of unlike rates. */
static bool take_parts(double *row, const struct point *p, const struct run_plan *plan)
{
	bool stored = p->stored.median > 0, had[PLACES_MAX] = { false };
	size_t parts = plan->passes;

	if (p->pass_count != parts || (p->direction == RUN_WRITE && stored && p->shown != parts))
		return false;
	for (size_t i = 0; i < parts; i++) {
		const struct run_pass *pass = p->passes[i];
		size_t part = part_of(pass, plan);

		if (!pass->start_known || part >= parts || had[part])
			return false;
		had[part] = true;
		row[part] = log_rate(pass);
	}
	return true;
}

static bool find_places(const struct points *table, const struct run_plan *plan)
{
	size_t rows = 0, parts = plan->passes;
	struct places found;
	double *v;

	if (table->list[0].order != RUN_SEQUENTIAL || parts < 2 || parts > PLACES_MAX ||
		!plan->region_bytes)
		return true;
	v = calloc(table->count * parts, sizeof *v);
	if (!v)
		return false;
	for (size_t i = 0; i < table->count; i++)
		rows += take_parts(v + rows * parts, &table->list[i], plan);
	places_find(&found, v, rows, parts);
	free(v);
	for (size_t i = 0; i < table->count; i++)
		table->list[i].places = found;
	return true;
}

static double covered(const struct point *p, const struct run_plan *plan)
{
	double bytes = 0;

	for (size_t i = 0; i < p->pass_count; i++)
		bytes += (double)p->passes[i]->bytes;
	return plan->region_bytes ? fmin(1, bytes / (double)plan->region_bytes) : 0;
}

/* Which passes met places that were written before is chance, and the target will soon have no others. */
static void reach_again(struct points *all, const struct run_storing *s)
{
	double times = (double)s->first_ns / (double)s->again_ns;

	for (size_t i = 0; s->first_ns && s->again_ns && i < all->count; i++)
		if (all->list[i].direction == RUN_WRITE)
			rate_summary_reach(&all->list[i].stored, fmin(1, times), fmax(1, times));
}

static bool find_all_places(struct points *all, const struct run_plan *plan)
{
	for (size_t i = 0; i < all->count; i++)
		all->list[i].covered = covered(&all->list[i], plan);
	for (size_t i = 0; i < all->count; i += points_table(all, i).count) {
		struct points table = points_table(all, i);

		if (!find_places(&table, plan))
			return false;
	}
	return true;
}

int points_make(struct points *out, const struct run *run, struct error *err)
{
	size_t n = run->pass_count, at = 0;
	double *scratch = calloc(n + 1, sizeof *scratch);
	double ceiling = link_ceiling_bps(run->target.transport, run->target.link_bits_per_second);

	*out = (struct points){ .passes = calloc(n + 1, sizeof *out->passes) };
	if (!scratch || !out->passes)
		goto fail;
	for (size_t i = 0; i < n; i++)
		out->passes[i] = &run->passes[i];
	qsort(out->passes, n, sizeof *out->passes, compare_passes);
	out->count = count_points(out->passes, n);
	out->list = calloc(out->count + 1, sizeof *out->list);
	if (!out->list)
		goto fail;
	for (size_t i = 0; i < out->count; i++) {
		at += take_point(&out->list[i], out->passes + at, n - at);
		fill(&out->list[i], scratch);
		out->list[i].link_ceiling_bps = ceiling;
	}
	for (size_t i = 0; i < out->count; i += points_table(out, i).count)
		add_long_run(out, i);
	if (!widen_all(out, n) || !find_all_places(out, &run->plan))
		goto fail;
	reach_again(out, &run->storing);
	free(scratch);
	return 0;
fail:
	free(scratch);
	points_release(out);
	return error_set(err, ERROR_IO, "out of memory for the passes of '%s'", run->path);
}

void points_release(struct points *p)
{
	free(p->list);
	free(p->passes);
	*p = (struct points){ 0 };
}

struct points points_table(const struct points *all, size_t first)
{
	size_t n = 1;

	while (first + n < all->count && same_table(&all->list[first], &all->list[first + n]))
		n++;
	return (struct points){ .list = &all->list[first], .count = n };
}

size_t point_flagged(const struct point *p, enum run_pass_flag flag)
{
	return p->flagged[__builtin_ctz((unsigned)flag)];
}

const char *points_series_words(
	struct pool *pool, enum run_order order, enum run_direction direction, unsigned in_flight)
{
	const char *o = run_order_name(order), *d = run_direction_name(direction);

	return in_flight > 1 ? pool_printf(pool, "%s %ss, %u in flight", o, d, in_flight)
			     : pool_printf(pool, "%s %ss", o, d);
}

const char *point_series_words(struct pool *pool, const struct point *p)
{
	return points_series_words(pool, p->order, p->direction, p->in_flight);
}
