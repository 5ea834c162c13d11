/* Runs as lines of a record, both ways. */
#include "record/run.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>
#include <sys/utsname.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/number.h"
#include "base/text.h"
#include "record/field.h"
#include "record/file.h"
#include "record/line.h"

double run_pass_rate_acknowledged(const struct run_pass *p)
{
	return p->busy_ns ? (double)p->bytes * 1e9 / (double)p->busy_ns : 0;
}

double run_pass_rate_stored(const struct run_pass *p)
{
	if (p->direction == RUN_READ)
		return run_pass_rate_acknowledged(p);
	return p->stored_by && p->stored_ns ? (double)p->bytes * 1e9 / (double)p->stored_ns : 0;
}

static const char *const direction_words[] = { [RUN_READ] = "read", [RUN_WRITE] = "write", NULL };
static const char *const order_words[] = {
	[RUN_SEQUENTIAL] = "sequential", [RUN_RANDOM] = "random", NULL
};
static const char *const stored_words[] = { [RUN_NOT_SHOWN] = "none",
	[RUN_STORED_FLUSH] = "flush",
	[RUN_STORED_SETTLED] = "settled",
	[RUN_STORED_STEADY] = "steady",
	NULL };

const char *const run_phases_words[] = { [RUN_PHASES_NOT_WATCHED] = "not-watched",
	[RUN_PHASES_SEEN] = "seen",
	[RUN_PHASES_DROPPED] = "dropped",
	[RUN_PHASES_BROKEN] = "broken",
	[RUN_PHASES_OTHERS] = "others",
	[RUN_PHASES_CLOCK] = "clock",
	NULL };
static const char *const phase_words[] = { [RUN_PHASE_COMMAND] = "command",
	[RUN_PHASE_DATA] = "data",
	[RUN_PHASE_STATUS] = "status",
	[RUN_PHASE_HOST] = "host",
	NULL };

const char *run_direction_name(enum run_direction d)
{
	return direction_words[d];
}

const char *run_order_name(enum run_order o)
{
	return order_words[o];
}

const char *run_stored_name(enum run_stored_by by)
{
	return stored_words[by];
}

void run_head_complete(struct run_head *h)
{
	struct utsname u;
	struct tm tm;
	time_t now = time(NULL);
	uint32_t unique = 0;
	char stamp[24];

	gmtime_r(&now, &tm);
	if (!*h->started)
		strftime(h->started, sizeof h->started, "%Y-%m-%dT%H:%M:%SZ", &tm);
	if (!*h->id) {
		strftime(stamp, sizeof stamp, "%Y%m%dT%H%M%SZ", &tm);
		if (getrandom(&unique, sizeof unique, GRND_NONBLOCK) != (ssize_t)sizeof unique)
			unique = (uint32_t)getpid();
		snprintf(h->id, sizeof h->id, "%s-%08x", stamp, unique);
	}
	if (!*h->tool)
		text_copy(h->tool, sizeof h->tool, BLKASSAY_VERSION);
	if (!*h->kernel && uname(&u) == 0)
		snprintf(h->kernel, sizeof h->kernel, "%.48s %.32s", u.release, u.machine);
	if (!h->cpus) {
		long n = sysconf(_SC_NPROCESSORS_ONLN);

		h->cpus = n > 0 ? (uint32_t)n : 0;
	}
}

/* ---- the lines, described once ---- */

#define HERE struct run_head
static const struct field head_fields[] = {
	FIELD("id", id, "unique: UTC time and 32 random bits"),
	FIELD("kind", kind, "sweep, verify, audit, cut or observe"),
	FIELD("tool", tool, "version of the program"),
	FIELD("started", started, "UTC"),
	FIELD("label", label, "the firmware build, as the user called it"),
	FIELD("seed", seed, "of offsets, data and order"),
	FIELD("kernel", kernel, "release and machine"),
	FIELD("cpus", cpus, ""),
	FIELD("command", command, "as typed"),
};
#undef HERE
const struct line_kind kind_run = LINE_KIND("run", head_fields, "What ran, where and when.");

