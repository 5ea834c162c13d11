/* Flushes as the bus showed them. */
#include "findings/flush_on_bus.h"

#include <string.h>

#include "base/size.h"
#include "record/run.h"

#define TIME(value) duration_format((char[SIZE_TEXT_MAX]){ 0 }, value)

/* Of what is left: a flush that waits as long may have stored it (analysis/storing.c asks for as much). */
#define ENOUGH 0.85
/* A read that waits longer than this beyond its usual time waits for something. */
#define WAIT_SECONDS 0.002
#define WAIT_SHARE 0.1 /* of what was left */

static double seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

static double flush_seconds(const struct run_storing *s)
{
	return seconds(s->flush_command_ns + s->flush_status_ns);
}

/* How long storing what the burst left takes, as its pace shows; 0: it was never held up. */
static double left_seconds(const struct run_storing *s)
{
	return s->held_up && s->drain_bps > 0 ? s->buffer_bytes / s->drain_bps : 0;
}

static double beyond(uint64_t ns, uint64_t usual_ns)
{
	return ns > usual_ns ? seconds(ns - usual_ns) : 0;
}

static double next_waits(const struct run_storing *s)
{
	double wait = beyond(s->next_command_ns, s->usual_command_ns) +
		      beyond(s->next_data_ns, s->usual_data_ns);

	return s->next_watched && wait > WAIT_SECONDS && wait > WAIT_SHARE * left_seconds(s) ? wait
											     : 0;
}

static void add_figures(struct finding *one, const struct run_storing *s)
{
	double left = left_seconds(s);

	finding_figure(one, "burst_bytes", value_bytes(s->burst_bytes));
	finding_figure(one, "flush_command_seconds", value_seconds(seconds(s->flush_command_ns)));
	finding_figure(one, "flush_status_seconds", value_seconds(seconds(s->flush_status_ns)));
	finding_figure(one, "idle_flush_seconds",
		value_if(s->idle_flush_command_ns > 0,
			value_seconds(seconds(s->idle_flush_command_ns))));
	finding_figure(one, "left_seconds", value_if(left > 0, value_seconds(left)));
}

/* "90.2 ms (taken after 50 us, its status 90.1 ms later)" */
static const char *flush_words(struct pool *p, const struct run_storing *s)
{
	const char *status = s->flush_status_ns
				     ? pool_printf(p, "%s later", TIME(seconds(s->flush_status_ns)))
				     : "at once";

	return pool_printf(p, "%s (taken after %s, its status %s)", TIME(flush_seconds(s)),
		TIME(seconds(s->flush_command_ns)), status);
}

static void add_waits(
	struct findings *f, const struct run_storing *s, const struct finding_code *code)
{
	const char *idle = s->idle_flush_command_ns
				   ? pool_printf(f->pool, ", and in %s with nothing to store",
					     TIME(seconds(s->idle_flush_command_ns)))
				   : "";

	add_figures(finding_add(f, code,
			    "On the bus, SYNCHRONIZE CACHE after %s written in one go was answered "
			    "in %s%s: it waits for what is left to store.",
			    size_format_decimal((char[SIZE_TEXT_MAX]){ 0 }, (double)s->burst_bytes),
			    flush_words(f->pool, s), idle),
		s);
}

/* By its pace alone a card that is fast at first looks like a buffer; a command that waits afterwards tells them apart. */
static void add_early(
	struct findings *f, const struct run_storing *s, const struct finding_code *code)
{
	add_figures(
		finding_add(f, code,
			"On the bus, SYNCHRONIZE CACHE was answered in %s after a burst that "
			"went %s ahead of storing, which takes %s: too soon for a flush that "
			"stored them%s.",
			flush_words(f->pool, s),
			size_format_decimal((char[SIZE_TEXT_MAX]){ 0 }, s->buffer_bytes),
			TIME(left_seconds(s)),
			next_waits(s) > 0 ? ""
					  : ", unless it is the card that is fast at first and has "
					    "them already"),
		s);
}

static void add_next(
	struct findings *f, const struct run_storing *s, const struct finding_code *code)
{
	bool command = beyond(s->next_command_ns, s->usual_command_ns) * 2 > next_waits(s);
	struct finding *one = finding_add(f, code,
		"The read after that flush waited %s longer than usual %s: the target was still at "
		"work, most likely on what it had answered for.",
		TIME(next_waits(s)),
		command ? "until its command was taken" : "until its data had come");

	finding_figure(one, "command_seconds", value_seconds(seconds(s->next_command_ns)));
	finding_figure(one, "usual_command_seconds", value_seconds(seconds(s->usual_command_ns)));
	finding_figure(one, "data_seconds", value_seconds(seconds(s->next_data_ns)));
	finding_figure(one, "usual_data_seconds", value_seconds(seconds(s->usual_data_ns)));
}

void flush_on_bus_add(
	struct findings *f, const struct run_storing *s, const struct flush_codes *codes)
{
	double left = left_seconds(s);
	bool counts = s->present && !s->host_away && !s->foreign && !s->device_errors;

	if (!counts || !s->flush_watched)
		return;
	if (!s->flush_commands && !strcmp(s->flusher, "kernel")) {
		finding_add(f, codes->unsent,
			"The kernel was asked to flush, and no SYNCHRONIZE CACHE passed the bus: "
			"other programs' flushes do not reach the target either.");
		return;
	}
	if (!s->flush_commands)
		return;
	/* Of several that were asked for again until the target was ready, each is short and all of them together wait. */
	if (s->by == RUN_STORED_FLUSH && s->flush_commands == 1)
		add_waits(f, s, codes->waits);
	else if (s->flush_commands == 1 && left > 0 &&
		 flush_seconds(s) - seconds(s->idle_flush_command_ns) < ENOUGH * left)
		add_early(f, s, codes->early);
	if (next_waits(s) > 0)
		add_next(f, s, codes->next);
}
