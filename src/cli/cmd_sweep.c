/* blkassay sweep: rate against request size. */
#include <stdio.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/shell.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/lists.h"
#include "cli/message.h"
#include "cli/phase_watch.h"
#include "cli/progress.h"
#include "cli/record_run.h"
#include "cli/results.h"
#include "cli/session.h"
#include "measure/phases.h"
#include "measure/store.h"
#include "measure/sweep.h"

enum {
	BUFFERS_MAX = 16 << 20, /* bytes in flight: keeps the whole tool within 32 MiB */
	/* the kernel sends the end of a USB disk block by block (last_sector_bug) */
	TAIL_BYTES = 8 * 512,
	SHORT_REQUESTS = 10,
	/* without --seconds a pass goes on until it holds so many, so that its median and its rate rest on something */
	USUAL_REQUESTS = 30,
};

static const uint64_t usual_pass_ns = 1000000000, longest_pass_ns = UINT64_C(10000000000);

static const char *const directions[2] = { "read", "write" };
static const char *const orders[2] = { "sequential", "random" };

struct sweep_request {
	struct size_list sizes;
	bool directions[2], orders[2];
};

static int parse_request(struct sweep_request *r, const struct options *o, struct error *err)
{
	*r = (struct sweep_request){ .sizes = { .count = 0 } };
	if (phase_watch_check(o, err) < 0)
		return -1;
	if (pair_list_parse(r->directions, options_text(o, OPTION_DIRECTION, "read"), "direction",
		    directions, err) < 0 ||
		pair_list_parse(r->orders, options_text(o, OPTION_ORDER, "sequential,random"),
			"order", orders, err) < 0)
		return -1;
	return o->given[OPTION_SIZES] ? size_list_parse(&r->sizes, o->text[OPTION_SIZES], err) : 0;
}

/* Doubling up to what the kernel sends in one request, and that size itself, which large copies come in: beyond it the
 * kernel splits, and the same rate would be measured again, slowly. 1 MiB at most. */
static int default_sizes(
	struct size_list *list, const struct medium_traits *t, uint64_t largest, struct error *err)
{
	uint64_t block = t->offset_align_bytes, limit = t->request_limit_bytes;

	if (limit && limit < largest)
		largest = limit;
	if (largest > UINT64_C(1) << 20)
		largest = UINT64_C(1) << 20;
	for (uint64_t n = block; n <= largest; n *= 2)
		list->bytes[list->count++] = n;
	if (list->count && largest == limit && limit % block == 0 &&
		list->bytes[list->count - 1] != limit)
		list->bytes[list->count++] = limit;
	if (!list->count)
		return error_set(err, ERROR_USAGE,
			"the region holds less than one block of %llu bytes",
			(unsigned long long)block);
	return 0;
}

/* Keeps timed requests off the very end of a USB disk, unless the user asked for that region. */
static uint64_t timed_bytes(const struct session *s, const struct options *o)
{
	uint64_t end = s->region_start + s->region_bytes;

	if (o->given[OPTION_REGION] || strcmp(s->traits->transport, "usb") != 0 ||
		s->region_bytes <= TAIL_BYTES * 2 || end + TAIL_BYTES <= s->traits->size_bytes)
		return s->region_bytes;
	return s->region_bytes - TAIL_BYTES;
}

static int make_plan(struct sweep_plan *plan, struct sweep_request *r, const struct session *s,
	const struct options *o, uint64_t seed, struct error *err)
{
	uint64_t block = s->traits->offset_align_bytes, largest;
	bool usual = !o->given[OPTION_SECONDS];

	*plan = (struct sweep_plan){ .passes = (unsigned)options_number(o, OPTION_PASSES, 5),
		.in_flight = (unsigned)options_number(o, OPTION_IN_FLIGHT, 1),
		.region_start = s->region_start,
		.region_bytes = timed_bytes(s, o),
		.duration_ns = options_number(o, OPTION_SECONDS, usual_pass_ns),
		.least_requests = usual ? USUAL_REQUESTS : 0,
		.longest_ns = usual ? longest_pass_ns : 0,
		.seed = seed };
	largest = BUFFERS_MAX / plan->in_flight;
	if (plan->region_bytes < largest)
		largest = plan->region_bytes;
	if (!r->sizes.count && default_sizes(&r->sizes, s->traits, largest, err) < 0)
		return -1;
	if (size_list_check(&r->sizes, block, largest, err) < 0)
		return -1;
	for (int d = 0; d < 2; d++)
		for (int q = 0; q < 2; q++)
			for (size_t i = 0; r->directions[d] && r->orders[q] && i < r->sizes.count;
				i++)
				plan->points[plan->point_count++] = (struct sweep_point){
					.write = d, .random = q, .request_bytes = r->sizes.bytes[i]
				};
	return 0;
}