#define HERE struct run_target
static const struct field target_fields[] = {
	FIELD("kind", kind, "device, image or model"),
	FIELD("path", path, ""),
	FIELD("name", name, "of the kernel, the file or the model"),
	FIELD("vendor", vendor, ""),
	FIELD("model", model, ""),
	FIELD("serial", serial, ""),
	FIELD("revision", revision,
		"of the firmware, as it calls itself in INQUIRY data or its like; empty: unknown"),
	FIELD("usb_release", usb_release,
		"bcdDevice of its USB device descriptor, 0100 is 1.00; empty: unknown"),
	FIELD("transport", transport, ""),
	FIELD("token", token,
		"names it in a consent; an image moved to another folder has another one, and "
		"recheck and --resume take it for the same as long as base name and size agree"),
	FIELD("size_bytes", size_bytes, ""),
	FIELD("logical_block_bytes", logical_block_bytes, ""),
	FIELD("physical_block_bytes", physical_block_bytes, ""),
	FIELD("request_limit_bytes", request_limit_bytes, "above it the kernel splits; 0: unknown"),
	FIELD("link_bits_per_second", link_bits_per_second, "0: unknown"),
	FIELD("cache", cache, "write back, write through or unknown, as the kernel takes it"),
	FIELD("fua", fua, "0 or 1: takes FUA"),
	FIELD("removable", removable, "0 or 1"),
	FIELD("read_only", read_only, "0 or 1"),
	FIELD("modelled", modelled, "0 or 1: on a virtual clock"),
	FIELD("not_known", not_known,
		"what the model was made without knowing, as its key of that name says"),
	FIELD("disk_sequence", disk_sequence, "of the kernel, which counts disks; 0: unknown"),
};
#undef HERE
const struct line_kind kind_target =
	LINE_KIND("target", target_fields, "What was tested, as the kernel and the device say.");

#define HERE struct run_plan
static const struct field plan_fields[] = {
	FIELD("region_start", region_start, "bytes from the start of the target"),
	FIELD("region_bytes", region_bytes, ""),
	FIELD_AS("sizes", FIELD_IS_LIST, sizes, "of requests, in bytes", FIELD_COUNT(size_count)),
	FIELD("read", directions[RUN_READ], "0 or 1"),
	FIELD("write", directions[RUN_WRITE], "0 or 1"),
	FIELD("sequential", orders[RUN_SEQUENTIAL], "0 or 1"),
	FIELD("random", orders[RUN_RANDOM], "0 or 1"),
	FIELD("in_flight", in_flight, "requests kept open at once"),
	FIELD("seconds", seconds, "asked for, per pass"),
	FIELD("passes", passes, "of each point"),
	FIELD("kept_data", kept_data, "0 or 1: the target's own data was put back"),
	FIELD("phases_off", phases_off, "why phases were not watched; empty when they were"),
};
#undef HERE
const struct line_kind kind_plan =
	LINE_KIND("plan", plan_fields, "What a sweep was asked for.", .synced = true);

