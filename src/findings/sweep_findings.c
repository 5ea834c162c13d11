/* What a sweep found, in sentences. */
#include <math.h>
#include <string.h>

#include "base/advice.h"
#include "base/number.h"
#include "base/size.h"
#include "base/text.h"
#include "findings/alike.h"
#include "findings/flush_on_bus.h"
#include "findings/numbers.h"
#include "findings/phase_tables.h"
#include "findings/run_findings.h"
#include "findings/sweep_view.h"

enum {
	MEASURED,
	STOPPED,
	NOTHING,
	BEST,
	ERRORS,
	LEFT_OUT,
	DISTURBED,
	STORED_BY,
	NOT_STORED,
	POINTS_NOT_STORED,
	FLUSH_WAITS,
	FLUSH_EARLY,
	FLUSH_UNSENT,
	FLUSH_NEXT,
	FAILED_READS,
	BEHIND,
	STALLS,
	SPREAD,
	PLACES,
	BY_PLACE,
	WRITTEN_BEFORE,
	FEW,
	SPLIT,
	ABOVE_LINK,
	FOREIGN_IO,
	MERGED,
	WRAPPED,
	SHORT,
	TAIL,
	PHASES,
	PHASES_LEFT_OUT,
	BUS_SHARED,
	HOST,
};

#define POINT "direction order request_bytes in_flight "

const struct finding_code sweep_codes[] = {
	[MEASURED] = { "measured", FINDING_PLAIN, true, "all that was asked for was measured",
		"read_bytes_per_second stored_bytes_per_second acknowledged_bytes_per_second" },
	[STOPPED] = { "stopped", FINDING_CAUTION, true,
		"the run ended before all was measured; figures are of what was",
		"read_bytes_per_second stored_bytes_per_second acknowledged_bytes_per_second" },
	[NOTHING] = { "nothing", FINDING_CAUTION, true, "no pass was finished", NULL },
	[BEST] = { "best-rate", FINDING_PLAIN, false,
		"the highest rate of a direction and order, and the smallest request that reaches "
		"nearly as much; of writes the stored rate, where that is shown",
		"direction order in_flight bytes_per_second stored long_run_bytes_per_second "
		"enough_request_bytes share_of_link" },
	[ERRORS] = { "request-errors", FINDING_CAUTION, false, "requests failed", "requests" },
	[LEFT_OUT] = { "passes-left-out", FINDING_CAUTION, false,
		"passes that no figure rests on: cut short, empty, with errors, with I/O by "
		"others, or lost by the host",
		"passes passes_counted" },
	[DISTURBED] = { "disturbed-passes", FINDING_CAUTION, false,
		"the kernel counted errors or resets of the device during passes, which count for "
		"nothing",
		"passes device_errors" },
	[STORED_BY] = { "stored-by", FINDING_PLAIN, false,
		"what shows that writes were stored, and what that rests on",
		"stored_by head_bytes_per_second drain_bytes_per_second unless_bytes flusher "
		"buffer_bytes" },
	[NOT_STORED] = { "stored-not-shown", FINDING_CAUTION, false,
		"nothing shows when writes are stored: their rates are those of acknowledging",
		"waits_for_idle by_place host_away foreign device_errors flusher buffer_bytes" },
	[POINTS_NOT_STORED] = { "points-stored-not-shown", FINDING_CAUTION, false,
		"points whose passes are not shown to be stored, though others are", "points" },
	[FLUSH_WAITS] = { "flush-on-bus", FINDING_PLAIN, false,
		"the bus shows SYNCHRONIZE CACHE wait for what a burst of writes left to store",
		FLUSH_ON_BUS_KEYS },
	[FLUSH_EARLY] = { "flush-too-early", FINDING_CAUTION, false,
		"the bus shows SYNCHRONIZE CACHE answered sooner than what a burst of writes left "
		"takes to store",
		FLUSH_ON_BUS_KEYS },
	[FLUSH_UNSENT] = { "flush-not-sent", FINDING_CAUTION, false,
		"the kernel was asked to flush, and the bus shows no SYNCHRONIZE CACHE", NULL },
	[FLUSH_NEXT] = { "busy-after-flush", FINDING_CAUTION, false,
		"the bus shows the read after a flush wait: the target was not through with what "
		"it had answered for",
		NEXT_ON_BUS_KEYS },
	[FAILED_READS] = { "single-reads-failed", FINDING_CAUTION, false,
		"reads of single places anywhere on the target, by which it is seen whether it has "
		"come to rest, failed",
		"reads" },
	[BEHIND] = { "acknowledged-early", FINDING_CAUTION, false,
		"writes are acknowledged well before they are stored",
		POINT "acknowledged_bytes_per_second stored_bytes_per_second points" },
	[STALLS] = { "stalls", FINDING_CAUTION, false,
		"single requests, or closing flushes, took far longer than the median one: how "
		"many of them, their share of the time and the bytes between two, over all "
		"points of that direction and order; rates of the point named",
		POINT "slowest_seconds p50_seconds slowest_flush_seconds points stalls stall_share "
		      "bytes_between_stalls median_bytes_per_second "
		      "long_run_bytes_per_second" },
	[SPREAD] = { "wide-spread", FINDING_CAUTION, false, "passes of the same point differ",
		POINT "half_width_share points" },
	[PLACES] = { "places", FINDING_PLAIN, false,
		"of which places the rates speak, where that is not all of the target",
		"region_bytes target_bytes places least_covered_share most_covered_share" },
	[BY_PLACE] = { "rate-by-place", FINDING_CAUTION, false,
		"sequential rates depend on the place: a part of the region is slower, or quicker, "
		"at all sizes alike; shares are of the mean rate of all parts",
		"direction in_flight parts slowest_part fastest_part slowest_share fastest_share "
		"points" },
	[WRITTEN_BEFORE] = { "written-before", FINDING_CAUTION, false,
		"places take another time when they are written again; the 95 % intervals of "
		"stored rates reach from one to the other",
		"bytes first_seconds second_seconds" },
	[FEW] = { "few-passes", FINDING_CAUTION, false, "too few passes for a 95 % interval",
		"points" },
	[SPLIT] = { "split", FINDING_CAUTION, false,
		"the kernel splits requests on the way to the device",
		POINT "device_requests_per_request request_limit_bytes points" },
	[ABOVE_LINK] = { "above-link", FINDING_CAUTION, false,
		"a rate higher than the link can carry: something on the host answered, or the "
		"link is another one",
		POINT "acknowledged_bytes_per_second points" },
	[FOREIGN_IO] = { "foreign-io", FINDING_CAUTION, false,
		"the device served others during passes", "passes" },
	[MERGED] = { "merged", FINDING_CAUTION, false,
		"the device got fewer, larger requests than the host sent", "passes" },
	[WRAPPED] = { "wrapped", FINDING_CAUTION, false,
		"passes used the whole region up and began it again", "passes" },
	[SHORT] = { "short-passes", FINDING_CAUTION, false,
		"passes of too few requests for a reliable rate", "passes" },
	[TAIL] = { "last-sectors", FINDING_CAUTION, false,
		"passes touched the end of a USB disk, which the kernel asks for sector by sector",
		"passes" },
	[PHASES] = { "phases", FINDING_PLAIN, false,
		"where the time of a request goes, at the largest size that the kernel does not "
		"split",
		POINT "request_seconds command_seconds data_seconds link_seconds status_seconds "
		      "host_seconds" },
	[BUS_SHARED] = { "bus-shared", FINDING_CAUTION, false,
		"other devices moved data on the target's bus", "passes" },
	[PHASES_LEFT_OUT] = { "phases-left-out", FINDING_CAUTION, false,
		"passes were watched on the bus and do not show their phases",
		"passes passes_shown" },
	[HOST] = { "host-away", FINDING_CAUTION, false,
		"this computer was away during passes: stopped, suspended, its clock moved, or too "
		"busy to run them",
		"passes" },
};

