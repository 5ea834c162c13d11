/* A run as plain structs, and their lines in a record. Everything that reports, explains or compares reads these.
 * Each kind of run (sweep, verify, audit, cut, observe) shares head, host, target and end; sweeps add plan and passes. */
#ifndef RECORD_RUN_H
#define RECORD_RUN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "record/pass_flag.h"
#include "record/series.h"
#include "record/tally.h"

struct error;
struct record_writer;
struct record_reader;
struct line;

enum run_direction { RUN_READ, RUN_WRITE };
enum run_order { RUN_SEQUENTIAL, RUN_RANDOM };

struct run_head { /* line "run" */
	char id[40]; /* unique: UTC time and 32 random bits, e.g. 20261125T021500Z-1f3a9c07 */
	char kind[16]; /* sweep, verify, audit, cut, observe */
	char tool[24]; /* version of blkassay */
	char started[24]; /* 2026-11-25T02:15:00Z */
	char label[128]; /* the firmware build, "" when not given */
	char command[1024]; /* the command line as typed, secrets there are none */
	uint64_t seed;
	char kernel[96]; /* uname release, machine */
	uint32_t cpus;
};

struct run_target { /* line "target": what was tested, as the kernel and the device say */
	char kind[16]; /* device, image, model */
	char path[512];
	char name[96];
	char vendor[64], model[96], serial[96];
	char revision[24],
		usb_release[8]; /* of the firmware, as it calls itself; "" when unknown */
	char transport[16];
	char token[160];
	uint64_t size_bytes;
	uint32_t logical_block_bytes, physical_block_bytes;
	uint32_t request_limit_bytes;
	uint64_t link_bits_per_second;
	char cache[16]; /* "write back", "write through", "unknown" */
	bool fua, removable, read_only;
	bool modelled; /* virtual clock: results are modelled, not measured */
	char not_known[160]; /* what the model was made without knowing, with commas between */
	uint64_t disk_sequence;
};

enum { RUN_SIZES_MAX = 64 };

struct run_plan { /* line "plan" of a sweep */
	uint64_t region_start, region_bytes;
	uint64_t sizes[RUN_SIZES_MAX];
	uint64_t size_count;
	bool directions[2]; /* by enum run_direction */
	bool orders[2]; /* by enum run_order */
	uint32_t in_flight;
	double seconds; /* asked for, per pass */
	uint32_t passes;
	bool kept_data; /* --keep-data */
	char phases_off
		[160]; /* why phases were not watched; "": they were, or the record is older */
};

/* Whether the phases of a pass were seen on its bus. */
enum run_phases {
	RUN_PHASES_NOT_WATCHED,
	RUN_PHASES_SEEN,
	RUN_PHASES_DROPPED, /* events were lost */
	RUN_PHASES_BROKEN, /* commands without a status, or resets */
	RUN_PHASES_OTHERS, /* not just the commands of this pass */
	RUN_PHASES_CLOCK, /* the wall clock was set */
};

enum run_phase { RUN_PHASE_COMMAND, RUN_PHASE_DATA, RUN_PHASE_STATUS, RUN_PHASE_HOST };

enum { RUN_PHASE_COUNT = 4 };
/* What shows that writes were stored. */
enum run_stored_by {
	RUN_NOT_SHOWN,
	RUN_STORED_FLUSH, /* a flush that does what it says */
	RUN_STORED_SETTLED, /* reads that took their usual time again */
	RUN_STORED_STEADY, /* a long stretch with the buffer full, or with none to be found */
};

