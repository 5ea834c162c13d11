/* The columns. */
#include "findings/columns.h"

#include <stdio.h>

#include "base/size.h"
#include "base/text.h"
#include "findings/figures.h"

/* ---- one row a pass ---- */

static void add_u64(struct text *t, uint64_t n)
{
	text_addf(t, "%llu", (unsigned long long)n);
}

static void add_seconds(struct text *t, uint64_t ns)
{
	text_addf(t, "%llu.%09llu", (unsigned long long)(ns / 1000000000),
		(unsigned long long)(ns % 1000000000));
}

static void add_us(struct text *t, uint64_t ns)
{
	text_addf(
		t, "%llu.%03llu", (unsigned long long)(ns / 1000), (unsigned long long)(ns % 1000));
}

static void add_bps(struct text *t, double rate)
{
	if (rate > 0)
		text_addf(t, "%.1f", rate);
}

static void pass_run(struct text *t, const struct pass_row *r)
{
	text_adds(t, r->run->head.id);
}

static void pass_label(struct text *t, const struct pass_row *r)
{
	text_adds(t, r->run->head.label);
}

static void pass_target(struct text *t, const struct pass_row *r)
{
	const struct run_target *target = &r->run->target;

	text_adds(t, *target->token ? target->token : target->path);
}

static void pass_direction(struct text *t, const struct pass_row *r)
{
	text_adds(t, run_direction_name(r->pass->direction));
}

static void pass_order(struct text *t, const struct pass_row *r)
{
	text_adds(t, run_order_name(r->pass->order));
}

static void pass_request_bytes(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->request_bytes);
}

static void pass_in_flight(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->in_flight);
}

static void pass_pass(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->pass);
}

static void pass_bytes(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->bytes);
}

static void pass_requests(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->requests);
}

static void pass_device_requests(struct text *t, const struct pass_row *r)
{
	if (r->pass->device_known)
		add_u64(t, r->pass->device_requests);
}

static void pass_seconds(struct text *t, const struct pass_row *r)
{
	add_seconds(t, r->pass->busy_ns);
}

static void pass_flush_seconds(struct text *t, const struct pass_row *r)
{
	add_seconds(t, r->pass->flush_ns);
}

static void pass_rate_ack(struct text *t, const struct pass_row *r)
{
	add_bps(t, run_pass_rate_acknowledged(r->pass));
}

static void pass_rate_stored(struct text *t, const struct pass_row *r)
{
	add_bps(t, run_pass_rate_stored(r->pass));
}

static void pass_p50(struct text *t, const struct pass_row *r)
{
	add_us(t, r->pass->lat_p50_ns);
}

static void pass_p99(struct text *t, const struct pass_row *r)
{
	add_us(t, r->pass->lat_p99_ns);
}

static void pass_max(struct text *t, const struct pass_row *r)
{
	add_us(t, r->pass->lat_max_ns);
}

static void pass_errors(struct text *t, const struct pass_row *r)
{
	add_u64(t, r->pass->errors);
}

static void pass_flags(struct text *t, const struct pass_row *r)
{
	char flags[160];

	run_pass_flags_format(flags, sizeof flags, r->pass->flags);
	text_adds(t, flags);
}

const struct pass_column pass_columns[] = {
	{ "run", "identity of the run", true, pass_run },
	{ "label", "what was tested, as named with --label", true, pass_label },
	{ "target", "consent token of the target; its path when it has none", true, pass_target },
	{ "direction", "read or write", false, pass_direction },
	{ "order", "sequential or random", false, pass_order },
	{ "request_bytes", "bytes of one request", false, pass_request_bytes },
	{ "in_flight", "requests kept open at once", false, pass_in_flight },
	{ "pass", "number of the pass at its point, from 1", false, pass_pass },
	{ "bytes", "bytes moved", false, pass_bytes },
	{ "requests", "requests sent by the host", false, pass_requests },
	{ "device_requests", "requests the kernel counted at the device; empty when unknown", false,
		pass_device_requests },
	{ "seconds", "first request sent to last one answered", false, pass_seconds },
	{ "flush_seconds", "time of the closing flush; 0 for reads", false, pass_flush_seconds },
	{ "rate_ack_bps", "bytes per second until acknowledged; empty when no time passed", false,
		pass_rate_ack },
	{ "rate_stored_bps", "bytes per second, closing flush included", false, pass_rate_stored },
	{ "lat_p50_us", "median time of a request, in microseconds", false, pass_p50 },
	{ "lat_p99_us", "99th percentile of the time of a request", false, pass_p99 },
	{ "lat_max_us", "slowest request", false, pass_max },
	{ "errors", "requests that failed", false, pass_errors },
	{ "flags", "what was odd about the pass, joined by '+'", false, pass_flags },
};