const size_t sweep_code_count = sizeof sweep_codes / sizeof *sweep_codes;

struct writer {
	struct findings *f;
	struct pool *pool;
	const struct run *run;
	const struct points *points;
};

static const char *in_flight_words(struct pool *pool, const struct point *p, const char *before)
{
	return p->in_flight > 1 ? pool_printf(pool, "%s%u in flight", before, p->in_flight) : "";
}

/* "sequential reads of 4 KiB" */
static const char *point_words(struct pool *pool, const struct point *p)
{
	char size[SIZE_TEXT_MAX];

	return pool_printf(pool, "%s %ss of %s%s", run_order_name(p->order),
		run_direction_name(p->direction), size_format(size, p->request_bytes),
		in_flight_words(pool, p, " with "));
}

static const char *share_words(struct pool *pool, double share)
{
	const char *words;
	struct text t;

	text_init(&t);
	number_add_percent(&t, share);
	words = pool_printf(pool, "%s", t.bytes);
	text_release(&t);
	return words;
}

/* ---- the verdict, and the best of each table ---- */

static const struct point *highest(
	const struct points *list, enum run_direction direction, bool stored)
{
	const struct point *best = NULL;
	double most = 0;

	for (size_t i = 0; i < list->count; i++) {
		const struct point *p = &list->list[i];
		double rate = stored ? p->stored.median : p->acknowledged.median;

		if (p->direction == direction && rate > most) {
			best = p;
			most = rate;
		}
	}
	return best;
}

/* By what it stores, where that is shown of any. */
static const struct point *best_of(const struct points *list, enum run_direction direction)
{
	const struct point *best = highest(list, direction, true);

	return best ? best : highest(list, direction, false);
}

static bool is_stored(const struct point *p)
{
	return p->stored.median > 0;
}

static double rate_number(const struct point *p)
{
	return is_stored(p) ? p->stored.median : p->acknowledged.median;
}

static struct value rate_if(const struct point *p, bool stored)
{
	return p && is_stored(p) == stored ? value_rate(rate_number(p)) : value_unknown();
}

static const char *verb_of(const struct point *p)
{
	if (p->direction == RUN_READ)
		return "peak at";
	return is_stored(p) ? "are stored at up to" : "are acknowledged at";
}

/* Stalls that the passes of its neighbours met count for this point too: that its own met none is chance. A rate over whole
 * rounds has them in it. */
static const char *long_run_words(struct pool *pool, const struct point *p)
{
	char rate[SIZE_TEXT_MAX];

	if (!(p->long_run > 0) || !(sweep_stalls(p) || p->table_stalled > SWEEP_STALL_SHARE))
		return "";
	if (p->long_run < (1 - SWEEP_STALL_SHARE) * rate_number(p))
		return pool_printf(pool, " between stalls, %s in the long run",
			rate_format(rate, p->long_run));
	return sweep_stalls(p) ? ", stalls included" : "";
}

static const char *best_words(
	struct pool *pool, const struct point *read, const struct point *write)
{
	char r[SIZE_TEXT_MAX] = "", w[SIZE_TEXT_MAX] = "";

	if (read)
		rate_format(r, rate_number(read));
	if (write)
		rate_format(w, rate_number(write));
	return pool_printf(pool, "%s%s%s%s%s%s%s%s%s", read ? "reads peak at " : "", r,
		read ? long_run_words(pool, read) : "", read && write ? ", " : "",
		write ? "writes " : "", write ? verb_of(write) : "", write ? " " : "", w,
		write ? long_run_words(pool, write) : "");
}