static void describe_plan(struct run_plan *out, const struct sweep_plan *plan,
	const struct sweep_request *r, const struct session *s, const struct phase_watch *w)
{
	*out = (struct run_plan){ .region_start = plan->region_start,
		.region_bytes = plan->region_bytes,
		.size_count = r->sizes.count,
		.in_flight = plan->in_flight,
		.seconds = (double)plan->duration_ns / 1e9,
		.passes = plan->passes,
		.kept_data = s->kept };
	text_copy(out->phases_off, sizeof out->phases_off, w->why);
	for (size_t i = 0; i < r->sizes.count; i++)
		out->sizes[i] = r->sizes.bytes[i];
	for (int i = 0; i < 2; i++) {
		out->directions[i] = r->directions[i];
		out->orders[i] = r->orders[i];
	}
}

/* How much may be written: by the write passes as much as the same time of reading would move, and a quarter more to lead
 * them in; and what is written to see how the target stores it. */
static double expected_writes(const struct session *s, const struct sweep_plan *plan)
{
	uint64_t write_ns = 0;
	struct pass_plan probe = { .request_bytes =
					   plan->points[plan->point_count - 1].request_bytes,
		.in_flight = 1,
		.region_start = plan->region_start,
		.region_bytes = plan->region_bytes,
		.duration_ns = 100000000,
		.seed = plan->seed };
	struct pass_buffers buffers;
	struct pass_result result;
	double rate = 0, timed, least = 0;

	for (size_t i = 0; i < plan->point_count; i++) {
		const struct sweep_point *p = &plan->points[i];

		write_ns += p->write ? plan->duration_ns * plan->passes : 0;
		least += p->write ? (double)(plan->least_requests * p->request_bytes) * plan->passes
				  : 0;
	}
	if (pass_buffers_init(&buffers, s->medium, probe.request_bytes, 1) < 0)
		return 0;
	if (pass_run(s->medium, &probe, &buffers, &result, NULL) == 0 && result.busy_ns)
		rate = (double)result.bytes / (double)result.busy_ns;
	pass_buffers_release(&buffers);
	timed = rate * (double)write_ns;
	return 1.25 * (timed > least ? timed : least) + (double)sweep_look_bytes(plan);
}

static void announce_looking(const struct sweep_plan *plan, const struct session *s)
{
	char most[SIZE_TEXT_MAX];
	bool through = s->traits->cache == MEDIUM_CACHE_WRITE_THROUGH;

	if (!sweep_look_bytes(plan))
		return;
	message_note("before writes are timed, up to %s is written to see when the target stores "
		     "it; that takes three minutes at most",
		size_format_decimal(most, (double)sweep_look_bytes(plan)));
	if (through && strcmp(s->traits->transport, "loop") != 0)
		message_note(
			"the kernel treats '%s' as write through and sends it no flush: this run "
			"sends it SYNCHRONIZE CACHE itself, before and after writes, until it "
			"refuses or does not answer",
			s->traits->path);
}

static void announce(const struct sweep_plan *plan, const struct session *s, const char *record)
{
	char time[SIZE_TEXT_MAX], region[SIZE_TEXT_MAX];

	message_note("%zu point%s, %u pass%s of %s each%s: about %s%s", plan->point_count,
		text_plural(plan->point_count), plan->passes, text_plural_es(plan->passes),
		duration_format(region, (double)plan->duration_ns / 1e9),
		plan->least_requests ? " (up to 10 s while they hold fewer than 30 requests)" : "",
		duration_format(time, (double)sweep_planned_ns(plan) / 1e9),
		s->traits->virtual_clock ? " of modelled time" : "");
	message_note("seed %llu; record: %s", (unsigned long long)plan->seed, record);
	announce_looking(plan, s);
}

/* A pass as the record keeps it. */
struct sweep_record {
	struct record_writer *writer;
	const struct session *session;
	const struct sweep_plan *plan;
	uint64_t passes;
};

