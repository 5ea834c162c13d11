/* blkassay observe: what the host really sends while somebody uses the target. */
#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "base/error.h"
#include "base/size.h"
#include "base/text.h"
#include "cli/command.h"
#include "cli/message.h"
#include "cli/out_path.h"
#include "cli/phase_watch.h"
#include "cli/progress.h"
#include "cli/record_run.h"
#include "cli/results.h"
#include "measure/observe.h"
#include "measure/phases.h"
#include "medium/device_traits.h"
#include "medium/medium.h"
#include "platform/blockdev.h"
#include "platform/guard.h"
#include "platform/trace.h"
#include "record/file.h"
#include "record/observe_lines.h"

struct job {
	const struct options *o;
	struct blockdev disk;
	char path[512]; /* of the record */
	struct record_writer writer;
	struct observe_tally *tally;
	struct phase_watch watch;
	struct phases_tally commands;
	struct observation seen;
	struct progress progress;
	char line[120]; /* what the terminal shows */
	struct results results;
};

/* ---- the disk ---- */

static int find_disk(struct blockdev *disk, const char *target, struct error *err)
{
	struct stat st;

	if (stat(target, &st) < 0)
		return error_sys(err, ERROR_USAGE, errno, "cannot find target '%s'", target);
	if (!S_ISBLK(st.st_mode))
		return error_set(err, ERROR_USAGE,
			"'%s' is not a block device; only what the kernel sends to one can be "
			"observed",
			target);
	if (blockdev_read_by_number(disk, NULL, major(st.st_rdev), minor(st.st_rdev), err) < 0)
		return -1;
	if (!disk->partition)
		return 0;
	message_note("'%s' is a partition of /dev/%s; all requests to that disk are observed",
		target, disk->disk);
	return blockdev_read(disk, NULL, disk->disk, err);
}

/* ---- once a second ---- */

static void fill_counts(struct observed_counts *c, const struct blockdev_stat *a,
	const struct blockdev_stat *b, uint64_t at_ns, uint64_t ns)
{
	*c = (struct observed_counts){ .at_ns = at_ns,
		.ns = ns,
		.requests = { b->reads - a->reads, b->writes - a->writes },
		.bytes = { (b->read_sectors - a->read_sectors) * 512,
			(b->written_sectors - a->written_sectors) * 512 },
		.merged = { b->reads_merged - a->reads_merged,
			b->writes_merged - a->writes_merged },
		.wait_ms = { b->read_ms - a->read_ms, b->write_ms - a->write_ms },
		.flushes = b->flushes - a->flushes,
		.flush_ms = b->flush_ms - a->flush_ms,
		.busy_ms = b->busy_ms - a->busy_ms,
		.in_flight = b->in_flight };
}

static void add_counts(struct observed_counts *sum, const struct observed_counts *c)
{
	for (int d = 0; d < 2; d++) {
		sum->requests[d] += c->requests[d];
		sum->bytes[d] += c->bytes[d];
		sum->merged[d] += c->merged[d];
		sum->wait_ms[d] += c->wait_ms[d];
	}
	sum->at_ns = c->at_ns;
	sum->ns += c->ns;
	sum->flushes += c->flushes;
	sum->flush_ms += c->flush_ms;
	sum->busy_ms += c->busy_ms;
	sum->in_flight = c->in_flight;
}

static void show_live(struct job *job, const struct observed_counts *c)
{
	char time[SIZE_TEXT_MAX], rate[2][SIZE_TEXT_MAX];
	uint64_t n = c->requests[0] + c->requests[1];
	uint64_t limit = options_number(job->o, OPTION_SECONDS, 0);

	for (int d = 0; d < 2; d++)
		rate_format(rate[d], (double)c->bytes[d] * 1e9 / (double)(c->ns ? c->ns : 1));
	snprintf(job->line, sizeof job->line, "%s: read %s, write %s, %llu request%s, %llu flush%s",
		duration_format(time, (double)c->at_ns / 1e9), rate[0], rate[1],
		(unsigned long long)n, text_plural(n), (unsigned long long)c->flushes,
		text_plural_es(c->flushes));
	watch_step(&job->progress.watch,
		&(struct watch_step){ .phase = job->line,
			.seconds_left = limit > c->at_ns ? (double)(limit - c->at_ns) / 1e9 : -1 });
}

static int take_second(void *context, const struct blockdev_stat *before,
	const struct blockdev_stat *now, uint64_t at_ns, uint64_t ns, struct error *err)
{
	struct job *job = context;
	struct observed_counts c;

	fill_counts(&c, before, now, at_ns, ns);
	add_counts(&job->seen.total, &c);
	show_live(job, &c);
	return observe_write_second(&job->writer, &c, err);
}

/* ---- the end ---- */