static void add_verdict(struct writer *w)
{
	const struct point *read = best_of(w->points, RUN_READ),
			   *write = best_of(w->points, RUN_WRITE);
	bool whole = w->run->end.present && !strcmp(w->run->end.status, "complete");
	const char *words, *modelled = w->run->target.modelled ? " (modelled, not measured)" : "";
	struct finding *one;

	if (!read && !write) {
		finding_add(w->f, &sweep_codes[NOTHING],
			"No pass was finished: there is nothing to show.");
		return;
	}
	words = best_words(w->pool, read, write);
	if (whole)
		one = finding_add(w->f, &sweep_codes[MEASURED], "%c%s%s.", *words - 'a' + 'A',
			words + 1, modelled);
	else
		one = finding_add(w->f, &sweep_codes[STOPPED],
			"The run stopped early; so far %s%s.", words, modelled);
	finding_figure(one, "read_bytes_per_second", rate_if(read, true));
	finding_figure(one, "stored_bytes_per_second", rate_if(write, true));
	finding_figure(one, "acknowledged_bytes_per_second", rate_if(write, false));
}

/* The smallest request that reaches nearly all of the best rate: on a plateau, which size is best is chance. */
static const struct point *enough_of(const struct points *table, const struct point *best)
{
	for (size_t i = 0; i < table->count; i++)
		if (is_stored(&table->list[i]) == is_stored(best) &&
			rate_number(&table->list[i]) >= SWEEP_ENOUGH * rate_number(best))
			return &table->list[i];
	return best;
}

static const char *link_words(struct pool *pool, const struct point *p)
{
	return p->link_ceiling_bps > 0
		       ? pool_printf(pool, ", %s of what the link can carry",
				 share_words(pool, rate_number(p) / p->link_ceiling_bps))
		       : "";
}

/* The best of a direction and order. */
struct best {
	const struct point *point, *enough;
};

static bool is_alike(const struct best *a, const struct best *b)
{
	const struct point *p = a->point, *q = b->point;

	return p->direction == q->direction && p->order != q->order &&
	       p->in_flight == q->in_flight && is_stored(p) == is_stored(q) && !sweep_stalls(p) &&
	       !sweep_stalls(q) && a->enough->request_bytes == b->enough->request_bytes &&
	       alike(rate_number(p), rate_number(q));
}

static const char *order_words(const struct point *p, bool both)
{
	if (both)
		return "Sequential and random";
	return p->order == RUN_RANDOM ? "Random" : "Sequential";
}

/* like: the best of the other order, which is like it; NULL: none is. The sentence tells of the faster one then. */
static void add_best(struct writer *w, const struct best *b, const struct best *like)
{
	const struct point *best = b->point, *told = best, *enough = b->enough;
	char size[SIZE_TEXT_MAX], rate[SIZE_TEXT_MAX];
	struct finding *one;

	if (like && rate_number(like->point) > rate_number(best))
		told = like->point;
	one = finding_add(w->f, &sweep_codes[BEST],
		"%s %ss%s %s %s%s; %.0f %% of that from requests of %s up%s%s.",
		order_words(best, like), run_direction_name(best->direction), like ? " alike" : "",
		verb_of(told), rate_format(rate, rate_number(told)), long_run_words(w->pool, told),
		SWEEP_ENOUGH * 100, size_format(size, enough->request_bytes),
		in_flight_words(w->pool, told, " with "), link_words(w->pool, told));
	finding_figure(one, "direction", value_word(run_direction_name(best->direction)));
	finding_figure(one, "order", value_word(run_order_name(best->order)));
	finding_figure(one, "in_flight", value_count(best->in_flight));
	finding_figure(one, "bytes_per_second", value_rate(rate_number(best)));
	finding_figure(one, "stored", value_flag(is_stored(best)));
	finding_figure(one, "long_run_bytes_per_second",
		value_if(best->long_run > 0, value_rate(best->long_run)));
	finding_figure(one, "enough_request_bytes", value_bytes(enough->request_bytes));
	finding_figure(one, "share_of_link",
		value_if(best->link_ceiling_bps > 0,
			value_share(rate_number(best) / best->link_ceiling_bps)));
}

static void add_bests(struct writer *w)
{
	struct best *list = pool_alloc(w->pool, w->points->count, sizeof *list);
	size_t n = 0;

	for (size_t i = 0; list && i < w->points->count;) {
		struct points table = points_table(w->points, i);
		const struct point *best = best_of(&table, table.list[0].direction);

		if (best)
			list[n++] = (struct best){ best, enough_of(&table, best) };
		i += table.count;
	}
	for (size_t i = 0; i < n; i++) {
		const struct best *like = NULL;

		for (size_t k = 0; k < n && !like; k++)
			like = is_alike(&list[i], &list[k]) ? &list[k] : NULL;
		add_best(w, &list[i], like);
	}
}

/* ---- what touches single points: the worst is named, the others counted ---- */

/* 0 or less: nothing to say of this point; the larger, the worse. */
typedef double concern(const struct point *p);

