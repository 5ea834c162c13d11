/* The tables of a sweep. */
#include "base/number.h"
#include "findings/phase_tables.h"
#include "findings/record_view.h"
#include "findings/sweep_view.h"

#define PASS(function, expression) COLUMN_VALUE(function, struct sweep_pass, r, expression)
#define POINT(function, expression) COLUMN_VALUE(function, struct point, r, expression)
#define TIMES(function, expression) COLUMN_VALUE(function, struct sweep_times, r, expression)
#define STRETCH(function, expression) COLUMN_VALUE(function, struct sweep_stretch, r, expression)
#define FIT(function, expression) COLUMN_VALUE(function, struct sweep_fit, r, expression)
#define PLAN(function, expression) COLUMN_VALUE(function, struct run, r, expression)

/* Rates and times of points are 0 where there is none. */
static struct value some_rate(double rate)
{
	return value_if(rate > 0, value_rate(rate));
}

static struct value some_seconds(double s)
{
	return value_if(s > 0, value_seconds(s));
}

static struct value stored_by(enum run_stored_by by)
{
	return value_if(by != RUN_NOT_SHOWN, value_word(run_stored_name(by)));
}

/* ---- one row a pass ---- */

PASS(pass_direction, value_word(run_direction_name(r->pass->direction)))
PASS(pass_order, value_word(run_order_name(r->pass->order)))
PASS(pass_request_bytes, value_bytes(r->pass->request_bytes))
PASS(pass_in_flight, value_count(r->pass->in_flight))
PASS(pass_pass, value_count(r->pass->pass))
PASS(pass_bytes, value_bytes_decimal(r->pass->bytes))
PASS(pass_requests, value_count(r->pass->requests))
PASS(pass_device_requests, value_if(r->pass->device_known, value_count(r->pass->device_requests)))
PASS(pass_seconds, value_ns(r->pass->busy_ns))
PASS(pass_flush, value_ns(r->pass->flush_ns))
PASS(pass_acknowledged, some_rate(run_pass_rate_acknowledged(r->pass)))
PASS(pass_stored, some_rate(run_pass_rate_stored(r->pass)))
PASS(pass_stored_by, stored_by(r->pass->stored_by))
PASS(pass_stored_seconds, value_if(r->pass->stored_ns > 0, value_ns(r->pass->stored_ns)))
PASS(pass_settle, value_ns(r->pass->settle_ns))
PASS(pass_start, value_if(r->pass->start_known, value_bytes(r->pass->start_bytes)))
PASS(pass_lead, value_bytes_decimal(r->pass->lead_bytes))
PASS(pass_stalls, value_count(r->pass->stalls))
PASS(pass_stall_seconds, value_ns(r->pass->stall_ns))
PASS(pass_p50, value_ns(r->pass->lat_p50_ns))
PASS(pass_p99, value_if(r->pass->requests >= RUN_P99_REQUESTS, value_ns(r->pass->lat_p99_ns)))
PASS(pass_max, value_ns(r->pass->lat_max_ns))
PASS(pass_errors, value_count(r->pass->errors))
PASS(pass_flags, value_words(r->flags))

