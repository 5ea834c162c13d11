/* One table of old names. */
#include "record/old_names.h"

#include <stddef.h>
#include <string.h>

static const struct {
	const char *now, *then;
} kinds[] = {
	{ "request-times", "hist" },
	{ "request-time", "latency" },
	{ "promise", "finding" },
};

/* kind NULL: of every kind. */
static const struct {
	const char *kind, *now, *then;
} keys[] = {
	{ NULL, "at_seconds", "at_ns" },
	{ NULL, "bins_seconds", "bins" },
	{ "pass", "busy_seconds", "busy_ns" },
	{ "pass", "flush_seconds", "flush_ns" },
	{ "pass", "request_time_min_seconds", "lat_min_ns" },
	{ "pass", "request_time_p50_seconds", "lat_p50_ns" },
	{ "pass", "request_time_p90_seconds", "lat_p90_ns" },
	{ "pass", "request_time_p99_seconds", "lat_p99_ns" },
	{ "pass", "request_time_max_seconds", "lat_max_ns" },
	{ "trace", "step_seconds", "step_ns" },
	{ "verify-range", "offset_bytes", "offset" },
	{ "verify-range", "length_bytes", "bytes" },
	{ "verify-state", "write_seconds", "write_ns" },
	{ "verify-state", "flush_seconds", "flush_ns" },
	{ "verify-state", "read_seconds", "read_ns" },
	{ "second", "seconds", "ns" },
	{ "second", "read_seconds", "read_ms" },
	{ "second", "write_seconds", "write_ms" },
	{ "second", "flush_seconds", "flush_ms" },
	{ "second", "busy_seconds", "busy_ms" },
	{ "total", "seconds", "ns" },
	{ "total", "read_seconds", "read_ms" },
	{ "total", "write_seconds", "write_ms" },
	{ "total", "flush_seconds", "flush_ms" },
	{ "total", "busy_seconds", "busy_ms" },
	{ "mix", "requests", "sizes" },
	{ "request-time", "min_seconds", "min_ns" },
	{ "request-time", "p50_seconds", "p50_ns" },
	{ "request-time", "p90_seconds", "p90_ns" },
	{ "request-time", "p99_seconds", "p99_ns" },
	{ "request-time", "max_seconds", "max_ns" },
	{ "request-time", "max_at_seconds", "max_at_ns" },
	{ "done", "sent_seconds", "sent_ns" },
	{ "recheck", "flushed_blocks", "flushed" },
	{ "recheck", "flushed_broken", "flushed-broken" },
	{ "recheck", "acknowledged_blocks", "acknowledged" },
	{ "recheck", "acknowledged_broken", "acknowledged-broken" },
	{ "recheck", "in_flight_blocks", "in-flight" },
	{ "recheck", "in_flight_broken", "in-flight-broken" },
	{ "recheck", "untouched_blocks", "untouched" },
	{ "recheck", "untouched_broken", "untouched-broken" },
	{ "recheck", "seconds_before_min", "ns_before_min" },
	{ "recheck", "seconds_before_max", "ns_before_max" },
	{ "damage", "offset_bytes", "at" },
	{ "damage", "length_bytes", "bytes" },
	{ "damage", "seconds_before", "ns_before" },
};

const char *old_names_kind(const char *kind)
{
	for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++)
		if (!strcmp(kinds[i].then, kind))
			return kinds[i].now;
	return kind;
}

const char *old_names_key(const char *kind, const char *key)
{
	for (size_t i = 0; i < sizeof keys / sizeof *keys; i++)
		if ((!keys[i].kind || !strcmp(keys[i].kind, kind)) && !strcmp(keys[i].now, key))
			return keys[i].then;
	return NULL;
}