static const struct point *worst_of(const struct writer *w, concern *how_bad, size_t *count)
{
	const struct point *worst = NULL;
	double most = 0;

	*count = 0;
	for (size_t i = 0; i < w->points->count; i++) {
		double bad = how_bad(&w->points->list[i]);

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

static const char *and_others(const struct writer *w, size_t count)
{
	return count > 1 ? pool_printf(w->pool, " (and %zu other point%s)", count - 1,
				   text_plural(count - 1))
			 : "";
}

/* The figures of POINT. */
static void add_point(struct finding *one, const struct point *p)
{
	finding_figure(one, "direction", value_word(run_direction_name(p->direction)));
	finding_figure(one, "order", value_word(run_order_name(p->order)));
	finding_figure(one, "request_bytes", value_bytes(p->request_bytes));
	finding_figure(one, "in_flight", value_count(p->in_flight));
}

static double half_width(const struct point *p)
{
	const struct rate_summary *s = is_stored(p) ? &p->stored : &p->acknowledged;
	double width = s->interval_known ? s->high - s->low : s->fastest - s->slowest;

	return s->median > 0 ? width / 2 / s->median : 0;
}

static double concern_spread(const struct point *p)
{
	double half = half_width(p);

	return p->pass_count > 1 && half > SWEEP_WIDE_SPREAD ? half : 0;
}

/* Beyond the rate itself a percentage tells nothing. */
static const char *spread_words(struct pool *pool, double half)
{
	return half < 1 ? pool_printf(pool, "%.0f %% either way", half * 100)
			: "more than the rate itself";
}

static void add_spread(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_spread, &count);
	struct finding *one;

	if (!p)
		return;
	one = finding_add(w->f, &sweep_codes[SPREAD],
		"The passes of %s differ by %s%s: make more or longer passes before comparing "
		"builds.",
		point_words(w->pool, p), spread_words(w->pool, half_width(p)),
		and_others(w, count));
	add_point(one, p);
	finding_figure(one, "half_width_share", value_share(half_width(p)));
	finding_figure(one, "points", value_count(count));
}

bool sweep_stalls(const struct point *p)
{
	bool one = p->lat_p50_s > 0 && p->lat_max_s >= SWEEP_STALL_SECONDS &&
		   p->lat_max_s / p->lat_p50_s >= SWEEP_STALL_TIMES;

	return one || (p->stalls && p->stalls_s > SWEEP_STALL_SHARE * p->stored_s);
}

static double concern_stall(const struct point *p)
{
	return sweep_stalls(p) ? fmax(p->lat_max_s, p->flush_stall_s) : 0;
}

/* Of all points of the table that p is in. */
struct stall_sums {
	uint64_t count;
	double seconds, stalled_s, bytes;
};

static struct stall_sums stalls_like(const struct writer *w, const struct point *p)
{
	struct stall_sums s = { 0 };

	for (size_t i = 0; i < w->points->count; i++) {
		const struct point *q = &w->points->list[i];

		if (q->direction != p->direction || q->order != p->order ||
			q->in_flight != p->in_flight)
			continue;
		s.count += q->stalls;
		s.seconds += q->stored_s;
		s.stalled_s += q->stalls_s;
		s.bytes += q->bytes;
	}
	return s;
}

/* ": 8 stalls of writes like these take 35 % of the time, one every 8.39 MB; median rate 3.03 MB/s, 1.96 MB/s in the long
 * run". One alone does not tell how often they come. */
static const char *stalls_words(
	struct pool *pool, const struct point *p, const struct stall_sums *s)
{
	char between[SIZE_TEXT_MAX], free_rate[SIZE_TEXT_MAX], all[SIZE_TEXT_MAX];

	if (!s->count || !(s->seconds > 0) || !(p->long_run > 0))
		return "";
	size_format_decimal(between, s->bytes / (double)s->count);
	rate_format(free_rate, p->stored.median);
	rate_format(all, p->long_run);
	if (s->count == 1)
		return pool_printf(pool,
			": one stall in %s of %ss like these, %s of the time; median rate %s, %s "
			"if they come as often as that",
			between, run_direction_name(p->direction),
			share_words(pool, s->stalled_s / s->seconds), free_rate, all);
	return pool_printf(pool,
		": %llu stalls of %ss like these take %s of the time, one every %s; median rate "
		"%s, %s in the long run",
		(unsigned long long)s->count, run_direction_name(p->direction),
		share_words(pool, s->stalled_s / s->seconds), between, free_rate, all);
}

static void add_stalls(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_stall, &count);
	char slowest[SIZE_TEXT_MAX], median[SIZE_TEXT_MAX];
	struct finding *one;
	struct stall_sums s;
	bool in_flush;

	if (!p)
		return;
	s = stalls_like(w, p);
	in_flush = p->flush_stall_s > p->lat_max_s;
	one = finding_add(w->f, &sweep_codes[STALLS],
		"The target stalls: the slowest of the %s%s took %s, the median one %s%s%s.",
		in_flush ? "closing flushes of " : "", point_words(w->pool, p),
		duration_format(slowest, in_flush ? p->flush_stall_s : p->lat_max_s),
		duration_format(median, in_flush ? p->flush_s : p->lat_p50_s), and_others(w, count),
		stalls_words(w->pool, p, &s));
	add_point(one, p);
	finding_figure(one, "slowest_seconds", value_seconds(p->lat_max_s));
	finding_figure(one, "p50_seconds", value_seconds(p->lat_p50_s));
	finding_figure(one, "slowest_flush_seconds",
		value_if(p->flush_stall_s > 0, value_seconds(p->flush_stall_s)));
	finding_figure(one, "points", value_count(count));
	finding_figure(one, "stalls", value_count(s.count));
	finding_figure(
		one, "stall_share", value_if(s.seconds > 0, value_share(s.stalled_s / s.seconds)));
	finding_figure(one, "bytes_between_stalls",
		value_if(
			s.count > 0, value_bytes_decimal(number_whole(s.bytes / (double)s.count))));
	finding_figure(one, "median_bytes_per_second",
		value_if(p->stored.median > 0, value_rate(p->stored.median)));
	finding_figure(one, "long_run_bytes_per_second",
		value_if(p->long_run > 0, value_rate(p->long_run)));
}

/* ---- what shows that writes were stored ---- */

static bool has_writes(const struct writer *w)
{
	for (size_t i = 0; i < w->points->count; i++)
		if (w->points->list[i].direction == RUN_WRITE && w->points->list[i].pass_count)
			return true;
	return false;
}

/* Its own flush, and what became of it. */
static const char *flusher_words(const struct run_storing *s)
{
	if (!strcmp(s->flusher, "refused"))
		return "the target refuses SYNCHRONIZE CACHE";
	if (!strcmp(s->flusher, "silent"))
		return "the target does not answer SYNCHRONIZE CACHE";
	if (!strcmp(s->flusher, "none"))
		return "the kernel treats the target as write through and sends no flush, and "
		       "this run could send none either";
	return "no flush was seen to wait for what is left to store";
}

