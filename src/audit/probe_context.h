/* What all probes work with: stamped writes and reads in the working area by SCSI commands where there are any,
 * else by the kernel, what must be where, and every error the device reported. */
#ifndef AUDIT_PROBE_CONTEXT_H
#define AUDIT_PROBE_CONTEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "audit/audit.h"
#include "integrity/judge.h"
#include "medium/medium.h"
#include "medium/scsi.h"
#include "medium/scsi_data.h"
#include "medium/scsi_sense.h"

struct error;

/* Functions that return int: 0, PROBE_REFUSED (the device answered with an error: see last_sense), or a negative errno. */
enum { PROBE_REFUSED = 1 };

enum { PROBE_BUFFER_BYTES = 128 * 1024 };

/* Of bursts: 64 of the longest requests. */
enum { PROBE_REQUESTS = 64, PROBE_REQUEST_MAX = 32 * 1024 };
enum { PROBE_FILL_MIN = PROBE_REQUESTS * PROBE_REQUEST_MAX };

/* Modelled power cuts: 8 of the power itself, with one run of writes or two; 4 for either flush. */
enum { PROBE_CUTS = 8, PROBE_FLUSH_CUTS = 4 };
enum { PROBE_CUT_RUNS = 3 * PROBE_CUTS + 2 * PROBE_FLUSH_CUTS };

/* A window number: this block keeps nothing, which was told; nothing is expected of it any more. */
#define PROBE_BAD_PLACE UINT32_MAX

/* What is known of the device so far; probes add to it and later ones build on it. */
struct known {
	struct scsi_inquiry inquiry;
	bool inquiry_answered;
	struct scsi_mode mode; /* as the kernel asks for it: all pages */
	bool mode_answered;
	bool claims_cache; /* WCE */
	bool claims_fua;
	bool sync_refused; /* SYNCHRONIZE CACHE is no command it knows, or not in this form */
	struct scsi_sense sync_sense; /* its answer then */
	/* write-behind, from the acknowledge curve */
	bool knee; /* every burst slowed down, at the same place */
	bool confirmed; /* and something else than the curve shows a backlog of that size */
	/* to writes, with power cut right then and what they promise looked at (models) */
	uint64_t cut_answers;
	bool behind_proven; /* acknowledged data was gone after a power cut (models) */
	double buffer_bytes, buffer_low, buffer_high;
	double drain_rate, drain_low, drain_high; /* B/s */
	double head_rate; /* B/s while the buffer takes it */
	/* a burst that fills it for certain; without a knee, of the backlog probes */
	uint64_t burst_bytes;
	double read_wait, sync_wait; /* seconds after such a burst, above idle; medians */
	double resolution; /* seconds: a longer wait would have shown */
	/* what was left in the buffer on purpose, to see whether leftovers show, and whether they do; 0: not tried */
	double leftover_bytes;
	bool leftovers_show;
	bool flush_kept; /* SYNCHRONIZE CACHE takes the time that storing takes */
};

struct probe_context {
	struct medium *m;
	const struct medium_traits *t;
	const struct audit_plan *plan;
	const struct audit_hooks *hooks;
	struct promises *out;
	struct known known;

	char phase[64]; /* what the user sees: "flush (step 3 of 13)" */
	bool scsi;
	uint32_t block; /* stamped */
	uint32_t unit; /* least transfer */
	uint32_t bulk; /* of long reads and writes */
	uint32_t request; /* of bursts: the size that shows a backlog best */
	unsigned char *buf; /* PROBE_BUFFER_BYTES */
	struct judge *judge;

	uint32_t *generation; /* by stamped block of the area: what must be there; 0: anything */
	uint32_t *window; /* number of the flush window it was written in */
	uint64_t blocks;
	uint32_t next_generation, this_window;

	uint64_t settle_ns; /* after this long without commands nothing is pending any more */
	uint64_t
		last_ns; /* until the last command was done, however often it had to be asked for */
	uint64_t write_commands, written_bytes;

	/* Errors the device told of: those that report a write that failed; apart from them 02/3A/00, which says that there is
	 * no card, and what else refuses a command and says nothing of any write before. */
	struct scsi_sense last_sense;
	uint64_t errors_reported, deferred_reported, absent_reported, refusals_reported,
		blocks_excused;
	char first_error[SCSI_SENSE_TEXT_MAX], first_refusal[SCSI_SENSE_TEXT_MAX];
	/* commands refused because it was not ready, though there is a card, up to the last line; the last one */
	uint64_t unready;
	struct scsi_sense unready_sense;
	/* requests that came to nothing on their way, so that the device said nothing of them; up to the last line */
	uint64_t host_errors;
	bool host_failed; /* the last command */
	/* by its first byte: how often it was answered, if only by a refusal, and how often not; the last of the latter */
	struct {
		uint32_t answered, unanswered;
		uint16_t host_status;
	} commands[256];
	/* of the first answers, on the bus: shorter than asked for; ended in a stall */
	uint64_t shorts, stalled_shorts;
	/* reads and writes answered GOOD; those that moved less than was asked for */
	uint64_t transfers, short_reads, short_writes;
	char first_short[120];
	/* by the kernel's count, up to the last line; none of this run's own among them */
	uint64_t kernel_errors;
	uint64_t wrong_blocks; /* of all checks, but for unreadable ones */
	uint64_t silent_places; /* blocks that stay wrong whatever is written, with no error told */