struct run_storing { /* line "storing": how the target showed what it has stored, before the first write pass */
	bool present;
	enum run_stored_by by; /* what the passes are told by */
	char flusher[16]; /* kernel, command, refused, silent, none */
	bool reads_wait; /* for what is not stored */
	bool waits_for_idle; /* it stores when flushed, read or left alone, not by itself */
	bool by_place; /* it slowed down at some places and not at others */
	bool host_away; /* the host was stopped or too busy to look */
	bool foreign; /* the device served others meanwhile */
	uint64_t device_errors; /* that the kernel counted meanwhile */
	uint64_t idle_flush_ns, usual_read_ns;
	uint64_t failed_reads;
	uint64_t request_bytes; /* of the burst that decided, and its times: */
	uint64_t burst_bytes, burst_ns, burst_flush_ns, burst_wait_ns;
	bool flush_watched; /* its flush was, on the bus: then the next four */
	uint64_t flush_commands; /* SYNCHRONIZE CACHE that passed the bus */
	uint64_t flush_command_ns, flush_status_ns; /* until taken; until answered */
	uint64_t idle_flush_command_ns; /* both, of a flush with nothing to store; 0: not seen */
	bool next_watched; /* and so was the first read after it: then the next four */
	uint64_t next_command_ns, next_data_ns, usual_command_ns, usual_data_ns;
	bool held_up; /* it slowed down: then the next three, else 0 */
	double buffer_bytes, head_bps, drain_bps;
	uint64_t free_bytes; /* the most written in one go without another slowing down */
	/* places written twice, where either time was clearly the longer one: how long both took; else 0 */
	uint64_t again_bytes, first_ns, again_ns;
	/* single writes of two sizes, each with a flush after it: how long both take; 0: not timed */
	uint64_t flushed_bytes, flushed_ns, flushed_large_bytes, flushed_large_ns;
};

/* A 99th percentile of fewer requests is a maximum, and differs with their number alone. */
enum { RUN_P99_REQUESTS = 100, RUN_P999_REQUESTS = 1000 };

struct run_pass { /* line "pass" */
	enum run_direction direction;
	enum run_order order;
	uint64_t request_bytes;
	uint32_t in_flight;
	uint32_t pass; /* 1, 2, ... of its point */
	uint64_t at_ns; /* start, since the start of the run */
	uint64_t bytes, requests;
	bool device_known; /* the three below come from the kernel's counters */
	uint64_t device_requests, device_bytes, device_flushes;
	uint64_t busy_ns; /* first request sent to last answered */
	uint64_t flush_ns; /* the closing flush; 0 for reads */
	uint64_t settle_ns; /* after that, until reads took their usual time again */
	enum run_stored_by stored_by;
	uint64_t stored_ns; /* time in which `bytes` were stored, by that evidence; 0: not shown */
	bool start_known;
	uint64_t start_bytes; /* where the first request went, since the start of the target */
	uint64_t lead_bytes; /* written just before, untimed, to fill the target's buffer */
	uint64_t stalls, stall_ns; /* requests over 20 times the median, and their time */
	uint64_t lat_min_ns, lat_p50_ns, lat_p90_ns, lat_p99_ns,
		lat_max_ns; /* histogram, relative error <= 1 % */
	uint64_t errors;
	/* errors and resets by the kernel's count, whosever they were; 0: none or unknown */
	uint64_t device_errors;
	uint32_t flags; /* enum run_pass_flag */
	enum run_phases phases;
	bool phases_watched; /* phases is anything but NOT_WATCHED */
	bool bus_shared; /* watched: other devices moved data on the same bus meanwhile */
	bool phases_seen; /* phases is SEEN: the following hold */
	uint64_t commands; /* that carried the data */
	uint64_t other_commands; /* in between, without such data */
	uint64_t phase_ns[RUN_PHASE_COUNT]; /* by enum run_phase, of all these commands together */
	uint64_t phase_p50_ns[RUN_PHASE_COUNT]; /* of a command */
	uint64_t host_gaps; /* how many commands the host's time is of */
	uint64_t
		flush_command_ns; /* the longest SYNCHRONIZE CACHE at the closing flush; 0: none was seen */
};

struct run_detail { /* lines "request-times", "phase-times" and "trace" */
	uint64_t pass_index; /* 0-based order of "pass" lines */
	enum run_phase phase;
	uint64_t step_ns; /* of a trace */
	struct series rows; /* upper bounds in ns and counts; or bytes in each step */
};

enum run_kept_state {
	RUN_KEPT_NONE, /* no --keep-data */
	RUN_KEPT_SAVING, /* the target was not written yet */
	RUN_KEPT_SAVED, /* from here on it was */
	RUN_KEPT_LEFT, /* on purpose: cut off, the target holds what is to be rechecked */
	RUN_KEPT_BACK,
};

struct run_kept { /* line "kept": each one says how far --keep-data is, the last one holds */
	enum run_kept_state state;
	char saved[1024], target[1024]; /* full paths; "" when longer than that */
	uint64_t start, bytes; /* first byte kept, how many in all */
	bool there; /* the saved file, at the moment the record was read */
};

struct run_end { /* line "end" */
	bool present;
	char status[16]; /* complete, interrupted, failed */
	int exit_status;
	char reason[512];
};