#define HERE struct run_storing
static const struct field storing_fields[] = {
	FIELD_AS("by", FIELD_IS_WORD, by,
		"what the passes are told by: flush, settled, steady or none",
		.words = stored_words),
	FIELD("flusher", flusher,
		"kernel; command: a SYNCHRONIZE CACHE of the run's own; refused or silent: the "
		"answer to that; none"),
	FIELD("reads_wait", reads_wait, "0 or 1: for what is not stored"),
	FIELD("waits_for_idle", waits_for_idle,
		"0 or 1: it stores when flushed, read or left alone, not by itself"),
	FIELD("by_place", by_place,
		"0 or 1: writes slowed down at some places and were quick at others, so that no "
		"full buffer was seen"),
	FIELD("host_away", host_away, "0 or 1: the host was stopped or too busy to look"),
	FIELD("foreign", foreign, "0 or 1: the device served others meanwhile"),
	FIELD("device_errors", device_errors,
		"errors, resets and timeouts of the device that the kernel counted meanwhile; with "
		"any of these three nothing tells"),
	FIELD_NS("idle_flush_seconds", idle_flush_ns,
		"a flush with nothing to store; where it is refused, the time that takes"),
	FIELD_NS("usual_read_seconds", usual_read_ns, "a read while nothing waits"),
	FIELD("failed_reads", failed_reads,
		"single reads, anywhere on the target, that failed while it looked"),
	FIELD("request_bytes", request_bytes,
		"of the burst that decided; the next four are its length, and how long its "
		"answers, its flush and the reads after that took"),
	FIELD("burst_bytes", burst_bytes, ""),
	FIELD_NS("burst_seconds", burst_ns, ""),
	FIELD_NS("burst_flush_seconds", burst_flush_ns, ""),
	FIELD_NS("burst_wait_seconds", burst_wait_ns, ""),
	FIELD_WHEN("flush_commands", flush_commands, flush_watched,
		"SYNCHRONIZE CACHE that passed the bus at the flush after that burst; this and the "
		"next three are absent when it was not watched"),
	FIELD_AS("flush_command_seconds", FIELD_IS_NS, flush_command_ns,
		"from the host offering it to the device taking it", FIELD_IF(flush_watched)),
	FIELD_AS("flush_status_seconds", FIELD_IS_NS, flush_status_ns,
		"from there until its status", FIELD_IF(flush_watched)),
	FIELD_AS("idle_flush_command_seconds", FIELD_IS_NS, idle_flush_command_ns,
		"both, of a flush with nothing to store; 0: not seen", FIELD_IF(flush_watched)),
	FIELD_AS("next_command_seconds", FIELD_IS_NS, next_command_ns,
		"the same of the read that came next; this and the next three are absent when that "
		"was not watched",
		FIELD_IF(next_watched)),
	FIELD_AS("next_data_seconds", FIELD_IS_NS, next_data_ns, "until its data had passed",
		FIELD_IF(next_watched)),
	FIELD_AS("usual_command_seconds", FIELD_IS_NS, usual_command_ns,
		"both, of such a read with nothing to store", FIELD_IF(next_watched)),
	FIELD_AS("usual_data_seconds", FIELD_IS_NS, usual_data_ns, "", FIELD_IF(next_watched)),
	FIELD("held_up", held_up, "0 or 1: that burst slowed down; else the next three are 0"),
	FIELD("buffer_bytes", buffer_bytes,
		"how far it goes ahead of storing; not held up: between writes that waited a "
		"second or more"),
	FIELD("head_bytes_per_second", head_bps, "before it slowed down"),
	FIELD("drain_bytes_per_second", drain_bps, "after that"),
	FIELD("free_bytes", free_bytes, "the most written in one go without another slow-down"),
	FIELD("again_bytes", again_bytes,
		"written twice to the same places; the next two are how long the first time and "
		"the second took; 0: no clear difference, or not tried"),
	FIELD_NS("first_write_seconds", first_ns, ""),
	FIELD_NS("second_write_seconds", again_ns, ""),
	FIELD("flushed_bytes", flushed_bytes,
		"of single writes with a flush after each; the next is how long such a write and "
		"its flush take, and the two after that are the same of a larger size; 0: not "
		"timed"),
	FIELD_NS("flushed_seconds", flushed_ns, ""),
	FIELD("flushed_large_bytes", flushed_large_bytes, ""),
	FIELD_NS("flushed_large_seconds", flushed_large_ns, ""),
};
#undef HERE
const struct line_kind kind_storing = LINE_KIND("storing", storing_fields,
	"How the target showed what it has stored, before the first write pass of a sweep; see "
	"blkassay-method(7).",
	.synced = true);

