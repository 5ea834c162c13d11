/* The tables of an observation. */
#include "findings/observe_view.h"

#define TOTAL(function, expression) COLUMN_VALUE(function, struct observe_total, r, expression)
#define SIZE(function, expression) COLUMN_VALUE(function, struct observe_size, r, expression)
#define TIME(function, expression) COLUMN_VALUE(function, struct observe_time, r, expression)
#define SECOND(function, expression) COLUMN_VALUE(function, struct observe_second, r, expression)

/* ---- both directions ---- */

TOTAL(total_direction, value_word(run_direction_name(r->direction)))
TOTAL(total_requests, value_count(r->requests))
TOTAL(total_bytes, value_bytes_decimal(r->bytes))
TOTAL(total_rate, value_rate((double)r->bytes * 1e9 / (double)r->ns))
TOTAL(total_mean, value_bytes_mean((double)r->bytes / (double)r->requests))
TOTAL(total_merged, value_count(r->merged))
TOTAL(total_sequential, value_if(r->traced, value_share_counted(r->sequential, r->seen)))

static bool any_traced(const struct table *t)
{
	return t->count && ((const struct observe_total *)t->rows)->traced;
}

static const struct column totals[] = {
	{ "direction", "direction", "read or write", 8, true, NULL, total_direction },
	{ "requests", "requests", "requests sent to the device", 10, false, NULL, total_requests },
	{ "bytes", "amount", "bytes moved", 11, false, NULL, total_bytes },
	{ "bytes_per_second", "rate", "over the whole time, pauses included", 12, false, NULL,
		total_rate },
	{ "mean_request_bytes", "mean size", "of a request", 12, false, NULL, total_mean },
	{ "merged", "merged", "requests that the kernel joined to others before sending them", 10,
		false, NULL, total_merged },
	{ "sequential_share", "sequential",
		"share of the traced requests that began where the one before ended; null: not "
		"traced",
		12, false, any_traced, total_sequential },
};

const struct table_spec observe_totals_spec = { .key = "totals",
	.meaning = "a direction: all that the host sent",
	.row_bytes = sizeof(struct observe_total),
	TABLE_COLUMNS(totals) };

/* ---- request sizes ---- */

SIZE(size_direction, value_word(run_direction_name(r->size->direction)))
SIZE(size_request, value_bytes(r->size->bytes))
SIZE(size_count, value_count(r->size->count))
SIZE(size_bytes, value_bytes_decimal(r->size->bytes * r->size->count))
SIZE(size_wait, value_ns(r->size->service_ns))
SIZE(size_of_requests, value_share_counted(r->size->count, r->requests))
SIZE(size_of_bytes, value_share_counted(r->size->bytes * r->size->count, r->bytes))
SIZE(size_mean, value_ns(r->size->count ? r->size->service_ns / r->size->count : 0))

static const struct column sizes[] = {
	{ "direction", "direction", "read or write", 8, true, NULL, size_direction },
	{ "request_bytes", "request", "size of one request", 12, false, NULL, size_request },
	{ "requests", "count", "requests of that size", 10, false, NULL, size_count },
	{ "bytes", NULL, "bytes that they moved", 0, false, NULL, size_bytes },
	{ "wait_seconds", NULL, "their times from sent to answered, summed", 0, false, NULL,
		size_wait },
	{ "share_of_requests", "of requests", "share of the requests of that direction", 12, false,
		NULL, size_of_requests },
	{ "share_of_bytes", "of bytes", "share of its bytes", 12, false, NULL, size_of_bytes },
	{ "mean_seconds", "mean time", "mean time of such a request", 14, false, NULL, size_mean },
};

const struct table_spec observe_sizes_spec = { .key = "sizes",
	.meaning = "a request size of a direction; none when the requests were not traced",
	.csv = CSV_RUN,
	.csv_what = "size",
	.row_bytes = sizeof(struct observe_size),
	TABLE_COLUMNS(sizes) };