struct run {
	struct run_head head;
	struct run_target target;
	struct run_plan plan;
	struct run_storing storing;
	struct run_pass *passes;
	size_t pass_count;
	struct run_end end;
	struct run_kept kept;
	char path[512];
	uint64_t damaged_lines; /* or missing ones */
	/* what is missing most, such as "10 of 36 lines of kind pass"; "": not known */
	char lacks[TALLY_WORDS_MAX];
	bool cut; /* last line cut, or no "end" */
};

/* Rates of a pass, in B/s; 0 when no time passed. */
double run_pass_rate_acknowledged(const struct run_pass *p);
/* 0 where it is not shown; for reads the same as acknowledged */
double run_pass_rate_stored(const struct run_pass *p);

/* Does it count in figures? */
static inline bool run_pass_usable(const struct run_pass *p)
{
	return p->requests && p->bytes && p->busy_ns && !(p->flags & RUN_PASS_UNUSABLE);
}

const char *run_direction_name(enum run_direction d); /* "read", "write" */
extern const char *const run_phases_words[]; /* by enum run_phases, ended by NULL */
const char *run_order_name(enum run_order o); /* "sequential", "random" */
const char *run_stored_name(enum run_stored_by by); /* "flush", "settled", "steady"; "none" */

struct line_kind;
extern const struct line_kind kind_run, kind_target, kind_plan, kind_storing, kind_pass,
	kind_histogram, kind_phase, kind_trace, kind_kept, kind_end;

/* Writing. Head fills id, started, kernel, cpus, tool by itself when they are empty. */
void run_head_complete(struct run_head *h);
int run_write_head(struct record_writer *w, const struct run_head *h, struct error *err);
int run_write_target(struct record_writer *w, const struct run_target *t, struct error *err);
int run_write_plan(struct record_writer *w, const struct run_plan *p, struct error *err);
int run_write_storing(struct record_writer *w, const struct run_storing *s, struct error *err);
int run_write_pass(struct record_writer *w, const struct run_pass *p, struct error *err);
/* Line "hist": the latency histogram of pass `index` (0-based order of "pass" lines), bins as upper bounds in ns. */
int run_write_histogram(struct record_writer *w, uint64_t index, const uint64_t *bin_ns,
	const uint64_t *count, size_t bins, struct error *err);
/* Line "phase-times": the same of one phase of its commands. */
int run_write_phase(struct record_writer *w, uint64_t index, enum run_phase phase,
	const uint64_t *bin_ns, const uint64_t *count, size_t bins, struct error *err);
/* Line "trace": bytes moved in each stretch of step_ns of that pass. */
int run_write_trace(struct record_writer *w, uint64_t index, uint64_t step_ns,
	const uint64_t *bytes, size_t steps, struct error *err);
/* Synced: the target is written only once its record says where its data is. */
int run_write_kept(struct record_writer *w, const struct run_kept *k, struct error *err);
int run_write_end(struct record_writer *w, const struct run_end *e, struct error *err);

/* What a kind of run leaves behind, with its article: "a sweep", "the journal of a cut". */
const char *run_kind_words(const char *kind);

/* "12 lines of the record are damaged or missing (10 of 36 lines of kind pass)"; false, and "", when none is. */
enum { RUN_DAMAGE_MAX = 200 };
bool run_damage_words(char out[RUN_DAMAGE_MAX], const struct run *r);

/* Takes over what the reader found of damage and of the end, once everything was read. */
void run_note_reader(struct run *r, const struct record_reader *reader);

/* Reading. run_take_line understands "run", "target", "plan", "storing", "pass", "kept", "end" and returns true when it took
 * the line; other kinds are for the caller. */
bool run_take_line(struct run *r, const struct line *line, struct error *err);
/* The whole record. 0, or -1 with *err (a foreign file, a newer version, no "run" line). */
int run_load(struct run *r, const char *path, struct error *err);
void run_release(struct run *r);

/* Walks the histograms (and traces) of a record in file order; visit may be NULL. 0 or -1. */
struct run_histogram_visitor {
	void *context;
	void (*histogram)(void *context, uint64_t pass_index, const uint64_t *bin_ns,
		const uint64_t *count, size_t bins);
	void (*trace)(void *context, uint64_t pass_index, uint64_t step_ns, const uint64_t *bytes,
		size_t steps);
};
int run_visit_details(
	const char *path, const struct run_histogram_visitor *visit, struct error *err);

#endif