static const struct column passes[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, pass_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, pass_order },
	{ "request_bytes", NULL, "bytes of one request", 0, false, NULL, pass_request_bytes },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, pass_in_flight },
	{ "pass", NULL, "number of the pass at its point, from 1", 0, false, NULL, pass_pass },
	{ "bytes", NULL, "bytes moved", 0, false, NULL, pass_bytes },
	{ "requests", NULL, "requests sent by the host", 0, false, NULL, pass_requests },
	{ "device_requests", NULL, "requests that the kernel counted at the device", 0, false, NULL,
		pass_device_requests },
	{ "seconds", NULL, "first request sent to last one answered", 0, false, NULL,
		pass_seconds },
	{ "flush_seconds", NULL, "time of the closing flush; 0 for reads", 0, false, NULL,
		pass_flush },
	{ "acknowledged_bytes_per_second", NULL, "rate until acknowledged", 0, false, NULL,
		pass_acknowledged },
	{ "stored_bytes_per_second", NULL, "rate until all was stored, where that is shown", 0,
		false, NULL, pass_stored },
	{ "request_time_p50_seconds", NULL, "median time of a request", 0, false, NULL, pass_p50 },
	{ "request_time_p99_seconds", NULL,
		"99th percentile of the time of a request; null of fewer than 100 requests", 0,
		false, NULL, pass_p99 },
	{ "request_time_max_seconds", NULL, "slowest request", 0, false, NULL, pass_max },
	{ "errors", NULL, "requests that failed", 0, false, NULL, pass_errors },
	{ "flags", NULL, "what was odd about the pass", 0, true, NULL, pass_flags },
	{ "stored_by", NULL,
		"what shows that a write pass was stored: flush, settled or steady; null where "
		"nothing does",
		0, true, NULL, pass_stored_by },
	{ "stored_seconds", NULL, "time in which it was stored", 0, false, NULL,
		pass_stored_seconds },
	{ "settle_seconds", NULL,
		"after the closing flush, until single reads took their usual time again", 0, false,
		NULL, pass_settle },
	{ "lead_bytes", NULL, "written just before, untimed, to fill the target's buffer", 0, false,
		NULL, pass_lead },
	{ "stalls", NULL, "requests that took over 20 times the median", 0, false, NULL,
		pass_stalls },
	{ "stall_seconds", NULL, "time in those", 0, false, NULL, pass_stall_seconds },
	{ "start_bytes", NULL, "where on the target its first request went", 0, false, NULL,
		pass_start },
};

const struct table_spec sweep_passes_spec = { .key = "passes",
	.meaning = "a pass, in the order they were made",
	.csv = CSV_RUN_TARGET,
	.row_bytes = sizeof(struct sweep_pass),
	TABLE_COLUMNS(passes) };

/* ---- one row a point ---- */

static const struct point *first_point(const struct table *t)
{
	return t->count ? t->rows : NULL;
}

static bool writes(const struct table *t)
{
	return t->count && first_point(t)->direction == RUN_WRITE;
}

static bool reads(const struct table *t)
{
	return !writes(t);
}

static bool link_known(const struct table *t)
{
	return t->count && first_point(t)->link_ceiling_bps > 0;
}

static bool requests_differ(const struct table *t)
{
	for (size_t i = 0; i < t->count; i++) {
		double each = first_point(t)[i].device_requests_each;

		if (each > 0 && (each > 1.005 || each < 0.995))
			return true;
	}
	return false;
}

static bool stalls(const struct table *t)
{
	for (size_t i = 0; i < t->count; i++)
		if (sweep_stalls(&first_point(t)[i]))
			return true;
	return false;
}

static struct value end_of(const struct rate_summary *s, double end)
{
	return value_if(s->interval_known, value_rate(end));
}

static bool is_write(const struct point *p)
{
	return p->direction == RUN_WRITE;
}

POINT(point_direction, value_word(run_direction_name(r->direction)))
POINT(point_order, value_word(run_order_name(r->order)))
POINT(point_in_flight, value_count(r->in_flight))
POINT(point_request, value_bytes(r->request_bytes))
POINT(point_acknowledged, some_rate(r->acknowledged.median))
POINT(point_acknowledged_range, value_rate_range(&r->acknowledged))
POINT(point_acknowledged_low, end_of(&r->acknowledged, r->acknowledged.low))
POINT(point_acknowledged_high, end_of(&r->acknowledged, r->acknowledged.high))
POINT(point_stored, value_if(is_write(r), some_rate(r->stored.median)))
POINT(point_stored_range, value_rate_range(&r->stored))
POINT(point_stored_low, value_if(is_write(r), end_of(&r->stored, r->stored.low)))
POINT(point_stored_high, value_if(is_write(r), end_of(&r->stored, r->stored.high)))
POINT(point_stored_by, stored_by(r->stored_by))
POINT(point_long_run, some_rate(r->long_run))
POINT(point_stalls, value_count(r->stalls))
POINT(point_stall_share, value_if(r->stored_s > 0, value_share(r->stalls_s / r->stored_s)))
POINT(point_of_link, value_if(r->link_ceiling_bps > 0 && r->stored.median > 0,
			     value_share(r->stored.median / r->link_ceiling_bps)))
POINT(point_requests, value_if(r->requests_per_second > 0, value_number(r->requests_per_second)))
POINT(point_p50, some_seconds(r->lat_p50_s))
POINT(point_p99, some_seconds(r->lat_p99_s))
POINT(point_slowest, some_seconds(r->lat_max_s))
POINT(point_flush, some_seconds(r->flush_s))
POINT(point_device, value_if(r->device_requests_each > 0, value_number(r->device_requests_each)))
#define PHASE(function, which)                                  \
	POINT(function, value_if(phases_of_point(r).passes > 0, \
				value_seconds(phases_of_point(r).seconds[which])))