static const char *unless_words(struct pool *pool, const struct run_storing *s)
{
	char size[SIZE_TEXT_MAX];

	/* A buffer that was seen full is known; what could hide is another one after it. */
	return pool_printf(pool, "unless %s more than %s",
		s->held_up ? "something behind that buffer holds" : "its buffer holds",
		size_format_decimal(size, SWEEP_HIDES * (double)s->free_bytes));
}

/* Held up by single requests, the others free (measure/store.h): no rate of a head start was seen. */
static bool goes_in_starts(const struct run_storing *s)
{
	return s->held_up && !(s->head_bps > s->drain_bps);
}

static const char *steady_words(struct pool *pool, const struct run_storing *s)
{
	char size[SIZE_TEXT_MAX];

	if (goes_in_starts(s))
		return pool_printf(pool,
			"Writes go in fits and starts: about every %s one waits for long, as where "
			"a buffer of that size is stored as a whole, or where the card stalls. "
			"Stored rates are over whole rounds of that; %s.",
			size_format_decimal(size, s->buffer_bytes), flusher_words(s));
	if (s->held_up)
		return pool_printf(pool,
			"Stored rates are those of a full buffer: the target runs about %s ahead "
			"of its storage, %s, and writes were timed while they had to wait for "
			"room. It stores that much, %s.",
			size_format_decimal(size, s->buffer_bytes), flusher_words(s),
			unless_words(pool, s));
	return pool_printf(pool,
		"Writes count as stored when they are acknowledged: no flush and no read had to "
		"wait for any, and %s written in one go was never held up. That is so %s.",
		size_format_decimal(size, (double)s->free_bytes), unless_words(pool, s));
}

/* By what followed bursts, which the buffer took whole: nothing told how a longer stretch goes. Where little was left behind,
 * the burst itself went at the pace of storing. */
static const char *never_full_words(struct pool *pool, const struct run_storing *s)
{
	uint64_t left_ns = s->burst_flush_ns + s->burst_wait_ns;
	char size[SIZE_TEXT_MAX];

	if (s->held_up || s->by == RUN_STORED_STEADY || left_ns * 20 < s->burst_ns)
		return "";
	return pool_printf(pool,
		" The buffer was never seen full: it took %s in one go; how fast a longer stretch "
		"is stored is not shown.",
		size_format_decimal(size, (double)s->free_bytes));
}

static const char *storing_words(struct pool *pool, const struct run_storing *s)
{
	if (s->by == RUN_STORED_FLUSH)
		return strcmp(s->flusher, "command") != 0
			       ? "Stored rates include the closing flush, which waits as long as "
				 "storing what is left must take."
			       : "Stored rates include the closing flush, which waits as long as "
				 "storing what is left must take. The kernel treats this target as "
				 "write through and sends none: this run sent SYNCHRONIZE CACHE "
				 "itself; other programs' flushes do not reach it.";
	if (s->by == RUN_STORED_SETTLED)
		return pool_printf(pool,
			"Stored rates include the time until single reads took their usual time "
			"again, because reads wait until all is stored; %s.",
			flusher_words(s));
	return steady_words(pool, s);
}

static const char *stored_words(struct pool *pool, const struct run_storing *s)
{
	return pool_printf(pool, "%s%s", storing_words(pool, s), never_full_words(pool, s));
}

static const char *seldom_words(struct pool *pool, const struct run_storing *s)
{
	char size[SIZE_TEXT_MAX];

	return pool_printf(pool,
		"while it looked, one write in about %s waited for a second or more, as where a "
		"large buffer is stored as a whole, or where the card stalls; that is too seldom "
		"for passes to be fair to it, and the rate between such waits is not kept up",
		size_format_decimal(size, s->buffer_bytes));
}

static const char *not_stored_words(struct pool *pool, const struct run_storing *s, bool modelled)
{
	if (!s->present)
		return "this record does not say how its target stores";
	if (s->host_away)
		return "this computer was stopped, suspended or too busy meanwhile; measure again "
		       "when it has time";
	if (s->foreign)
		return "something else used the target meanwhile; measure again when nothing does";
	if (s->device_errors)
		return pool_printf(pool,
			"the kernel counted errors or resets of the device meanwhile; %s, and "
			"measure again",
			advice_errors(modelled));
	if (s->by_place)
		return "writes slowed down at some places, and at others they were quick again at "
		       "once: a slow place, not a full buffer. What is stored meanwhile did not "
		       "show";
	if (s->waits_for_idle)
		return "it stores only when it is flushed, read or left alone, and its buffer was "
		       "never seen full";
	if (!s->held_up && s->buffer_bytes > 0)
		return seldom_words(pool, s);
	if ((double)s->burst_ns < SWEEP_BURST_NS)
		return "too little could be written, as the target is too quick";
	return "something waits after writes, but not as long as storing them would take, and its "
	       "buffer was never seen full";
}

static void add_stored_by(struct writer *w)
{
	const struct run_storing *s = &w->run->storing;
	struct finding *one;

	if (!has_writes(w))
		return;
	if (s->present && s->by) {
		one = finding_add(w->f, &sweep_codes[STORED_BY], "%s", stored_words(w->pool, s));
		finding_figure(one, "stored_by", value_word(run_stored_name(s->by)));
		finding_figure(one, "head_bytes_per_second",
			value_if(s->held_up, value_rate(s->head_bps)));
		finding_figure(one, "drain_bytes_per_second",
			value_if(s->held_up, value_rate(s->drain_bps)));
		finding_figure(one, "unless_bytes",
			value_if(s->by == RUN_STORED_STEADY,
				value_bytes(number_whole(SWEEP_HIDES * (double)s->free_bytes))));
	} else {
		one = finding_add(w->f, &sweep_codes[NOT_STORED],
			"Whether writes are stored is not shown: %s. Their rates here are those of "
			"acknowledging alone.",
			not_stored_words(w->pool, s, w->run->target.modelled));
		finding_figure(
			one, "waits_for_idle", value_if(s->present, value_flag(s->waits_for_idle)));
		finding_figure(one, "by_place", value_if(s->present, value_flag(s->by_place)));
		finding_figure(one, "host_away", value_if(s->present, value_flag(s->host_away)));
		finding_figure(one, "foreign", value_if(s->present, value_flag(s->foreign)));
		finding_figure(
			one, "device_errors", value_if(s->present, value_count(s->device_errors)));
	}
	finding_figure(one, "flusher", value_if(s->present, value_word(s->flusher)));
	finding_figure(
		one, "buffer_bytes", value_if(s->held_up, value_bytes((uint64_t)s->buffer_bytes)));
}

