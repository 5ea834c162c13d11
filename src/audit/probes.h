/* The probes, each one or a few lines of the audit, in the order they run. All: 0 or a negative errno; a device that
 * refuses a command is a finding, not an error. */
#ifndef AUDIT_PROBES_H
#define AUDIT_PROBES_H

struct desk;

int probe_claims(struct desk *d); /* inquiry, capacity, cache-page, kernel-view */
int probe_buffer(struct desk *d); /* fills known; buffer */
int probe_power_cut(struct desk *d); /* models only; power-cut */
int probe_write_behind(struct desk *d); /* write-behind: what is hidden, from all that is known */
int probe_flush(struct desk *d); /* flush */
int probe_fua(struct desk *d);
int probe_fsync(struct desk *d);
/* read-after-write, interleaved, overlap, partial-overlap, straddle */
int probe_coherence(struct desk *d);
int probe_stored(struct desk *d); /* stored: many writes, and everything written so far */
int probe_past_end(struct desk *d);
int probe_odd_length(struct desk *d);
int probe_background_error(struct desk *d);
int probe_transfers(struct desk *d); /* transfer-length: of all reads and writes so far */
int probe_eject(struct desk *d);

#endif
