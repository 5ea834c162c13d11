/* Cuts and rechecks as lines. */
#include "record/cut.h"

#include <stdio.h>
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

enum recheck_conclusion recheck_conclude(const struct recheck_result *r)
{
	if (recheck_broken(r))
		return RECHECK_BROKEN;
	return r->uncut || r->unended || r->beyond || !r->promises ? RECHECK_NOT_SHOWN
								   : RECHECK_KEPT;
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
	line_put_u64(&w->line, "uncut", r->uncut);
	line_put_u64(&w->line, "unended", r->unended);
	line_put_u64(&w->line, "beyond", r->beyond);
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

/* ---- reading ---- */

static void take_flag(const struct line *l, const char *key, bool *out)
{
	uint64_t n = 0;

	line_get_u64(l, key, &n);
	*out = n != 0;
}

static void take_u32(const struct line *l, const char *key, uint32_t *out)
{
	uint64_t n = 0;

	line_get_u64(l, key, &n);
	*out = n <= UINT32_MAX ? (uint32_t)n : 0;
}

static void take_duties(struct recheck_result *out, const struct line *l)
{
	char key[32];

	for (int d = 0; d < RECHECK_DUTIES; d++) {
		snprintf(key, sizeof key, "%s-broken", duty_names[d]);
		line_get_u64(l, duty_names[d], &out->blocks[d]);
		line_get_u64(l, key, &out->broken[d]);
		/* The counts of a damaged writer must not turn into a huge number of good blocks. */
		if (out->broken[d] > out->blocks[d])
			out->blocks[d] = out->broken[d];
	}
}

static void take_kinds(struct recheck_result *out, const struct line *l)
{
	static const char prefix[] = "kind-";

	for (const char *f = l->fields; *f && out->kind_count < RECHECK_KINDS_MAX;
		f += strlen(f) + 1) {
		size_t name = strcspn(f, "=");
		char key[sizeof prefix + 16];

		if (strncmp(f, prefix, sizeof prefix - 1) != 0 || name >= sizeof key)
			continue;
		text_copy(key, name + 1, f);
		text_copy(out->kinds[out->kind_count].name, sizeof out->kinds->name,
			key + sizeof prefix - 1);
		if (line_get_u64(l, key, &out->kinds[out->kind_count].blocks))
			out->kind_count++;
	}
}

void recheck_take(struct recheck_result *out, const struct line *l)
{
	*out = (struct recheck_result){ 0 };
	take_u32(l, "cycle", &out->cycle);
	line_get_u64(l, "seed", &out->seed);
	take_u32(l, "block_bytes", &out->block_bytes);
	take_flag(l, "acknowledged_counts", &out->acknowledged_counts);
	take_duties(out, l);
	line_get_u64(l, "in_flight_old", &out->in_flight_old);
	line_get_u64(l, "in_flight_new", &out->in_flight_new);
	line_get_u64(l, "forgotten", &out->forgotten);
	take_flag(l, "order_kept", &out->order_kept);
	line_get_u64(l, "promises", &out->promises);
	line_get_u64(l, "promises_broken", &out->promises_broken);
	if (out->promises_broken > out->promises)
		out->promises = out->promises_broken;
	out->ages_known = line_get_u64(l, "ns_before_min", &out->ns_before_min);
	line_get_u64(l, "ns_before_max", &out->ns_before_max);
	line_get_u64(l, "bytes_before_min", &out->bytes_before_min);
	line_get_u64(l, "bytes_before_max", &out->bytes_before_max);
	take_flag(l, "complete", &out->complete);
	take_flag(l, "uncut", &out->uncut);
	take_flag(l, "unended", &out->unended);
	line_get_u64(l, "beyond", &out->beyond);
	line_get_u64(l, "damages_more", &out->damages_more);
	take_kinds(out, l);
}

bool recheck_take_damage(struct recheck_damage *out, const struct line *l)
{
	char duty[16] = "";
	int d = 0;

	*out = (struct recheck_damage){ 0 };
	line_get_text(l, "duty", duty, sizeof duty);
	while (d < RECHECK_DUTIES && strcmp(duty, duty_names[d]) != 0)
		d++;
	if (d == RECHECK_DUTIES)
		return false;
	out->duty = (enum recheck_duty)d;
	line_get_u64(l, "at", &out->at);
	line_get_u64(l, "bytes", &out->bytes);
	line_get_text(l, "kind", out->kind, sizeof out->kind);
	line_get_text(l, "detail", out->detail, sizeof out->detail);
	take_u32(l, "expected", &out->expected);
	take_u32(l, "found", &out->found);
	out->aged = line_get_u64(l, "ns_before", &out->ns_before);
	line_get_u64(l, "bytes_before", &out->bytes_before);
	return true;
}