static void add_points_not_stored(struct writer *w)
{
	size_t n = 0;

	for (size_t i = 0; i < w->points->count; i++) {
		const struct point *p = &w->points->list[i];

		n += p->direction == RUN_WRITE && p->pass_count && !is_stored(p);
	}
	if (n && w->run->storing.by)
		finding_figure(finding_add(w->f, &sweep_codes[POINTS_NOT_STORED],
				       "At %zu point%s it is not shown that the writes were "
				       "stored: they grew slower within their passes, or the "
				       "target did not come to rest after them.",
				       n, text_plural(n)),
			"points", value_count(n));
}

static void add_flush_on_bus(struct writer *w)
{
	static const struct flush_codes codes = { &sweep_codes[FLUSH_WAITS],
		&sweep_codes[FLUSH_EARLY], &sweep_codes[FLUSH_UNSENT], &sweep_codes[FLUSH_NEXT] };

	if (has_writes(w))
		flush_on_bus_add(w->f, &w->run->storing, &codes);
}

static void add_failed_reads(struct writer *w)
{
	uint64_t n = w->run->storing.failed_reads;

	if (n)
		finding_figure(finding_add(w->f, &sweep_codes[FAILED_READS],
				       "%llu single read%s, somewhere on the target, failed while "
				       "this run looked at how writes are stored: part of the "
				       "target cannot be read; 'verify' finds where.",
				       (unsigned long long)n, text_plural((size_t)n)),
			"reads", value_count(n));
}

static double concern_behind(const struct point *p)
{
	if (p->direction != RUN_WRITE || p->stored.median <= 0)
		return 0;
	double times = p->acknowledged.median / p->stored.median;

	return times > SWEEP_BEHIND ? times : 0;
}

static void add_behind(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_behind, &count);
	char acknowledged[SIZE_TEXT_MAX], stored[SIZE_TEXT_MAX];
	struct finding *one;

	if (!p)
		return;
	one = finding_add(w->f, &sweep_codes[BEHIND],
		"Writes are acknowledged well before they are stored: %s are answered at %s and "
		"stored at %s%s. Quote the stored rate, and audit the write-behind.",
		point_words(w->pool, p), rate_format(acknowledged, p->acknowledged.median),
		rate_format(stored, p->stored.median), and_others(w, count));
	add_point(one, p);
	finding_figure(one, "acknowledged_bytes_per_second", value_rate(p->acknowledged.median));
	finding_figure(one, "stored_bytes_per_second", value_rate(p->stored.median));
	finding_figure(one, "points", value_count(count));
}

static double concern_split(const struct point *p)
{
	return point_flagged(p, RUN_PASS_SPLIT) && p->device_requests_each > SWEEP_SPLIT
		       ? p->device_requests_each
		       : 0;
}

static const char *limit_words(const struct writer *w, const struct point *p)
{
	uint32_t limit = w->run->target.request_limit_bytes;
	char size[SIZE_TEXT_MAX];

	return limit && p->request_bytes > limit
		       ? pool_printf(
				 w->pool, ": the kernel splits above %s", size_format(size, limit))
		       : "";
}

static void add_split(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_split, &count);
	uint32_t limit = w->run->target.request_limit_bytes;
	const char *words;
	struct finding *one;

	if (!p)
		return;
	words = point_words(w->pool, p);
	one = finding_add(w->f, &sweep_codes[SPLIT],
		"%c%s reach the device as %s requests each%s%s. Read their rate as that of the "
		"smaller requests.",
		*words ? *words - 'a' + 'A' : ' ', *words ? words + 1 : "",
		pool_printf(w->pool, "%.3g", p->device_requests_each), and_others(w, count),
		limit_words(w, p));
	add_point(one, p);
	finding_figure(one, "device_requests_per_request", value_number(p->device_requests_each));
	finding_figure(one, "request_limit_bytes", value_if(limit, value_bytes(limit)));
	finding_figure(one, "points", value_count(count));
}

static double concern_above_link(const struct point *p)
{
	if (p->link_ceiling_bps <= 0 || p->acknowledged.median <= p->link_ceiling_bps)
		return 0;
	return p->acknowledged.median;
}

static void add_above_link(struct writer *w)
{
	size_t count;
	const struct point *p = worst_of(w, concern_above_link, &count);
	char rate[SIZE_TEXT_MAX];
	struct finding *one;

	if (!p)
		return;
	one = finding_add(w->f, &sweep_codes[ABOVE_LINK],
		"More than the link can carry: %s show %s%s. Something on the host answered them, "
		"or the link is not the one the kernel reports.",
		point_words(w->pool, p), rate_format(rate, p->acknowledged.median),
		and_others(w, count));
	add_point(one, p);
	finding_figure(one, "acknowledged_bytes_per_second", value_rate(p->acknowledged.median));
	finding_figure(one, "points", value_count(count));
}

static double concern_few(const struct point *p)
{
	return p->pass_count &&
	       (!p->acknowledged.interval_known || (is_stored(p) && !p->stored.interval_known));
}

