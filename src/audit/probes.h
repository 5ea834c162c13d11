/* The probes, each one or a few lines of the audit, in the order they run. All: 0 or a negative errno; a device that
 * refuses a command is a finding, not an error. */
#ifndef AUDIT_PROBES_H
#define AUDIT_PROBES_H

#include <stdbool.h>

struct probe_context;

int probe_claims(struct probe_context *pc); /* inquiry, capacity, cache-page, kernel-view */
int probe_buffer(struct probe_context *pc); /* fills known; buffer */
int probe_power_cut(struct probe_context *pc); /* models only; power-cut */
/* write-behind: what is hidden, from all that is known */
int probe_write_behind(struct probe_context *pc);
int probe_flush(struct probe_context *pc); /* flush */
int probe_fua(struct probe_context *pc);
int probe_fsync(struct probe_context *pc);
/* read-after-write, interleaved, overlap, partial-overlap, straddle */
int probe_coherence(struct probe_context *pc);
int probe_stored(struct probe_context *pc); /* stored: many writes, and everything written so far */
int probe_past_end(struct probe_context *pc);
int probe_odd_length(struct probe_context *pc);
int probe_background_error(struct probe_context *pc);
int probe_transfers(struct probe_context *pc); /* transfer-length: of all reads and writes so far */
int probe_sense(struct probe_context *pc);
int probe_eject(struct probe_context *pc); /* eject, ejected */
int probe_steady(struct probe_context *pc); /* the claims, asked for again */
int probe_answered(struct probe_context *pc); /* answered: of all commands so far */
int probe_vital_pages(struct probe_context *pc);

/* Does the caching page say what it said at first? 0 or a negative errno. */
int claims_of_cache_hold(struct probe_context *pc, bool *hold);

/* For those with a model: writes a burst, with a last request as short as can be (short_end) or like the others, flushes it, cuts
 * power at the answer and judges what must be there then. 0, or a negative errno. */
struct probe_check;
int probe_cut_after(struct probe_context *pc, bool short_end,
	int (*flush)(struct probe_context *pc), struct probe_check *flushed);

#endif