static uint64_t scaled(uint64_t n, double share)
{
	return share < 1 ? (uint64_t)((double)n * share + 0.5) : n;
}

static void note_phases(struct run_pass *out, const struct pass_result *p)
{
	const struct phase_times *t = p->phases;
	double share;

	if (!t)
		return;
	out->phases = phases_state_in_record[t->state];
	out->phases_watched = true;
	out->bus_shared = t->bus_shared;
	if (t->state != PHASES_SEEN)
		return;
	out->phases_seen = true;
	/* Of the requests that are timed. */
	share = p->all_requests ? (double)p->requests / (double)p->all_requests : 1;
	out->commands = scaled(t->commands, share);
	out->other_commands = t->others;
	out->host_gaps = scaled(t->ns[PHASE_HOST].total, share);
	out->flush_command_ns = p->flush_on_bus.seen ? p->flush_on_bus.longest_ns : 0;
	for (int i = 0; i < COMMAND_PHASES; i++) {
		out->phase_ns[phase_in_record[i]] = scaled(t->ns[i].sum, share);
		out->phase_p50_ns[phase_in_record[i]] = histogram_quantile(&t->ns[i], 0.5);
	}
}

static uint32_t pass_flags(
	const struct sweep_record *r, const struct sweep_point *point, const struct pass_result *p)
{
	const struct sweep_plan *plan = r->plan;
	uint64_t end = plan->region_start +
		       plan->region_bytes / point->request_bytes * point->request_bytes;
	uint32_t flags = 0;

	/* The kernel counts an empty write for each flush, and what it asks again after an error. */
	if (p->device_known && !p->device_errors &&
		p->device_requests > p->requests + p->device_flushes)
		flags |= p->foreign ? RUN_PASS_FOREIGN_IO : RUN_PASS_SPLIT;
	if (p->device_known && p->device_requests < p->requests && !p->failure.failed)
		flags |= RUN_PASS_MERGED;
	if (p->foreign)
		flags |= RUN_PASS_FOREIGN_IO;
	if (p->wrapped)
		flags |= RUN_PASS_WRAPPED;
	if (p->requests < SHORT_REQUESTS)
		flags |= RUN_PASS_SHORT;
	if (p->failure.failed)
		flags |= RUN_PASS_ERRORS;
	if (p->interrupted)
		flags |= RUN_PASS_CUT;
	/* Those of a request that failed are told as such. */
	if (p->device_errors && !p->failure.failed)
		flags |= RUN_PASS_RESETS;
	if (p->lost)
		flags |= RUN_PASS_HOST;
	if (!strcmp(r->session->traits->transport, "usb") &&
		end + TAIL_BYTES > r->session->traits->size_bytes)
		flags |= RUN_PASS_TAIL;
	return flags;
}

struct filled_bins {
	uint64_t upper_ns[HISTOGRAM_BINS], counts[HISTOGRAM_BINS];
	size_t n;
};

static void fill_bins(struct filled_bins *out, const struct histogram *h)
{
	out->n = 0;
	for (size_t i = 0; i < HISTOGRAM_BINS; i++) {
		if (!h->bins[i])
			continue;
		out->upper_ns[out->n] = histogram_bin_upper(i);
		out->counts[out->n++] = h->bins[i];
	}
}

static int record_phases(struct sweep_record *r, const struct phase_times *t, struct error *err)
{
	static struct filled_bins bins;

	if (!t || t->state != PHASES_SEEN)
		return 0;
	for (int i = 0; i < COMMAND_PHASES; i++) {
		fill_bins(&bins, &t->ns[i]);
		if (bins.n && run_write_phase(r->writer, r->passes, phase_in_record[i],
				      bins.upper_ns, bins.counts, bins.n, err) < 0)
			return -1;
	}
	return 0;
}

static int record_details(struct sweep_record *r, const struct pass_result *p, struct error *err)
{
	static struct filled_bins bins;

	fill_bins(&bins, &p->latency_ns);
	if (bins.n && run_write_histogram(
			      r->writer, r->passes, bins.upper_ns, bins.counts, bins.n, err) < 0)
		return -1;
	if (record_phases(r, p->phases, err) < 0)
		return -1;
	if (!p->trace_steps)
		return 0;
	return run_write_trace(
		r->writer, r->passes, p->trace_step_ns, p->trace, p->trace_steps, err);
}