static void fill_latency(struct observed_latency *l, const struct observe_times *t)
{
	const struct histogram *h = &t->ns;

	*l = (struct observed_latency){ .count = h->total,
		.min_ns = h->total ? h->min : 0,
		.p50_ns = histogram_quantile(h, 0.5),
		.p90_ns = histogram_quantile(h, 0.9),
		.p99_ns = histogram_quantile(h, 0.99),
		.max_ns = h->max,
		.max_at_ns = t->slowest_at_ns,
		.max_bytes = t->slowest_bytes };
}

static int fill_sizes(struct observation *o, const struct observe_tally *t, struct error *err)
{
	size_t n = 0;

	for (int d = 0; d < 2; d++)
		for (size_t i = 0; i <= OBSERVE_SIZES; i++)
			n += t->count[d][i] > 0;
	o->sizes = calloc(n + 1, sizeof *o->sizes);
	if (!o->sizes)
		return error_set(err, ERROR_IO, "out of memory for the mix of requests");
	for (int d = 0; d < 2; d++)
		for (size_t i = 0; i <= OBSERVE_SIZES; i++)
			if (t->count[d][i])
				o->sizes[o->size_count++] =
					(struct observed_size){ .direction = (enum run_direction)d,
						.bytes = i * 512,
						.count = t->count[d][i],
						.service_ns = t->service_ns[d][i] };
	return 0;
}

static int fill_seen(struct observation *o, const struct observe_tally *t, struct error *err)
{
	for (int d = 0; d < 2; d++) {
		o->requests[d] = t->requests[d];
		o->bytes[d] = t->bytes[d];
		o->sequential[d] = t->sequential[d];
		o->sequential_bytes[d] = t->sequential_bytes[d];
		fill_latency(&o->latency[d], &t->times[d]);
	}
	fill_latency(&o->flush, &t->flush_times);
	o->flushes = t->flushes;
	o->fua = t->fua;
	o->discards = t->discards;
	o->others = t->others;
	o->errors = t->errors;
	o->lost = t->lost;
	return fill_sizes(o, t, err);
}

static int write_service(struct job *job, enum run_direction d, struct error *err)
{
	static uint64_t bins[HISTOGRAM_BINS], counts[HISTOGRAM_BINS];
	const struct histogram *h = &job->tally->times[d].ns;
	size_t n = 0;

	for (size_t i = 0; i < HISTOGRAM_BINS; i++) {
		if (!h->bins[i])
			continue;
		bins[n] = histogram_bin_upper(i);
		counts[n++] = h->bins[i];
	}
	return n ? observe_write_service(&job->writer, d, bins, counts, n, err) : 0;
}

/* Stacked disks (device mapper, some loop setups) take no requests of their own: nothing to trace, yet counters move. */
static void doubt_trace(struct observation *o, const struct observe_tally *t)
{
	uint64_t counted = o->total.requests[0] + o->total.requests[1];

	if (counted && !t->requests[0] && !t->requests[1] && !t->flushes) {
		o->traced = false;
		text_copy(o->why, sizeof o->why,
			"this disk hands its requests on without events of its own; observe the "
			"disk below it");
	}
}

static const enum observed_deed deeds_in_record[COMMAND_DEEDS] = {
	[DEED_READ] = OBSERVED_READ,
	[DEED_WRITE] = OBSERVED_WRITE,
	[DEED_FLUSH] = OBSERVED_FLUSH,
	[DEED_OTHER] = OBSERVED_OTHER,
};
_Static_assert((int)COMMAND_DEEDS *(int)PHASES_SIZES <= (int)OBSERVED_COMMANDS_MAX,
	"room for all that a tally tells apart");

static void fill_commands(
	struct observation *o, enum command_deed deed, unsigned size, const struct phases_sum *s)
{
	struct observed_commands *c = &o->commands[o->command_count++];

	*c = (struct observed_commands){ .of = deeds_in_record[deed],
		.upto_bytes = UINT64_C(512) << size,
		.commands = s->commands,
		.bytes = s->bytes,
		.longest_ns = s->longest_ns };
	for (int i = 0; i < COMMAND_PHASES; i++)
		c->phase_ns[phase_in_record[i]] = s->ns[i];
}

/* Commands after lost events may be half seen, so that none of them counts then. */
static void fill_phases(
	struct observation *o, const struct phase_watch *w, const struct phases_tally *t)
{
	text_copy(o->phases_off, sizeof o->phases_off, w->why);
	if (!w->phases)
		return;
	o->phases_watched = true;
	o->phases = phases_state_in_record[t->state];
	o->broken_commands = t->broken;
	for (int d = 0; t->state == PHASES_SEEN && d < COMMAND_DEEDS; d++)
		for (unsigned i = 0; i < PHASES_SIZES; i++)
			if (t->sums[d][i].commands)
				fill_commands(o, (enum command_deed)d, i, &t->sums[d][i]);
}