PHASE(point_command, RUN_PHASE_COMMAND)
PHASE(point_data, RUN_PHASE_DATA)
PHASE(point_status, RUN_PHASE_STATUS)
PHASE(point_host, RUN_PHASE_HOST)
POINT(point_passes, value_count(r->pass_count))
POINT(point_left_out, value_count(r->left_out))
POINT(point_errors, value_count(r->errors))
POINT(point_bar, some_rate(is_write(r) ? r->stored.median : r->acknowledged.median))

#define RANGE_MEANING "95 % interval of the typical rate (geometric mean), in its unit"

/* The first column on the screen is repeated where a table is too wide and goes on below. */
static const struct column points[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, point_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, point_order },
	{ "request_bytes", "request", "size of one request", 9, false, NULL, point_request },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, point_in_flight },
	{ NULL, "rate", "median over passes", 10, false, reads, point_acknowledged },
	{ "acknowledged_bytes_per_second", "acknowledged", "median rate until the target answered",
		14, false, writes, point_acknowledged },
	{ NULL, "95 % range", RANGE_MEANING, 12, false, NULL, point_acknowledged_range },
	{ "acknowledged_low_bytes_per_second", NULL,
		"lower end of the 95 % interval of the typical rate (geometric mean)", 0, false,
		NULL, point_acknowledged_low },
	{ "acknowledged_high_bytes_per_second", NULL, "upper end", 0, false, NULL,
		point_acknowledged_high },
	{ "stored_bytes_per_second", "stored",
		"median rate until all was stored; a dash where nothing shows that it was", 11,
		false, writes, point_stored },
	{ NULL, "95 % range", RANGE_MEANING, 12, false, writes, point_stored_range },
	{ "stored_low_bytes_per_second", NULL, "lower end of its 95 % interval", 0, false, NULL,
		point_stored_low },
	{ "stored_high_bytes_per_second", NULL, "upper end", 0, false, NULL, point_stored_high },
	{ "stored_by", "by",
		"what the stored rate rests on: flush, settled (reads took their usual time again) "
		"or steady (the buffer full, or none to be found); null for reads, and where "
		"nothing shows it",
		9, false, writes, point_stored_by },
	{ "long_run_bytes_per_second", "long run",
		"all bytes over all time, stalls shared out by bytes: in the long run (writes: "
		"stored)",
		11, false, stalls, point_long_run },
	{ "stalls", NULL,
		"requests that took over 20 times the median, and closing flushes that made their "
		"pass half as long again as usual",
		0, false, NULL, point_stalls },
	{ "stall_share", NULL, "of the time, in those", 0, false, NULL, point_stall_share },
	{ "share_of_link", "of link", "share of what the link can carry (writes: stored)", 8, false,
		link_known, point_of_link },
	{ "requests_per_second", "req/s", "requests answered per second, median", 8, false, NULL,
		point_requests },
	{ "request_time_p50_seconds", "p50", "median time of a request, median over passes", 8,
		false, NULL, point_p50 },
	{ "request_time_p99_seconds", "p99",
		"99th percentile, median over passes; null: some of them have fewer than 100 "
		"requests",
		8, false, NULL, point_p99 },
	{ "request_time_max_seconds", "slowest", "slowest request of all passes", 8, false, NULL,
		point_slowest },
	{ "flush_seconds", "flush", "median time of the closing flush", 9, false, writes,
		point_flush },
	{ "device_requests_per_request", "dev/req",
		"requests the device got per request of the host", 8, false, requests_differ,
		point_device },
	{ "phases.command_seconds", NULL,
		"mean time of a request in the command phase; see the table phases", 0, false, NULL,
		point_command },
	{ "phases.data_seconds", NULL, "in the data phase", 0, false, NULL, point_data },
	{ "phases.status_seconds", NULL, "in the status phase", 0, false, NULL, point_status },
	{ "phases.host_seconds", NULL, "between them, in the host", 0, false, NULL, point_host },
	{ "passes", NULL, "passes that the figures rest on", 0, false, NULL, point_passes },
	{ "passes_left_out", NULL,
		"passes cut short, empty, disturbed, with errors, with I/O by others or lost by "
		"the host",
		0, false, NULL, point_left_out },
	{ "errors", NULL, "requests that failed", 0, false, NULL, point_errors },
};