	uint64_t cursor; /* where the next burst goes, in bytes of the area */
	/* [quiet_base, area end) is not touched by bursts: coherence works there */
	uint64_t quiet_base;
	struct error *err; /* of a hook that stopped the run */
};

int context_init(struct probe_context *pc, struct medium *m, const struct audit_plan *p,
	const struct audit_hooks *hooks, struct promises *out, struct error *err);
void context_release(struct probe_context *pc);

/* Has the user asked to stop? Shows the phase as well. */
bool context_stopped(const struct probe_context *pc);

/* One SCSI command: reissued when it met a deferred error or a unit attention, as SPC-4 asks. A recovered error is success. */
int context_exchange(struct probe_context *pc, struct scsi_exchange *x);
int context_test_unit_ready(struct probe_context *pc); /* the same for that command */

enum probe_way { PROBE_PLAIN, PROBE_FUA };
/* offset: in the area; whole units. A new generation of every block. Refusals are noted, and excuse the blocks of this
 * flush window. */
int context_write(struct probe_context *pc, uint64_t offset, uint32_t length, enum probe_way way);
/* The next stretch of the burst part of the area, round and round. */
int context_write_next(struct probe_context *pc, uint32_t length, enum probe_way way);
int context_read(struct probe_context *pc, uint64_t offset, uint32_t length);

/* SYNCHRONIZE CACHE, or fsync where there is no SCSI. PROBE_REFUSED also when the command is unknown. */
int context_sync(struct probe_context *pc);
/* Flush and wait: nothing is on its way any more, whatever the flush is worth. */
int context_settle(struct probe_context *pc);
/* Settles, writes more than the buffer holds elsewhere, settles: what is read next comes from the card. */
int context_spill(struct probe_context *pc);
/* A burst that fills the buffer for certain; 0, PROBE_REFUSED or a negative errno. */
int context_fill_buffer(struct probe_context *pc);
/* Leaves a few blocks that no other run can have written, however it was seeded, and stores them: by these the medium is known
 * again after it was away. Before medium_expect_change. */
int context_leave_marks(struct probe_context *pc);
/* In small steps: a real wait can be interrupted. */
void context_idle(struct probe_context *pc, uint64_t ns);

/* Blocks that are not what was written last. */
struct probe_check {
	uint64_t judged, wrong, unreadable; /* unreadable ones are among both */
	uint64_t by_class[DAMAGE_CLASSES];
	uint64_t first_wrong; /* byte offset on the target */
	uint64_t wrong_at[16]; /* the first of them, byte offsets in the area */
};
/* Reads [offset, offset+length) of the area in requests of at most `bulk` bytes and judges every block of known
 * generation; adds to *c. What cannot be read so is read unit by unit: what stays unreadable counts as wrong. A wrong
 * block is told once, then forgotten. */
int context_check(
	struct probe_context *pc, uint64_t offset, uint64_t length, struct probe_check *c);
/* "3 of 64 blocks: 2 stale, 1 torn, the first at byte 4096" */
const char *probe_check_format(char *out, size_t room, const struct probe_check *c);

/* The verdict on what was read back; data that cannot be read says nothing of their order. */
enum promise_verdict context_judge_order(const struct probe_check *c);
/* What mends it where nothing is wrong but that blocks cannot be read; else `mend`. */
const char *context_mend(const struct probe_check *c, const char *mend);
/* Blocks that were read and judged. */
uint64_t context_tested(const struct probe_check *c);

/* Reports a line. tested: how much the verdict rests on, as the promise's row counts; with 0 none is kept. A line during which
 * requests failed on the host's side, the device was not ready, or the kernel counted errors or resets that this run did not
 * bring about, proves nothing either way: it is not shown. 0, or -ECANCELED with the error of the hook kept by the caller's error. */
int context_report(struct probe_context *pc, enum promise_id id, enum promise_verdict verdict,
	uint64_t tested, const char *mend, const char *evidence, ...)
	__attribute__((format(printf, 6, 7)));

/* Of what is asked for by an option only: not asked, or, where --only names it, not shown. */
enum promise_verdict context_unasked(const struct probe_context *pc, enum promise_id id);

/* Errors that the device told of, whatever they say. */
static inline uint64_t context_told(const struct probe_context *pc)
{
	return pc->errors_reported + pc->absent_reported + pc->refusals_reported;
}

/* For a line that is about errors, or about the medium leaving: whatever the kernel counted up to now is no reason for doubt. */
void context_pass_over_errors(struct probe_context *pc);

/* The same line for all that cannot be asked without SCSI; and without a medium, after an eject. */
int context_report_no_scsi(struct probe_context *pc, enum promise_id id);
int context_report_no_medium(struct probe_context *pc, enum promise_id id);

/* How many blocks at either end of the target are looked at: both ends fit the buffer together. 1 to 8. */
uint32_t context_edge_blocks(uint64_t total, uint32_t block_bytes);

/* What Linux makes of a device's own error answer, by its kind (block/blk-core.c, from memory): medium, target, protection,
 * anything else. The device is still there, unlike with ENODEV. */
bool context_is_error_answer(int rc);

static inline double context_seconds(uint64_t ns)
{
	return (double)ns / 1e9;
}

#endif
