/* The saved-data file of --keep-data: the bytes of a region or of several places, what they belong to, and the way
 * back.
 *
 * The file: a header of 4096 bytes (lines of text, NULs, in the last four bytes the CRC32 of all before), with several
 * places their table, then chunks of up to 1 MiB (the last one of a place may be shorter), each behind a head of 16
 * bytes, then an end mark of 16 bytes. Numbers are little endian, CRC32 as in RFC 1952.
 *   header  "blkassay-kept 3", then KEY=VALUE: token, place, size, block, start, bytes, run, kind, seed; controls and
 *           '%' as %XX; with several places also extents (their count) and table (the CRC32 of their table)
 *   table   u64 start, u64 bytes of each, ascending
 *   head    u32 magic "KDAT", u32 CRC32 of the header's CRC32, index and data, u64 index from 0; then the data
 *   end     u32 magic "KEND", u32 CRC32 of the header's CRC32, the count and the CRC32 of every chunk, u64 count of chunks
 * The versions 1 (one stretch) and 2 (several places) name no run, and their CRC32s of head and end leave out the header
 * and the chunks; they are read all the same.
 * The end mark is written last, when all was read twice alike, and synced before the target is touched: a file without
 * it belongs to a target that was never written. */
#ifndef INTEGRITY_KEPT_H
#define INTEGRITY_KEPT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "integrity/own.h"

struct error;
struct medium;
struct watch;

enum { KEPT_EXTENTS_MAX = 65536 };

struct kept_extent {
	uint64_t start, bytes; /* multiples of the block */
};

struct kept_identity {
	char token[160];
	char place[512]; /* image: its full path; loop device: its file's; else "" */
	uint64_t size_bytes; /* of the whole target */
	uint32_t logical_block_bytes;
	uint64_t start,
		bytes; /* the region: where it begins, how much is saved; multiples of the block */
	/* Several places instead of one stretch: `start` is the first's, `bytes` the sum of all. NULL: one stretch. */
	const struct kept_extent *extents;
	size_t extent_count;
	/* The run that saved them. A file of version 1 or 2 names none: "", and any test data counts as its own. */
	char run[40], kind[16];
	uint64_t seed; /* of the stamps and imprints it writes */
};

struct kept; /* an open saved-data file */

/* What the file will take on disk. */
uint64_t kept_file_bytes(const struct kept_identity *id);

/* Reads what id names (extents ascending, none touching another's bytes) from m into a new file, syncs it, reads all of
 * it from m a second time (in other sizes and order, past the host's caches, up to 8 MiB of other reads in between),
 * compares, and ends and syncs file and folder. Afterwards, and only then, the target may be written. *own_bytes: how
 * much of it is test data of this tool. The file stays open and locked in *out: it is at hand whatever becomes of its
 * name. On failure or interruption the file is removed and *err says why. */
int kept_save(struct kept **out, const char *path, const struct kept_identity *id, struct medium *m,
	uint64_t *own_bytes, const struct watch *watch, struct error *err);

/* Opens a saved-data file and checks header, length and end mark. */
int kept_open(struct kept **out, const char *path, struct error *err);
/* Its extents live as long as k. */
const struct kept_identity *kept_identity(const struct kept *k);
/* Is the run that saved it still going? */
bool kept_in_use(const struct kept *k);
/* Every chunk's CRC32, and the end mark's over them. */
int kept_verify(const struct kept *k, const struct watch *watch, struct error *err);
void kept_close(struct kept *k); /* NULL: nothing */

/* What a block of the region holds now. */
enum kept_there {
	KEPT_SAVED, /* what was saved */
	KEPT_RUN, /* what the run wrote: stamps and timed data; may be mixed with what was saved, sector by sector */
	KEPT_SPOILT, /* that, but not to the last bit: changed or damaged since */
	KEPT_OTHER_RUN, /* test data from another run */
	KEPT_BLANK, /* one byte all over, which was not saved so */
	KEPT_UNREADABLE,
	KEPT_OTHER, /* anything else */
	KEPT_THERES
};

enum { KEPT_RANGES_MAX = 16 };

/* From KEPT_SPOILT on a block is changed: writing over it might lose what somebody wants. */
struct kept_look {
	uint64_t blocks[KEPT_THERES]; /* logical blocks */
	struct kept_range {
		uint64_t at, bytes;
		enum kept_there there;
	} ranges[KEPT_RANGES_MAX]; /* the first of the changed ones, ascending */
	size_t range_count;
	uint64_t ranges_all;
};

uint64_t kept_look_changed(const struct kept_look *l); /* blocks */
uint64_t kept_look_all(const struct kept_look *l);
const char *kept_there_words(enum kept_there t); /* "test data from another run", ... */

/* A few blocks all over the region, the first among them: enough to tell a target with the run's test data on it from one
 * without, not to prove anything. Nothing is written. 0 or a negative errno. */
int kept_sample(const struct kept *k, struct medium *m, struct kept_look *out);

/* A few blocks all over what id names, before it is saved: is there test data of this tool among it? 0 or a negative errno. */
struct kept_own {
	unsigned looked, own; /* places */
	struct own_trace trace; /* of one stamp among them */
};
int kept_sample_own(const struct kept_identity *id, struct medium *m, struct kept_own *out);

struct kept_result {
	struct kept_look look;
	uint64_t bytes; /* in the region, all read back and equal */
	uint64_t written_bytes; /* the rest was on the target already */
	/* What is damaged in the file: in all, and the first stretches of the target, ascending. */
	uint64_t lost_bytes;
	struct kept_extent lost[KEPT_RANGES_MAX];
	size_t lost_count;
	uint64_t lost_all;
};

/* What may be written over besides what was saved. */
enum kept_over {
	KEPT_OVER_RUN, /* what the run wrote, to the last bit */
	KEPT_OVER_DAMAGED, /* that, and what can be told from the rest of it where the target has damaged it: for the run
			    * itself, which had the target to itself */
	KEPT_OVER_ALL, /* whatever is there: the user said so */
};

/* Puts the region back. First looks at all of it, and at every CRC32 of the file: a changed block, unless that may be
 * written over, ends it here with ERROR_REFUSED and nothing written. Then writes the chunks that differ, looking at
 * each once more, flushes, reads everything back and compares. Stops between chunks when watch says so
 * (ERROR_INTERRUPTED); can be repeated after any failure. The target is of the identity's size and block. */
int kept_restore(const struct kept *k, struct medium *m, enum kept_over over,
	struct kept_result *result, const struct watch *watch, struct error *err);

/* The same of a file with damaged chunks: these are left out, and listed in the result. The end mark must fit what all
 * chunks were, so a file joined of two is refused all the same. kept_restore lists them too, and fails. */
int kept_restore_whole_chunks(const struct kept *k, struct medium *m, enum kept_over over,
	struct kept_result *result, const struct watch *watch, struct error *err);

/* Removes the file for good (its folder synced). 1: another file or none has that name now, and nothing was removed. */
int kept_remove(const struct kept *k, struct error *err);

#endif