const struct table_spec sweep_points_spec = { .key = "points",
	.meaning = "a point: direction, order, request size and requests in flight; rates and "
		   "times are medians over its passes",
	.row_bytes = sizeof(struct point),
	.bar = point_bar,
	TABLE_COLUMNS(points) };

/* ---- times of single requests ---- */

TIMES(times_direction, value_word(run_direction_name(r->point->direction)))
TIMES(times_order, value_word(run_order_name(r->point->order)))
TIMES(times_in_flight, value_count(r->point->in_flight))
TIMES(times_request, value_bytes(r->point->request_bytes))
TIMES(times_requests, value_count(r->detail->requests))
TIMES(times_p1, some_seconds(detail_quantile_s(r->detail, 0.01)))
TIMES(times_p25, some_seconds(detail_quantile_s(r->detail, 0.25)))
TIMES(times_p50, some_seconds(detail_quantile_s(r->detail, 0.5)))
TIMES(times_p75, some_seconds(detail_quantile_s(r->detail, 0.75)))
TIMES(times_p90, some_seconds(detail_quantile_s(r->detail, 0.9)))
TIMES(times_p99, value_if(r->detail->requests >= RUN_P99_REQUESTS,
			 some_seconds(detail_quantile_s(r->detail, 0.99))))
TIMES(times_p999, value_if(r->detail->requests >= RUN_P999_REQUESTS,
			  some_seconds(detail_quantile_s(r->detail, 0.999))))
TIMES(times_max, some_seconds(r->point->lat_max_s))

static const struct column times[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, times_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, times_order },
	{ "request_bytes", "request", "size of one request", 0, false, NULL, times_request },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, times_in_flight },
	{ "requests", "requests", "of all passes together", 0, false, NULL, times_requests },
	{ "p1_seconds", "p1", "1st percentile", 0, false, NULL, times_p1 },
	{ "p25_seconds", "p25", "25th percentile", 0, false, NULL, times_p25 },
	/* Screens show median, p99 and slowest once, by point: two figures by one name would need a reason each time. */
	{ "p50_seconds", NULL, "median of all passes together", 0, false, NULL, times_p50 },
	{ "p75_seconds", "p75", "75th percentile", 0, false, NULL, times_p75 },
	{ "p90_seconds", "p90", "90th percentile", 0, false, NULL, times_p90 },
	{ "p99_seconds", NULL,
		"99th percentile of all passes together; null of fewer than 100 requests", 0, false,
		NULL, times_p99 },
	{ "p99_9_seconds", "p99.9",
		"99.9th percentile of all passes together; null of fewer than 1000 requests", 0,
		false, NULL, times_p999 },
	{ "max_seconds", NULL, "slowest of all", 0, false, NULL, times_max },
};

const struct table_spec sweep_times_spec = { .key = "request_times",
	.meaning = "a point whose requests were all timed; times to within 2.2 %, the slowest is "
		   "exact",
	.row_bytes = sizeof(struct sweep_times),
	TABLE_COLUMNS(times) };

/* ---- rate over time ---- */

STRETCH(stretch_direction, value_word(run_direction_name(r->point->direction)))
STRETCH(stretch_order, value_word(run_order_name(r->point->order)))
STRETCH(stretch_in_flight, value_count(r->point->in_flight))
STRETCH(stretch_request, value_bytes(r->point->request_bytes))
STRETCH(stretch_drawn, value_count(r->drawn))
STRETCH(stretch_passes, value_count(r->passes))
STRETCH(stretch_step, value_seconds(r->step_s))
STRETCH(stretch_slowest, value_rate(r->slowest_bps))
STRETCH(stretch_slowest_pass, value_count(r->slowest_pass))
STRETCH(stretch_slowest_at, value_seconds(r->slowest_at_s))
STRETCH(stretch_fastest, value_rate(r->fastest_bps))

