/* The journal of a cut: what the host asked for, what it was promised, and when. Lines of a record file
 * (record/file.h), described in blkassay-journal(5).
 *
 * Two rules make a later verdict safe. A write is announced, and the announcement is on the host's disk, before it is
 * sent: so whatever is found on the target was announced. A promise counts only when its line was written after the
 * target made it: so a journal that lost its end knows fewer promises, never more. */
#ifndef INTEGRITY_JOURNAL_H
#define INTEGRITY_JOURNAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/cut_plan.h"
#include "record/file.h"
#include "record/flush_pairs.h"
#include "record/run.h"

#define JOURNAL_KIND "journal"

/* What counts as a promise. */
enum journal_promise {
	PROMISE_FLUSHED, /* the target may write behind: only a flush that returned promises */
	PROMISE_ACKNOWLEDGED, /* the target says it has no write cache: every write that returned promises */
};

/* One plugging-in of the target: the kernel counts disks from its start on. */
struct journal_plug {
	uint64_t disk_sequence; /* 0: unknown */
	char boot[40]; /* names the host's boot; "": unknown */
};

struct journal_cycle { /* line "cycle" */
	uint32_t number; /* 1, 2, ... */
	uint64_t seed; /* of the writes and of their stamps */
	uint64_t region_start, region_bytes;
	uint32_t block_bytes; /* of a stamp */
	enum journal_promise promise;
	struct journal_plug plug; /* while it was written to */
};

/* Surely the same: then the target was not unplugged in between. False when either is not known. */
bool journal_plug_is_same(const struct journal_plug *a, const struct journal_plug *b);

/* ---- writing ---- */

int journal_write_cycle(
	struct record_writer *w, const struct journal_cycle *c, uint64_t now_ns, struct error *err);
/* The baseline is written and flushed. */
int journal_write_ready(struct record_writer *w, uint64_t now_ns, struct error *err);
/* Synced: the writes may be sent when this has returned. */
int journal_write_intents(struct record_writer *w, const struct cut_write *writes, size_t count,
	uint64_t now_ns, struct error *err);
/* A write returned; `stored`: with the promise that it is stored (FUA), then synced. */
int journal_write_done(struct record_writer *w, uint32_t number, bool stored, uint64_t sent_ns,
	uint64_t now_ns, struct error *err);
int journal_write_flush(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err);
/* The flush sent last returned: every write up to `through` that returned is stored. Synced. */
int journal_write_stored(
	struct record_writer *w, uint32_t through, uint64_t now_ns, struct error *err);
/* The command that cuts is about to start. Synced. */
int journal_write_pull(struct record_writer *w, uint64_t now_ns, struct error *err);
/* Writing ended. reason: one word (gone, time, interrupted, failed, remains); code: the errno, or 0; device_errors: errors and
 * resets that the kernel counted meanwhile. Synced. */
int journal_write_stop(struct record_writer *w, const char *reason, int code,
	uint64_t device_errors, uint64_t now_ns, struct error *err);

/* ---- reading ---- */

enum { JOURNAL_BLOCKS_MAX = 1 << 20 }; /* of a region: 12 MiB in memory */

/* What may be found in each block of the region: generations, 0 for none. */
struct journal_block {
	uint32_t stored; /* the newest one promised by a flush or a write-through */
	uint32_t acknowledged; /* the newest one whose write returned */
	uint32_t announced; /* the newest one that may have been sent */
};

struct journal {
	struct run_target target;
	struct run_head head;
	struct journal_cycle cycle; /* the last one of the file */
	bool ready; /* its baseline was flushed: there is something to recheck, ... */
	bool put_back; /* ... unless the run itself put the region's own data back at its end */
	struct journal_block *blocks; /* region_bytes / block_bytes */
	size_t block_count;
	uint32_t announced, acknowledged, stored; /* highest number of each */
	uint64_t writes, flushes, throughs; /* returned; the last: writes with FUA */
	bool through_last; /* nothing returned after the last of these */
	uint64_t flush_sent_ns; /* the last one */
	struct flush_pairs pairs;
	uint64_t stop_ns; /* the last sign of life before the cut; ages count from here */
	char stop[16]; /* the reason of "stop"; "" when the journal just ends */
	uint64_t damaged_lines;
	char path[512];
};

/* The last cycle of the journal at path. 0, or -1 with *err (no journal, a cycle that makes no sense, no memory). */
int journal_load(struct journal *j, const char *path, struct error *err);
void journal_release(struct journal *j);

/* When a write was acknowledged, relative to the end: for each wanted number (ascending, none twice), ns and bytes
 * acknowledged after it before the stop. UINT64_MAX for those that never were. */
struct journal_age {
	uint32_t number;
	uint64_t ns_before, bytes_before;
};
int journal_ages(
	const struct journal *j, struct journal_age *ages, size_t count, struct error *err);

#endif