#define HERE struct run_pass
#define PHASE(name, member, says) FIELD_AS(name, FIELD_IS_NS, member, says, FIELD_IF(phases_seen))
static const struct field pass_fields[] = {
	FIELD_AS("direction", FIELD_IS_WORD, direction, "read or write", .words = direction_words),
	FIELD_AS("order", FIELD_IS_WORD, order, "sequential or random", .words = order_words),
	FIELD("request_bytes", request_bytes, ""),
	FIELD("in_flight", in_flight, "requests kept open at once"),
	FIELD("pass", pass, "number at its point, from 1"),
	FIELD_NS("at_seconds", at_ns, "start, since the start of the run"),
	FIELD("bytes", bytes, "moved"),
	FIELD("requests", requests, "answered"),
	FIELD_WHEN("device_requests", device_requests, device_known,
		"from the kernel's counters; this and the next two are absent when unknown"),
	FIELD_WHEN("device_bytes", device_bytes, device_known, ""),
	FIELD_WHEN("device_flushes", device_flushes, device_known, ""),
	FIELD_NS("busy_seconds", busy_ns, "from the first request sent to the last one answered"),
	FIELD_NS("flush_seconds", flush_ns, "the closing flush; 0 for reads"),
	FIELD_NS("settle_seconds", settle_ns,
		"after that, until reads took their usual time; 0 for reads"),
	FIELD_AS("stored_by", FIELD_IS_WORD, stored_by,
		"of writes: flush, settled, steady, or none: not shown", .words = stored_words),
	FIELD_NS("stored_seconds", stored_ns, "time in which the bytes were stored; 0: not shown"),
	FIELD_WHEN("start_bytes", start_bytes, start_known,
		"of the target: where its first request went; absent in older records"),
	FIELD("lead_bytes", lead_bytes, "written untimed before"),
	FIELD("stalls", stalls, "requests over 20 times the median one"),
	FIELD_NS("stall_seconds", stall_ns, "their time"),
	FIELD_NS("request_time_min_seconds", lat_min_ns, ""),
	FIELD_NS("request_time_p50_seconds", lat_p50_ns,
		"at most 1 % above the true one, like the next two"),
	FIELD_NS("request_time_p90_seconds", lat_p90_ns, ""),
	FIELD_NS("request_time_p99_seconds", lat_p99_ns, ""),
	FIELD_NS("request_time_max_seconds", lat_max_ns, ""),
	FIELD("errors", errors, "requests that failed"),
	FIELD("device_errors", device_errors,
		"errors, resets and timeouts of the device that the kernel counted meanwhile"),
	FIELD_AS("flags", FIELD_IS_FLAGS, flags, "joined by '+'; see below",
		.words = run_pass_flag_words),
	FIELD_AS("phases", FIELD_IS_WORD, phases,
		"of the commands on the bus: seen; or not, because events were dropped, commands "
		"were broken off, others came in between, or the clock was set; absent when nobody "
		"watched",
		.words = run_phases_words, FIELD_IF(phases_watched)),
	FIELD_WHEN("bus_shared", bus_shared, phases_watched,
		"0 or 1: other devices moved more than 5 % as much on the same bus meanwhile"),
	FIELD_WHEN("commands", commands, phases_seen,
		"that carried the data; this and the rest are absent unless phases were seen"),
	FIELD_WHEN("other_commands", other_commands, phases_seen, "in between"),
	PHASE("command_seconds", phase_ns[RUN_PHASE_COMMAND],
		"from the host offering a command to the device taking it, all together"),
	PHASE("data_seconds", phase_ns[RUN_PHASE_DATA], "the same of the data"),
	PHASE("status_seconds", phase_ns[RUN_PHASE_STATUS],
		"from the host asking for the status to its coming"),
	PHASE("host_seconds", phase_ns[RUN_PHASE_HOST], "what lies between"),
	PHASE("command_p50_seconds", phase_p50_ns[RUN_PHASE_COMMAND], "median of a command"),
	PHASE("data_p50_seconds", phase_p50_ns[RUN_PHASE_DATA], ""),
	PHASE("status_p50_seconds", phase_p50_ns[RUN_PHASE_STATUS], ""),
	PHASE("host_p50_seconds", phase_p50_ns[RUN_PHASE_HOST], ""),
	FIELD_WHEN("host_gaps", host_gaps, phases_seen,
		"commands that host_seconds is of: those with one before them"),
	PHASE("flush_command_seconds", flush_command_ns,
		"the longest SYNCHRONIZE CACHE at the closing flush; 0: none"),
};
#undef PHASE
#undef HERE
/* Synced: a finished pass survives whatever the target does to this machine next. */
const struct line_kind kind_pass = LINE_KIND(
	"pass", pass_fields, "One pass of a sweep, written when it ends.", .synced = true);