/* ---- times ---- */

TIME(time_of, value_word(r->of))
TIME(time_count, value_count(r->times->count))
TIME(time_shortest, value_ns(r->times->min_ns))
TIME(time_p50, value_ns(r->times->p50_ns))
TIME(time_p90, value_ns(r->times->p90_ns))
TIME(time_p99, value_if(r->times->count >= RUN_P99_REQUESTS, value_ns(r->times->p99_ns)))
TIME(time_longest, value_ns(r->times->max_ns))
TIME(time_longest_at, value_ns(r->times->max_at_ns))
TIME(time_longest_bytes, value_if(r->times->max_bytes, value_bytes(r->times->max_bytes)))

static const struct column times[] = {
	{ "of", "time of a", "read, write or flush", 9, true, NULL, time_of },
	{ "requests", "requests", "how many", 10, false, NULL, time_count },
	{ "shortest_seconds", "shortest", "from sent to answered", 10, false, NULL, time_shortest },
	{ "p50_seconds", "median", "median", 12, false, NULL, time_p50 },
	{ "p90_seconds", "90 %", "90th percentile", 9, false, NULL, time_p90 },
	{ "p99_seconds", "99 %", "99th percentile; of 100 requests or more", 9, false, NULL,
		time_p99 },
	{ "longest_seconds", "longest", "the longest one", 9, false, NULL, time_longest },
	{ "longest_at_seconds", "sent at", "when the longest one was sent, since the start", 9,
		false, NULL, time_longest_at },
	{ "longest_request_bytes", NULL, "its size; null: a flush", 0, false, NULL,
		time_longest_bytes },
};

const struct table_spec observe_times_spec = { .key = "times",
	.meaning = "reads, writes or flushes; none when the requests were not traced",
	.row_bytes = sizeof(struct observe_time),
	TABLE_COLUMNS(times) };

/* ---- seconds ---- */

SECOND(second_direction, value_word(run_direction_name(r->direction)))
SECOND(second_at, value_ns(r->counts->at_ns))
SECOND(second_length, value_ns(r->counts->ns))
SECOND(second_requests, value_count(r->counts->requests[r->direction]))
SECOND(second_bytes, value_bytes_decimal(r->counts->bytes[r->direction]))
SECOND(second_merged, value_count(r->counts->merged[r->direction]))
SECOND(second_wait, value_seconds((double)r->counts->wait_ms[r->direction] / 1e3))
SECOND(second_flushes, value_count(r->counts->flushes))
SECOND(second_busy, value_seconds((double)r->counts->busy_ms / 1e3))
SECOND(second_in_flight, value_count(r->counts->in_flight))

static const struct column seconds[] = {
	{ "direction", NULL, "read or write", 0, true, NULL, second_direction },
	{ "at_seconds", NULL, "end of that second, since the start", 0, false, NULL, second_at },
	{ "seconds", NULL, "its exact length", 0, false, NULL, second_length },
	{ "requests", NULL, "requests that the kernel's counters had more after it", 0, false, NULL,
		second_requests },
	{ "bytes", NULL, "bytes moved", 0, false, NULL, second_bytes },
	{ "merged", NULL, "requests joined to others", 0, false, NULL, second_merged },
	{ "wait_seconds", NULL, "times that requests waited, summed", 0, false, NULL, second_wait },
	{ "flushes", NULL, "flushes, of both directions", 0, false, NULL, second_flushes },
	{ "busy_seconds", NULL, "with at least one request in flight, of both directions", 0, false,
		NULL, second_busy },
	{ "in_flight", NULL, "requests in flight at its end, of both directions", 0, false, NULL,
		second_in_flight },
};

const struct table_spec observe_seconds_spec = { .key = "seconds",
	.meaning = "a second of a direction, by the kernel's counters",
	.csv = CSV_RUN,
	.csv_what = "second",
	.row_bytes = sizeof(struct observe_second),
	TABLE_COLUMNS(seconds) };