static int keep(struct job *job, struct error *err)
{
	fill_phases(&job->seen, &job->watch, &job->commands);
	if (job->seen.traced)
		doubt_trace(&job->seen, job->tally);
	if (job->seen.traced && fill_seen(&job->seen, job->tally, err) < 0)
		return -1;
	if (observe_write_result(&job->writer, &job->seen, err) < 0)
		return -1;
	if (!job->seen.traced)
		return 0;
	return write_service(job, RUN_READ, err) < 0 || write_service(job, RUN_WRITE, err) < 0 ? -1
											       : 0;
}

static int status_of(enum observe_ending ending, const struct job *job, struct error *err)
{
	if (ending == OBSERVE_GONE)
		error_set(err, ERROR_IO,
			"'%s' went away (unplugged, or its medium was taken out); what was seen is "
			"in '%s'",
			job->disk.node, job->path);
	if (ending == OBSERVE_GONE || ending == OBSERVE_FAILED)
		return error_exit_status(err);
	/* Without --seconds a signal is the way to end it. */
	return ending == OBSERVE_INTERRUPTED && job->o->given[OPTION_SECONDS] ? 130 : 0;
}

/* ---- all of it ---- */

static int open_record(struct job *job, struct error *err)
{
	struct medium_traits traits = { .kind = MEDIUM_BLOCK_DEVICE };
	char token[sizeof((struct run_target *)0)->token];
	struct run_target target;

	text_copy(traits.path, sizeof traits.path, job->disk.node);
	medium_traits_take_device(&traits, &job->disk);
	guard_token_of_device(token, &job->disk);
	record_run_target(&target, &traits, token);
	return record_run_begin_on(&job->writer, job->path, "observe", 0, job->o, &target, err);
}

static struct trace *begin_trace(struct job *job)
{
	struct error err = { 0 };
	struct trace *trace;

	job->seen.traced = trace_open(&trace, job->disk.major, job->disk.minor, &err) == 0;
	if (job->seen.traced)
		return trace;
	text_copy(job->seen.why, sizeof job->seen.why, err.text);
	message_warning("%s: only the kernel's counters are read", err.text);
	return NULL;
}

static int observe(struct job *job, struct error *err)
{
	struct observe_plan plan = { .disk = &job->disk,
		.duration_ns = options_number(job->o, OPTION_SECONDS, 0),
		.trace = begin_trace(job) };
	struct observe_sink sink = { .context = job, .second = take_second };
	struct error end_err = { 0 };
	int status, kept;

	phase_watch_open_disk(&job->watch, job->o, job->disk.major, job->disk.minor);
	observe_tally_init(job->tally, trace_now_ns());
	message_note("observing %s; record: %s%s", job->disk.node, job->path,
		plan.duration_ns ? "" : "; Ctrl-C ends it");
	progress_start(&job->progress);
	if (job->watch.phases)
		phases_begin_all(job->watch.phases, &job->commands);
	status = status_of(
		observe_run(&plan, job->tally, &sink, &job->progress.watch, err), job, err);
	if (job->watch.phases)
		phases_end_all(job->watch.phases);
	progress_finish(&job->progress, NULL);
	trace_close(plan.trace);
	kept = keep(job, &end_err);
	phase_watch_close(&job->watch);
	if (kept < 0 || record_run_end(&job->writer, status, err, &end_err) < 0) {
		if (err->kind == ERROR_NONE)
			*err = end_err;
		record_close(&job->writer, NULL);
		return 3;
	}
	return results_end(&job->results, job->path, status);
}

int cmd_observe(const struct options *o)
{
	struct job *job = calloc(1, sizeof *job);
	struct out_path_target target;
	struct error err = { 0 };
	int status;

	if (job)
		job->tally = malloc(sizeof *job->tally);
	if (!job || !job->tally) {
		free(job);
		error_set(&err, ERROR_IO, "out of memory");
		return message_error(&err);
	}
	job->o = o;
	target = (struct out_path_target){ .name = o->args[0], .device = &job->disk };
	if (find_disk(&job->disk, o->args[0], &err) < 0 ||
		out_path_record(job->path, sizeof job->path, options_text(o, OPTION_OUT, NULL),
			"observe", &err) < 0 ||
		out_path_check_target(job->path, &target, &err) < 0 ||
		results_open_on(&job->results, o, job->path, &target, &err) < 0 ||
		open_record(job, &err) < 0)
		status = error_exit_status(&err);
	else
		status = observe(job, &err);
	if (err.kind != ERROR_NONE)
		message_error(&err);
	results_release(&job->results);
	observation_release(&job->seen);
	free(job->tally);
	free(job);
	return status;
}
