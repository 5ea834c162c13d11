/* Cuts and rechecks as lines. */
#include "record/cut.h"

#include <stdlib.h>
#include <string.h>

#include "base/error.h"
#include "base/text.h"
#include "record/file.h"

static const char *const ending_names[] = {
	[CUT_GONE] = "gone",
	[CUT_TIME_UP] = "time",
	[CUT_INTERRUPTED] = "interrupted",
	[CUT_REMAINS] = "remains",
	[CUT_FAILED] = "failed",
};

const char *cut_ending_name(enum cut_ending e)
{
	return ending_names[e];
}

static const char *const duty_names[RECHECK_DUTIES] = {
	[RECHECK_FLUSHED] = "flushed",
	[RECHECK_ACKNOWLEDGED] = "acknowledged",
	[RECHECK_IN_FLIGHT] = "in-flight",
	[RECHECK_UNTOUCHED] = "untouched",
};

const char *recheck_duty_name(enum recheck_duty d)
{
	return duty_names[d];
}

uint64_t recheck_broken(const struct recheck_result *r)
{
	uint64_t n = 0;

	for (int d = 0; d < RECHECK_DUTIES; d++)
		n += r->broken[d];
	return n;
}

void recheck_result_release(struct recheck_result *r)
{
	free(r->damages);
	r->damages = NULL;
	r->damage_count = 0;
}

static int write_damage(struct record_writer *w, const struct recheck_damage *d, struct error *err)
{
	record_begin(w, "damage");
	line_put_u64(&w->line, "at", d->at);
	line_put_u64(&w->line, "bytes", d->bytes);
	line_put_text(&w->line, "duty", duty_names[d->duty]);
	line_put_text(&w->line, "kind", d->kind);
	line_put_text(&w->line, "detail", d->detail);
	line_put_u64(&w->line, "expected", d->expected);
	line_put_u64(&w->line, "found", d->found);
	if (d->aged) {
		line_put_u64(&w->line, "ns_before", d->ns_before);
		line_put_u64(&w->line, "bytes_before", d->bytes_before);
	}
	return record_commit(w, false, err);
}

int recheck_write(struct record_writer *w, const struct recheck_result *r, struct error *err)
{
	record_begin(w, "recheck");
	line_put_u64(&w->line, "cycle", r->cycle);
	line_put_u64(&w->line, "seed", r->seed);
	line_put_u64(&w->line, "block_bytes", r->block_bytes);
	line_put_u64(&w->line, "acknowledged_counts", r->acknowledged_counts);
	for (int d = 0; d < RECHECK_DUTIES; d++) {
		text_addf(&w->line, " %s=%llu %s-broken=%llu", duty_names[d],
			(unsigned long long)r->blocks[d], duty_names[d],
			(unsigned long long)r->broken[d]);
	}
	line_put_u64(&w->line, "in_flight_old", r->in_flight_old);
	line_put_u64(&w->line, "in_flight_new", r->in_flight_new);
	line_put_u64(&w->line, "forgotten", r->forgotten);
	line_put_u64(&w->line, "order_kept", r->order_kept);
	line_put_u64(&w->line, "promises", r->promises);
	line_put_u64(&w->line, "promises_broken", r->promises_broken);
	if (r->ages_known) {
		line_put_u64(&w->line, "ns_before_min", r->ns_before_min);
		line_put_u64(&w->line, "ns_before_max", r->ns_before_max);
		line_put_u64(&w->line, "bytes_before_min", r->bytes_before_min);
		line_put_u64(&w->line, "bytes_before_max", r->bytes_before_max);
	}
	line_put_u64(&w->line, "complete", r->complete);
	line_put_u64(&w->line, "damages_more", r->damages_more);
	for (uint32_t i = 0; i < r->kind_count; i++)
		text_addf(&w->line, " kind-%s=%llu", r->kinds[i].name,
			(unsigned long long)r->kinds[i].blocks);
	if (record_commit(w, false, err) < 0)
		return -1;
	for (size_t i = 0; i < r->damage_count; i++)
		if (write_damage(w, &r->damages[i], err) < 0)
			return -1;
	return 0;
}