#define HERE struct run_detail
static const struct field histogram_fields[] = {
	FIELD("pass_index", pass_index, "which pass line of the record, from 0"),
	FIELD_AS("bins_seconds", FIELD_IS_SERIES, rows,
		"upper bound in seconds and count; a bound is at most 1 % above the times in "
		"its bin",
		.shape = "nc"),
};
static const struct field phase_fields[] = {
	FIELD("pass_index", pass_index, "which pass line of the record, from 0"),
	FIELD_AS("phase", FIELD_IS_WORD, phase, "command, data, status or host",
		.words = phase_words),
	FIELD_AS("bins_seconds", FIELD_IS_SERIES, rows, "as in request-times, of a command each",
		.shape = "nc"),
};
static const struct field trace_fields[] = {
	FIELD("pass_index", pass_index, "which pass line of the record, from 0"),
	FIELD_NS("step_seconds", step_ns, "length of each stretch"),
	FIELD_AS("bytes", FIELD_IS_SERIES, rows, "in each stretch", .shape = "c"),
};
#undef HERE
const struct line_kind kind_histogram =
	LINE_KIND("request-times", histogram_fields, "Times of the requests of a pass.");
const struct line_kind kind_phase =
	LINE_KIND("phase-times", phase_fields, "Times of one phase of the commands of a pass.");
const struct line_kind kind_trace =
	LINE_KIND("trace", trace_fields, "Bytes moved over the time of a pass.");

static const char *const kept_words[] = { "", "saving", "saved", "left", "back", NULL };

#define HERE struct run_kept
static const struct field kept_fields[] = {
	FIELD_AS("state", FIELD_IS_WORD, state,
		"saving; saved, from where on the target was written; left, for the recheck of a "
		"cut; back",
		.words = kept_words),
	FIELD("saved", saved, "full path of the saved file"),
	FIELD("target", target, "full path"),
	FIELD("start", start, "the first byte kept"),
	FIELD("bytes", bytes, "kept in all"),
};
#undef HERE
/* Synced: the target is written only once its record says where its data is. */
const struct line_kind kind_kept = LINE_KIND("kept", kept_fields,
	"How far --keep-data is; the last one holds. A record whose last one is not 'back' belongs "
	"to a target that may not hold its own data, see blkassay-kept(5).",
	.synced = true);

#define HERE struct run_end
static const struct field end_fields[] = {
	FIELD("status", status, "complete, interrupted or failed"),
	FIELD("exit_status", exit_status, "of the command"),
	FIELD("reason", reason, "why it is not complete"),
};
#undef HERE
const struct line_kind kind_end = LINE_KIND("end", end_fields,
	"The last line; a record without it was cut.", .synced = true, .closes = true);

/* ---- writing ---- */

int run_write_head(struct record_writer *w, const struct run_head *h, struct error *err)
{
	return record_write(w, &kind_run, h, err);
}

int run_write_target(struct record_writer *w, const struct run_target *t, struct error *err)
{
	return record_write(w, &kind_target, t, err);
}

int run_write_plan(struct record_writer *w, const struct run_plan *p, struct error *err)
{
	return record_write(w, &kind_plan, p, err);
}

int run_write_storing(struct record_writer *w, const struct run_storing *s, struct error *err)
{
	return record_write(w, &kind_storing, s, err);
}

int run_write_pass(struct record_writer *w, const struct run_pass *p, struct error *err)
{
	return record_write(w, &kind_pass, p, err);
}

int run_write_histogram(struct record_writer *w, uint64_t index, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err)
{
	struct run_detail d = { .pass_index = index, .rows = series_of(bin_ns, count, NULL, bins) };

	return record_write(w, &kind_histogram, &d, err);
}