static const struct column stretches[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, stretch_direction },
	{ "order", NULL, "sequential or random", 0, true, NULL, stretch_order },
	{ "request_bytes", "request", "size of one request", 0, false, NULL, stretch_request },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, stretch_in_flight },
	{ "passes_drawn", "passes drawn", "passes that these figures are of", 0, false, NULL,
		stretch_drawn },
	{ "passes", "of", "passes that were followed", 0, false, NULL, stretch_passes },
	{ "stretch_seconds", "stretch", "length of one stretch", 0, false, NULL, stretch_step },
	{ "slowest_bytes_per_second", "slowest stretch", "its rate", 0, false, NULL,
		stretch_slowest },
	{ "slowest_pass", "in drawn pass", "number of the pass it is in, from 1", 0, false, NULL,
		stretch_slowest_pass },
	{ "slowest_at_seconds", "at", "its beginning, since that of the pass", 0, false, NULL,
		stretch_slowest_at },
	{ "fastest_bytes_per_second", "fastest stretch", "its rate", 0, false, NULL,
		stretch_fastest },
};

const struct table_spec sweep_stretches_spec = { .key = "stretches",
	.meaning = "a point: extremes of the rate within its passes",
	.row_bytes = sizeof(struct sweep_stretch),
	TABLE_COLUMNS(stretches) };

/* ---- fitted lines ---- */

FIT(fit_order, value_word(run_order_name(r->explained->order)))
FIT(fit_fixed, some_seconds(r->explained->line.fixed_s))
FIT(fit_fixed_range, value_word(r->fixed_range))
FIT(fit_rate, some_rate(r->explained->line.rate))
FIT(fit_rate_range, value_word(r->rate_range))
FIT(fit_half, value_if(r->explained->line.half_known && r->explained->line.half_bytes >= 0,
		      value_bytes_decimal(number_whole(r->explained->line.half_bytes))))
FIT(fit_worst, value_share(r->explained->line.worst))

static const struct column fits[] = {
	{ NULL, "order", "of the requests", 0, true, NULL, fit_order },
	{ NULL, "fixed cost", "of each request", 0, false, NULL, fit_fixed },
	{ NULL, "95 % interval", "of the value before", 0, false, NULL, fit_fixed_range },
	{ NULL, "streaming rate", "beyond the fixed cost", 0, false, NULL, fit_rate },
	{ NULL, "95 % interval", "of the value before", 0, false, NULL, fit_rate_range },
	{ NULL, "half at", "size that reaches half the streaming rate", 0, false, NULL, fit_half },
	{ NULL, "worst", "how far the farthest point lies from the line", 0, false, NULL,
		fit_worst },
};

const struct table_spec sweep_fit_spec = { .row_bytes = sizeof(struct sweep_fit),
	TABLE_COLUMNS(fits) };

/* ---- what was asked for ---- */

PLAN(plan_passes, value_count(r->plan.passes))
PLAN(plan_seconds, value_seconds(r->plan.seconds))
PLAN(plan_in_flight, value_count(r->plan.in_flight))
PLAN(plan_start, value_bytes(r->plan.region_start))
PLAN(plan_bytes, value_bytes(r->plan.region_bytes))
PLAN(plan_kept, value_flag(r->plan.kept_data))
PLAN(plan_phases_off, value_text(r->plan.phases_off))

static const struct column plan[] = {
	{ "passes", NULL, "of each point", 0, false, NULL, plan_passes },
	{ "seconds", NULL, "of each pass", 0, false, NULL, plan_seconds },
	{ "in_flight", NULL, "requests kept open at once", 0, false, NULL, plan_in_flight },
	{ "region_start_bytes", NULL, "where it begins", 0, false, NULL, plan_start },
	{ "region_bytes", NULL, "length of what may be touched", 0, false, NULL, plan_bytes },
	{ "kept_data", NULL, "with --keep-data", 0, false, NULL, plan_kept },
	{ "phases_off", NULL, "why phases were not watched; null when they were", 0, true, NULL,
		plan_phases_off },
};

const struct table_spec sweep_plan_spec = { .key = "plan",
	.meaning = "what was asked for",
	.json = JSON_OBJECT,
	.row_bytes = sizeof(struct run),
	TABLE_COLUMNS(plan) };

/* ---- words ---- */

bool sweep_flag_word(size_t i, struct view_word *out)
{
	const struct run_pass_flag_row *row;

	if (i >= RUN_PASS_FLAGS)
		return false;
	row = run_pass_flag_row((enum run_pass_bit)i);
	*out = (struct view_word){
		.key = "flags", .word = row->name, .meaning = row->meaning, .note = ""
	};
	return true;
}