const size_t pass_column_count = sizeof pass_columns / sizeof *pass_columns;

/* ---- one row a point ---- */

static bool always(const struct points *table)
{
	(void)table;
	return true;
}

static bool writes(const struct points *table)
{
	return table->count && table->list[0].direction == RUN_WRITE;
}

static bool reads(const struct points *table)
{
	return !writes(table);
}

static bool link_known(const struct points *table)
{
	return table->count && table->list[0].link_ceiling_bps > 0;
}

static bool requests_differ(const struct points *table)
{
	for (size_t i = 0; i < table->count; i++) {
		double each = table->list[i].device_requests_each;

		if (each > 0 && (each > 1.005 || each < 0.995))
			return true;
	}
	return false;
}

static void point_request(struct text *t, const struct point *p)
{
	char buf[SIZE_TEXT_MAX];

	text_adds(t, size_format(buf, p->request_bytes));
}

static void point_acknowledged(struct text *t, const struct point *p)
{
	figure_add_rate(t, p->acknowledged.median);
}

static void point_acknowledged_interval(struct text *t, const struct point *p)
{
	figure_add_interval(t, &p->acknowledged);
}

static void point_stored(struct text *t, const struct point *p)
{
	figure_add_rate(t, p->stored.median);
}

static void point_stored_interval(struct text *t, const struct point *p)
{
	figure_add_interval(t, &p->stored);
}

static void point_of_link(struct text *t, const struct point *p)
{
	if (p->link_ceiling_bps > 0 && p->stored.median > 0)
		figure_add_percent(t, p->stored.median / p->link_ceiling_bps);
	else
		text_adds(t, "-");
}

static void point_requests(struct text *t, const struct point *p)
{
	if (p->requests_per_second > 0)
		figure_add(t, p->requests_per_second);
	else
		text_adds(t, "-");
}

static void point_p50(struct text *t, const struct point *p)
{
	figure_add_duration(t, p->lat_p50_s);
}

static void point_p99(struct text *t, const struct point *p)
{
	figure_add_duration(t, p->lat_p99_s);
}

static void point_slowest(struct text *t, const struct point *p)
{
	figure_add_duration(t, p->lat_max_s);
}

static void point_flush(struct text *t, const struct point *p)
{
	figure_add_duration(t, p->flush_s);
}

static void point_device(struct text *t, const struct point *p)
{
	if (p->device_requests_each > 0)
		figure_add(t, p->device_requests_each);
	else
		text_adds(t, "?");
}

/* The first column is repeated where a table is too wide and goes on below. */
const struct point_column point_columns[] = {
	{ "request", "size of one request", 9, always, point_request },
	{ "rate", "median over passes", 10, reads, point_acknowledged },
	{ "acknowledged", "median rate until the target answered", 14, writes, point_acknowledged },
	{ "95 % range", "95 % interval of the typical rate (geometric mean), in its unit", 12,
		always, point_acknowledged_interval },
	{ "stored", "median rate with the closing flush included", 11, writes, point_stored },
	{ "95 % range", "95 % interval of the typical rate (geometric mean), in its unit", 12,
		writes, point_stored_interval },
	{ "of link", "share of what the link can carry (writes: stored)", 8, link_known,
		point_of_link },
	{ "req/s", "requests answered per second, median", 8, always, point_requests },
	{ "p50", "median time of a request", 8, always, point_p50 },
	{ "p99", "99th percentile, median over passes", 8, always, point_p99 },
	{ "slowest", "slowest request of all passes", 8, always, point_slowest },
	{ "flush", "median time of the closing flush", 9, writes, point_flush },
	{ "dev/req", "requests the device got per request of the host", 8, requests_differ,
		point_device },
};

const size_t point_column_count = sizeof point_columns / sizeof *point_columns;