int run_write_phase(struct record_writer *w, uint64_t index, enum run_phase phase,
	const uint64_t *bin_ns, const uint64_t *count, size_t bins, struct error *err)
{
	struct run_detail d = {
		.pass_index = index, .phase = phase, .rows = series_of(bin_ns, count, NULL, bins)
	};

	return record_write(w, &kind_phase, &d, err);
}

int run_write_trace(struct record_writer *w, uint64_t index, uint64_t step_ns,
	const uint64_t *bytes, size_t steps, struct error *err)
{
	struct run_detail d = {
		.pass_index = index, .step_ns = step_ns, .rows = series_of(bytes, NULL, NULL, steps)
	};

	return record_write(w, &kind_trace, &d, err);
}

int run_write_kept(struct record_writer *w, const struct run_kept *k, struct error *err)
{
	return record_write(w, &kind_kept, k, err);
}

int run_write_end(struct record_writer *w, const struct run_end *e, struct error *err)
{
	return record_write(w, &kind_end, e, err);
}

/* ---- reading ---- */

static struct run_pass *grow_passes(struct run *r)
{
	/* Doubling at powers of two: the count itself tells when the room is used up. */
	if (r->pass_count == 0 || number_is_power_of_two(r->pass_count)) {
		size_t room = r->pass_count ? r->pass_count * 2 : 1;
		struct run_pass *grown = reallocarray(r->passes, room, sizeof *grown);

		if (!grown)
			return NULL;
		r->passes = grown;
	}
	return &r->passes[r->pass_count++];
}

static int take_pass(struct run *r, const struct line *l, struct error *err)
{
	struct run_pass *p = grow_passes(r);

	if (!p)
		return error_set(err, ERROR_IO, "out of memory for the passes of '%s'", r->path);
	*p = (struct run_pass){ 0 };
	line_take_fields(l, &kind_pass, p);
	return 0;
}

/* A path that was cut would name another file. */
static void drop_cut_path(char *path, size_t room)
{
	if (strlen(path) == room - 1)
		*path = 0;
}

/* Record and saved file may have been moved together: they lie side by side. */
static void look_for_saved(struct run_kept *k, const char *record_path)
{
	char beside[sizeof k->saved];

	k->there = *k->saved && access(k->saved, F_OK) == 0;
	if (k->there || strlen(record_path) + sizeof ".kept" > sizeof beside)
		return;
	snprintf(beside, sizeof beside, "%s.kept", record_path);
	k->there = access(beside, F_OK) == 0;
	if (k->there)
		text_copy(k->saved, sizeof k->saved, beside);
}

static void take_kept(struct run *r, const struct line *l)
{
	struct run_kept *k = &r->kept;

	*k = (struct run_kept){ 0 };
	line_take_fields(l, &kind_kept, k);
	drop_cut_path(k->saved, sizeof k->saved);
	drop_cut_path(k->target, sizeof k->target);
	look_for_saved(k, r->path);
}

static void take_end(struct run_end *e, const struct line *l)
{
	*e = (struct run_end){ .present = true };
	line_take_fields(l, &kind_end, e);
}

static void take_storing(struct run_storing *s, const struct line *l)
{
	*s = (struct run_storing){ .present = true };
	line_take_fields(l, &kind_storing, s);
}

bool run_take_line(struct run *r, const struct line *line, struct error *err)
{
	if (!strcmp(line->kind, kind_pass.name))
		return take_pass(r, line, err) == 0;
	if (!strcmp(line->kind, kind_run.name))
		line_take_fields(line, &kind_run, &r->head);
	else if (!strcmp(line->kind, kind_target.name))
		line_take_fields(line, &kind_target, &r->target);
	else if (!strcmp(line->kind, kind_plan.name))
		line_take_fields(line, &kind_plan, &r->plan);
	else if (!strcmp(line->kind, kind_kept.name))
		take_kept(r, line);
	else if (!strcmp(line->kind, kind_storing.name))
		take_storing(&r->storing, line);
	else if (!strcmp(line->kind, kind_end.name))
		take_end(&r->end, line);
	else
		return false;
	return true;
}