static void add_few(struct writer *w)
{
	size_t count;

	if (!worst_of(w, concern_few, &count))
		return;
	finding_figure(finding_add(w->f, &sweep_codes[FEW],
			       "%zu point%s %s too few passes for a 95 %% interval, so the noise "
			       "is not known there.",
			       count, text_plural(count), count == 1 ? "has" : "have"),
		"points", value_count(count));
}

/* ---- places ---- */

/* "1.2 % to 19 %" of the sequential points; figures 0 without any, or where all cover the region. */
struct cover {
	double least, most;
	size_t passes;
	bool spread; /* over the region, on purpose */
};

static struct cover cover_of(const struct writer *w)
{
	struct cover c = { .least = 1 };

	for (size_t i = 0; i < w->points->count; i++) {
		const struct point *p = &w->points->list[i];

		if (p->order != RUN_SEQUENTIAL || !p->pass_count)
			continue;
		c.least = fmin(c.least, p->covered);
		c.most = fmax(c.most, p->covered);
		c.passes = p->pass_count > c.passes ? p->pass_count : c.passes;
		c.spread = p->passes[0]->start_known;
	}
	return c;
}

static const char *cover_words(struct pool *pool, const struct cover *c, const char *region)
{
	const char *least = share_words(pool, c->least), *most = share_words(pool, c->most);
	bool same = !strcmp(least, most);

	if (c->passes == 1)
		return pool_printf(pool,
			"the sequential pass of a point went to one place of %s, %s%s%s of it long",
			region, least, same ? "" : " to ", same ? "" : most);
	return pool_printf(pool,
		"sequential passes of a point went to %zu place%s%s %s, %s%s%s of it altogether",
		c->passes, text_plural(c->passes), c->spread ? " spread over" : " of", region,
		least, same ? "" : " to ", same ? "" : most);
}

static void add_places(struct writer *w)
{
	const struct run *run = w->run;
	uint64_t region = run->plan.region_bytes, all = run->target.size_bytes;
	bool part = region && (double)region < SWEEP_COVERED * (double)all, few;
	struct cover c = cover_of(w);
	char r[SIZE_TEXT_MAX], t[SIZE_TEXT_MAX], s[SIZE_TEXT_MAX];
	struct finding *one;

	few = c.passes && c.least < SWEEP_COVERED;
	if (!region || !w->points->count || (!part && !few))
		return;
	size_format_decimal(r, (double)region);
	size_format_decimal(t, (double)all);
	size_format_decimal(s, (double)run->plan.region_start);
	one = finding_add(w->f, &sweep_codes[PLACES],
		"Rates speak of the places they were measured at, and no others: %s%s%s.",
		part ? pool_printf(
			       w->pool, "the region is %s of the target's %s, from %s on", r, t, s)
		     : "",
		part && few ? ", and " : "",
		few ? cover_words(w->pool, &c, part ? "it" : "the region") : "");
	finding_figure(one, "region_bytes", value_bytes(region));
	finding_figure(one, "target_bytes", value_if(all, value_bytes(all)));
	finding_figure(one, "places", value_if(few, value_count(c.passes)));
	finding_figure(one, "least_covered_share", value_if(few, value_share(c.least)));
	finding_figure(one, "most_covered_share", value_if(few, value_share(c.most)));
}

static const char *change_words(struct pool *pool, double share)
{
	return pool_printf(
		pool, "%.0f %% %s", fabs(share - 1) * 100, share < 1 ? "slower" : "faster");
}

static void add_by_place(struct writer *w, const struct points *table)
{
	const struct point *p = &table->list[0];
	const struct places *d = &p->places;
	struct finding *one;

	if (!d->differ)
		return;
	one = finding_add(w->f, &sweep_codes[BY_PLACE],
		"The rate of %s depends on the place: passes that began in part %zu of %zu of the "
		"region went %s than the mean of all parts, those in part %zu %s, at all sizes "
		"alike. Rates are of all these parts together: measure the --region that matters, "
		"and compare builds over the same one.",
		point_series_words(w->pool, p), d->slowest_part + 1, d->parts,
		change_words(w->pool, d->slowest), d->fastest_part + 1,
		change_words(w->pool, d->fastest));
	finding_figure(one, "direction", value_word(run_direction_name(p->direction)));
	finding_figure(one, "in_flight", value_count(p->in_flight));
	finding_figure(one, "parts", value_count(d->parts));
	finding_figure(one, "slowest_part", value_count(d->slowest_part + 1));
	finding_figure(one, "fastest_part", value_count(d->fastest_part + 1));
	finding_figure(one, "slowest_share", value_share(d->slowest));
	finding_figure(one, "fastest_share", value_share(d->fastest));
	finding_figure(one, "points", value_count(d->points));
}

static void add_written_before(struct writer *w)
{
	const struct run_storing *s = &w->run->storing;
	double times = (double)s->again_ns / (double)s->first_ns;
	struct finding *one;

	if (!has_writes(w) || !s->first_ns || !s->again_ns)
		return;
	one = finding_add(w->f, &sweep_codes[WRITTEN_BEFORE],
		"Places that this run had written before took %s the time they took at first. A "
		"pass meets some of either, and the 95 %% ranges of stored rates reach from one to "
		"the other: write the whole region once ('verify' does), then measure again.",
		times > 2 ? pool_printf(w->pool, "%.2g times", times)
			  : pool_printf(w->pool, "%.0f %% of", times * 100));
	finding_figure(one, "bytes", value_bytes_decimal(s->again_bytes));
	finding_figure(one, "first_seconds", value_ns(s->first_ns));
	finding_figure(one, "second_seconds", value_ns(s->again_ns));
}

static void add_all_places(struct writer *w)
{
	add_places(w);
	for (size_t i = 0; i < w->points->count;) {
		struct points table = points_table(w->points, i);

		add_by_place(w, &table);
		i += table.count;
	}
	add_written_before(w);
}

/* ---- flags of passes ---- */

static size_t flagged_passes(const struct writer *w, size_t bit)
{
	size_t n = 0;

	for (size_t i = 0; i < w->points->count; i++)
		n += w->points->list[i].flagged[bit];
	return n;
}

