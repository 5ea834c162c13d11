/* The saved-data file of --keep-data: the bytes of a region or of several places, what they belong to, and the way
 * back.
 *
 * The file: a header of 4096 bytes (lines of text, NULs, in the last four bytes the CRC32 of all before), with several
 * places their table, then chunks of up to 1 MiB (the last one of a place may be shorter), each behind a head of 16
 * bytes, then an end mark of 16 bytes. Numbers are little endian, CRC32 as in RFC 1952.
 *   header  "blkassay-kept 1", then KEY=VALUE: token, place, size, block, start, bytes; controls and '%' as %XX;
 *           with several places "blkassay-kept 2" and also extents (their count) and table (the CRC32 of their table)
 *   table   u64 start, u64 bytes of each, ascending
 *   head    u32 magic "KDAT", u32 CRC32 of index and data, u64 index from 0; then the data
 *   end     u32 magic "KEND", u32 CRC32 of the header's CRC32 and the count, u64 count of chunks
 * The end mark is written last and synced before the target is touched: a file without it belongs to a target that was
 * never written. */
#ifndef INTEGRITY_KEPT_H
#define INTEGRITY_KEPT_H

#include <stddef.h>
#include <stdint.h>

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
};

struct kept; /* an open saved-data file */

struct kept_result {
	uint64_t bytes; /* in the region, all read back and equal */
	uint64_t written_bytes; /* the rest was on the target already */
};

/* What the file will take on disk. */
uint64_t kept_file_bytes(const struct kept_identity *id);

/* Reads what id names (extents ascending, none touching another's bytes) from m into a new file, syncs file and folder, reads the file again. Afterwards, and
 * only then, the target may be written. On failure or interruption the file is removed and *err says why. */
int kept_save(const char *path, const struct kept_identity *id, struct medium *m,
	const struct watch *watch, struct error *err);

/* Opens a saved-data file and checks header, length and end mark. */
int kept_open(struct kept **out, const char *path, struct error *err);
/* Its extents live as long as k. */
const struct kept_identity *kept_identity(const struct kept *k);
/* Every chunk's CRC32. */
int kept_verify(const struct kept *k, const struct watch *watch, struct error *err);
/* Puts the region back: writes the chunks that differ, flushes, reads everything back and compares. Stops between
 * chunks when watch says so (ERROR_INTERRUPTED); can be repeated after any failure. */
int kept_restore(const struct kept *k, struct medium *m, struct kept_result *result,
	const struct watch *watch, struct error *err);
void kept_close(struct kept *k); /* NULL: nothing */

/* Removes the file for good (its folder synced). */
int kept_remove(const char *path, struct error *err);

#endif