void run_note_reader(struct run *r, const struct record_reader *reader)
{
	r->damaged_lines = reader->damaged;
	text_copy(r->lacks, sizeof r->lacks, reader->lacks);
	r->cut = reader->cut || !r->end.present;
}

const char *run_kind_words(const char *kind)
{
	static const struct {
		const char *kind, *words;
	} list[] = {
		{ "sweep", "a sweep" },
		{ "verify", "a verify run" },
		{ "audit", "an audit" },
		{ "journal", "the journal of a cut" },
		{ "observe", "an observation" },
	};

	for (size_t i = 0; i < sizeof list / sizeof *list; i++)
		if (!strcmp(kind, list[i].kind))
			return list[i].words;
	return "another kind of record";
}

bool run_damage_words(char out[RUN_DAMAGE_MAX], const struct run *r)
{
	bool one = r->damaged_lines == 1;

	out[0] = 0;
	if (!r->damaged_lines)
		return false;
	snprintf(out, RUN_DAMAGE_MAX, "%llu line%s of the record %s damaged or missing%s%s%s",
		(unsigned long long)r->damaged_lines, one ? "" : "s", one ? "is" : "are",
		*r->lacks ? " (" : "", r->lacks, *r->lacks ? ")" : "");
	return true;
}

int run_load(struct run *r, const char *path, struct error *err)
{
	struct record_reader reader;
	struct error line_error = { 0 };
	struct line line;
	int rc;

	*r = (struct run){ 0 };
	text_copy(r->path, sizeof r->path, path);
	if (record_open(&reader, path, err) < 0)
		return -1;
	while ((rc = record_next(&reader, &line, err)) > 0) {
		run_take_line(r, &line, &line_error);
		if (line_error.kind != ERROR_NONE) {
			if (err)
				*err = line_error;
			rc = -1;
			break;
		}
	}
	run_note_reader(r, &reader);
	record_reader_release(&reader);
	if (rc == 0 && !*r->head.kind)
		rc = error_set(err, ERROR_USAGE,
			"'%s' holds no run: it was cut before the run began", path);
	if (rc < 0)
		run_release(r);
	return rc;
}

void run_release(struct run *r)
{
	free(r->passes);
	r->passes = NULL;
	r->pass_count = 0;
}

enum { DETAIL_MAX = 65536 };

static void visit_line(
	const struct run_histogram_visitor *v, const struct line *l, struct run_detail *d)
{
	bool histogram = !strcmp(l->kind, kind_histogram.name);

	if (!histogram && strcmp(l->kind, kind_trace.name) != 0)
		return;
	d->step_ns = 0;
	d->rows.rows = 0;
	/* Without its pass it is nobody's: the first field. */
	if (!(line_take_fields(l, histogram ? &kind_histogram : &kind_trace, d) & 1))
		return;
	if (histogram && v->histogram)
		v->histogram(v->context, d->pass_index, d->rows.columns[0], d->rows.columns[1],
			d->rows.rows);
	else if (!histogram && v->trace && d->step_ns)
		v->trace(v->context, d->pass_index, d->step_ns, d->rows.columns[0], d->rows.rows);
}

int run_visit_details(
	const char *path, const struct run_histogram_visitor *visit, struct error *err)
{
	uint64_t *a = calloc(DETAIL_MAX, 2 * sizeof *a);
	struct run_detail detail = { .rows = { .columns = { a, a ? a + DETAIL_MAX : NULL },
					     .room = DETAIL_MAX } };
	struct record_reader reader;
	struct line line;
	int rc;

	if (!a)
		return error_set(err, ERROR_IO, "out of memory");
	if (record_open(&reader, path, err) < 0) {
		free(a);
		return -1;
	}
	while ((rc = record_next(&reader, &line, err)) > 0)
		visit_line(visit, &line, &detail);
	record_reader_release(&reader);
	free(a);
	return rc;
}