/* Words NULL: what there is to say of these is said elsewhere. */
static const struct {
	int code;
	const char *one, *many, *rest;
} flag_sentences[] = {
	[RUN_PASS_BIT_FOREIGN_IO] = { FOREIGN_IO, "pass saw", "passes saw",
		"I/O that this run did not ask for: close what uses the target, and measure "
		"again." },
	[RUN_PASS_BIT_SPLIT] = { SPLIT, NULL, NULL, NULL },
	[RUN_PASS_BIT_MERGED] = { MERGED, "pass had", "passes had",
		"requests merged on the way: the device got fewer, larger ones than the table "
		"says." },
	[RUN_PASS_BIT_WRAPPED] = { WRAPPED, "pass used", "passes used",
		"up the whole region and started over: a cache may have answered; give a larger "
		"--region or fewer --seconds." },
	[RUN_PASS_BIT_SHORT] = { SHORT, "pass has", "passes have",
		"too few requests for a reliable rate: give them more --seconds." },
	[RUN_PASS_BIT_ERRORS] = { ERRORS, NULL, NULL, NULL },
	[RUN_PASS_BIT_CUT] = { LEFT_OUT, NULL, NULL, NULL },
	[RUN_PASS_BIT_TAIL] = { TAIL, "pass touched", "passes touched",
		"the last 8 sectors, which the kernel requests from a USB disk one by one: keep "
		"the --region off them." },
	[RUN_PASS_BIT_RESETS] = { DISTURBED, NULL, NULL, NULL },
	[RUN_PASS_BIT_HOST] = { HOST, "pass was", "passes were",
		"lost by this computer, which was stopped, suspended or too busy to run them, or "
		"had its clock moved: not counted." },
};
_Static_assert(sizeof flag_sentences / sizeof *flag_sentences == RUN_PASS_FLAGS,
	"one row a flag of a pass");

static void add_flags(struct writer *w)
{
	for (size_t i = 0; i < RUN_PASS_FLAGS; i++) {
		size_t n = flag_sentences[i].one ? flagged_passes(w, i) : 0;

		if (n)
			finding_figure(
				finding_add(w->f, &sweep_codes[flag_sentences[i].code], "%zu %s %s",
					n, n == 1 ? flag_sentences[i].one : flag_sentences[i].many,
					flag_sentences[i].rest),
				"passes", value_count(n));
	}
}

/* Rates and times of data are then those of a part of the bus. */
static void add_bus_shared(struct writer *w)
{
	size_t n = 0;

	for (size_t i = 0; i < w->points->count; i++)
		for (size_t k = 0; k < w->points->list[i].pass_count; k++)
			n += w->points->list[i].passes[k]->bus_shared;
	if (n)
		finding_figure(
			finding_add(w->f, &sweep_codes[BUS_SHARED],
				"Other devices moved data on the same bus during %zu pass%s: what "
				"that took of the bus is in these times. Unplug them, or use "
				"another port, and measure again.",
				n, n == 1 ? "" : "es"),
			"passes", value_count(n));
}

static void add_errors(struct writer *w)
{
	uint64_t errors = 0;

	for (size_t i = 0; i < w->points->count; i++)
		errors += w->points->list[i].errors;
	if (errors)
		finding_figure(finding_add(w->f, &sweep_codes[ERRORS],
				       "%llu request%s failed; the CSV says in which pass.",
				       (unsigned long long)errors, errors == 1 ? "" : "s"),
			"requests", value_count(errors));
}

static void add_left_out(struct writer *w)
{
	size_t n = 0, passes = 0;
	struct finding *one;

	for (size_t i = 0; i < w->points->count; i++) {
		n += w->points->list[i].left_out - w->points->list[i].disturbed;
		passes += w->points->list[i].pass_count;
	}
	if (!n)
		return;
	one = finding_add(w->f, &sweep_codes[LEFT_OUT],
		"%zu pass%s left out of the figures (%zu %s): cut short, empty, with errors, with "
		"I/O by others, or lost by this computer.",
		n, n == 1 ? " is" : "es are", passes, passes == 1 ? "counts" : "count");
	finding_figure(one, "passes", value_count(n));
	finding_figure(one, "passes_counted", value_count(passes));
}

static void add_disturbed(struct writer *w)
{
	size_t passes = 0, errors = 0;
	struct finding *one;

	for (size_t i = 0; i < w->points->count; i++) {
		passes += w->points->list[i].disturbed;
		errors += (size_t)w->points->list[i].device_errors;
	}
	if (!passes)
		return;
	one = finding_add(w->f, &sweep_codes[DISTURBED],
		"%zu pass%s not counted: the kernel saw %zu error%s or reset%s of the device "
		"meanwhile; %s, and measure again.",
		passes, passes == 1 ? " is" : "es are", errors, text_plural(errors),
		text_plural(errors), advice_errors(w->run->target.modelled));
	finding_figure(one, "passes", value_count(passes));
	finding_figure(one, "device_errors", value_count(errors));
}

void sweep_findings_add(struct findings *f, const struct run *run, const struct points *points)
{
	struct writer w = { .f = f, .pool = f->pool, .run = run, .points = points };

	add_verdict(&w);
	run_findings_add(f, run);
	add_bests(&w);
	add_errors(&w);
	add_left_out(&w);
	add_disturbed(&w);
	add_stored_by(&w);
	add_flush_on_bus(&w);
	add_points_not_stored(&w);
	add_failed_reads(&w);
	add_behind(&w);
	add_stalls(&w);
	add_spread(&w);
	add_all_places(&w);
	add_few(&w);
	add_split(&w);
	add_above_link(&w);
	add_flags(&w);
	phases_findings_add(f, points, &sweep_codes[PHASES], &sweep_codes[PHASES_LEFT_OUT]);
	add_bus_shared(&w);
}