static enum run_stored_by stored_by(enum pass_stored_by by)
{
	static const enum run_stored_by names[] = {
		[PASS_NOT_SHOWN] = RUN_NOT_SHOWN,
		[PASS_STORED_FLUSH] = RUN_STORED_FLUSH,
		[PASS_STORED_SETTLED] = RUN_STORED_SETTLED,
		[PASS_STORED_STEADY] = RUN_STORED_STEADY,
	};

	return names[by];
}

static const char *flusher_name(enum flusher_way way)
{
	static const char *const names[] = {
		[FLUSHER_KERNEL] = "kernel",
		[FLUSHER_COMMAND] = "command",
		[FLUSHER_REFUSED] = "refused",
		[FLUSHER_SILENT] = "silent",
		[FLUSHER_NONE] = "none",
	};

	return names[way];
}

/* What followed the burst, as the bus showed it. */
static void note_on_bus(struct run_storing *out, const struct store_evidence *e)
{
	const struct command_sum *flush = &e->on_bus.flush, *next = &e->on_bus.reads,
				 *usual = &e->usual_reads;

	out->flush_watched = flush->seen;
	out->flush_commands = flush->commands;
	out->flush_command_ns = flush->ns[PHASE_COMMAND];
	out->flush_status_ns = flush->ns[PHASE_STATUS];
	out->idle_flush_command_ns = e->idle_flush_on_bus_ns;
	out->next_watched = next->seen && next->commands && usual->seen && usual->commands;
	if (!out->next_watched)
		return;
	out->next_command_ns = next->first_ns[PHASE_COMMAND];
	out->next_data_ns = next->first_ns[PHASE_DATA];
	out->usual_command_ns = usual->ns[PHASE_COMMAND] / usual->commands;
	out->usual_data_ns = usual->ns[PHASE_DATA] / usual->commands;
}

static int record_evidence(void *context, const struct store_evidence *e, struct error *err)
{
	struct sweep_record *r = context;
	struct run_storing out = { .by = stored_by(e->by),
		.reads_wait = e->reads_wait,
		.waits_for_idle = e->waits_for_idle,
		.by_place = e->by_place,
		.host_away = e->host_away,
		.foreign = e->foreign,
		.device_errors = e->device_errors,
		.idle_flush_ns = e->idle_flush_ns,
		.usual_read_ns = e->usual_read_ns,
		.failed_reads = e->failed_reads,
		.request_bytes = e->request_bytes,
		.burst_bytes = e->burst_bytes,
		.burst_ns = e->burst_ns,
		.burst_flush_ns = e->burst_flush_ns,
		.burst_wait_ns = e->burst_wait_ns,
		.held_up = e->held_up,
		.buffer_bytes = e->buffer_bytes,
		.head_bps = e->head_bps,
		.drain_bps = e->drain_bps,
		.free_bytes = e->free_bytes,
		.again_bytes = e->again_bytes,
		.first_ns = e->first_ns,
		.again_ns = e->again_ns,
		.flushed_bytes = e->flushed[0].request_bytes,
		.flushed_ns = e->flushed[0].ns,
		.flushed_large_bytes = e->flushed[1].request_bytes,
		.flushed_large_ns = e->flushed[1].ns };

	text_copy(out.flusher, sizeof out.flusher, flusher_name(e->flusher));
	note_on_bus(&out, e);
	return run_write_storing(r->writer, &out, err);
}

static int record_pass(void *context, const struct sweep_point *point, unsigned number,
	uint64_t at_ns, const struct pass_result *p, struct error *err)
{
	struct sweep_record *r = context;
	const struct histogram *h = &p->latency_ns;
	struct run_pass out = { .direction = point->write ? RUN_WRITE : RUN_READ,
		.order = point->random ? RUN_RANDOM : RUN_SEQUENTIAL,
		.request_bytes = point->request_bytes,
		.in_flight = r->plan->in_flight,
		.pass = number,
		.at_ns = at_ns,
		.bytes = p->bytes,
		.requests = p->requests,
		.device_known = p->device_known,
		.device_requests = p->device_requests,
		.device_bytes = p->device_bytes,
		.device_flushes = p->device_flushes,
		.busy_ns = p->busy_ns,
		.flush_ns = p->flush_ns,
		.settle_ns = p->settle_ns,
		.stored_by = stored_by(p->stored_by),
		.stored_ns = p->stored_ns,
		.start_known = true,
		.start_bytes = p->start_bytes,
		.lead_bytes = p->lead_bytes,
		.stalls = p->stalls,
		.stall_ns = p->stall_ns,
		.lat_min_ns = h->total ? h->min : 0,
		.lat_p50_ns = histogram_quantile(h, 0.5),
		.lat_p90_ns = histogram_quantile(h, 0.9),
		.lat_p99_ns = histogram_quantile(h, 0.99),
		.lat_max_ns = h->max,
		.errors = p->failure.failed,
		.device_errors = p->device_errors,
		.flags = pass_flags(r, point, p) };

	note_phases(&out, p);
	if (run_write_pass(r->writer, &out, err) < 0 || record_details(r, p, err) < 0)
		return -1;
	r->passes++;
	return 0;
}

static int outcome_status(enum sweep_outcome outcome, const struct error *err)
{
	if (outcome == SWEEP_INTERRUPTED)
		return 130;
	return outcome == SWEEP_FAILED ? error_exit_status(err) : 0;
}

/* From an open session to a closed record. */
static int measure(struct session *s, const struct options *o, const struct sweep_plan *plan,
	const struct run_plan *described, const char *path, struct error *err)
{
	struct record_writer writer;
	struct sweep_record record = { .writer = &writer, .session = s, .plan = plan };
	struct sweep_sink sink = {
		.context = &record, .pass = record_pass, .evidence = record_evidence
	};
	struct error end_err = { 0 };
	struct progress progress;
	enum sweep_outcome outcome;
	int status;

	if (record_run_begin(&writer, path, "sweep", plan->seed, o, s, err) < 0)
		return error_exit_status(err);
	progress_start(&progress);
	if (run_write_plan(&writer, described, err) < 0 ||
		(described->directions[RUN_WRITE] &&
			session_prepare_writes(s, &writer, plan->region_start, plan->region_bytes,
				expected_writes(s, plan), &progress.watch, err) < 0))
		outcome = SWEEP_FAILED;
	else
		outcome = sweep_run(s->medium, plan, &sink, &progress.watch, err);
	progress_finish(&progress, "the sweep");
	status = session_ended(s, &writer, outcome_status(outcome, err), err);
	if (status == 2) { /* refused before anything was measured: there is nothing to keep */
		record_discard(&writer);
		return status;
	}
	if (record_run_end(&writer, status, err, &end_err) < 0 && status != 3) {
		*err = end_err;
		status = 3;
	}
	return status;
}

static void tell_next(const char *path)
{
	struct text command;

	text_init(&command);
	text_adds(&command, "blkassay explain ");
	shell_add_word(&command, path, false);
	message_note("next, what limits these rates:\n    %s", command.bytes);
	text_release(&command);
}

int cmd_sweep(const struct options *o)
{
	struct error err = { 0 }, close_err = { 0 };
	struct sweep_request request;
	struct sweep_plan plan;
	struct run_plan described;
	struct phase_watch phase_watch;
	struct session s = { 0 };
	struct results results = { 0 };
	char path[512];
	int status;

	if (parse_request(&request, o, &err) < 0)
		return message_error(&err);
	if (session_open(&s, o, request.directions[RUN_WRITE] ? SESSION_WRITES : SESSION_READS,
		    &err) < 0)
		return message_error(&err);
	if (make_plan(&plan, &request, &s, o, record_run_seed(o), &err) < 0 ||
		session_record_path(path, sizeof path, &s, o, "sweep", &err) < 0 ||
		results_open_in(&results, o, path, &s, &err) < 0) {
		status = message_error(&err);
		session_abandon(&s);
		return status;
	}
	phase_watch_open(&phase_watch, o, s.medium, plan.in_flight);
	plan.phases = phase_watch.phases;
	describe_plan(&described, &plan, &request, &s, &phase_watch);
	announce(&plan, &s, path);
	status = measure(&s, o, &plan, &described, path, &err);
	phase_watch_close(&phase_watch);
	if (err.kind != ERROR_NONE)
		message_error(&err);
	else if (status == 130)
		message_warning("interrupted; finished passes are kept in '%s'", path);
	if (session_close(&s, &close_err) < 0) {
		int closed = message_error(&close_err);

		status = status == 0 ? closed : status;
	}
	status = results_end(&results, path, status);
	if (status == 0)
		tell_next(path);
	return status;
}
