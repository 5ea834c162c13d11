/* What may be tested here, what may not and why, and each one's token. */
#ifndef FINDINGS_TARGETS_VIEW_H
#define FINDINGS_TARGETS_VIEW_H

#include "findings/view.h"

struct error;

/* A disk, or after it one of its partitions. Texts outlive the view; "": unknown, or none. */
struct target {
	const char *path; /* /dev/sdb */
	bool partition; /* of the disk before it */
	const char *token;
	bool may_read; /* by this user */
	bool may_write; /* with consent */
	const char *why_not; /* one word: "mounted" */
	const char *advice; /* the same in a sentence, and what to do */
	uint64_t size_bytes;
	const char *vendor, *model, *serial;
	const char *transport;
	uint64_t link_bits_per_second; /* 0: unknown */
	const char *backing_file; /* of a loop device */
	bool removable, read_only;
	uint32_t logical_block_bytes, physical_block_bytes, request_limit_bytes; /* 0: unknown */
	const char *cache; /* "write back", "write through" */
	const char *holds; /* filesystems: "FAT32 'LOGGER', 7.95 GB"; "": not looked at */
	const char *used_by; /* "mounted on / (sda1), swap (sda2)" */
	const char *kept_by; /* the run that saved its own data; "": nothing is known to be saved */
	const char *
		restore; /* the command that puts it back, quoted for a shell; "": that run is still going */
	/* for people, made by targets_view: */
	const char *title, *link, *transfers, *users, *writing, *partitions;
};

/* Rows outlive the view. unused_loops: loop devices without a file, which are left out. 0, or -1 with *err and nothing to
 * release. */
int targets_view(
	struct view *v, struct target *rows, size_t count, size_t unused_loops, struct error *err);

extern const struct finding_code targets_codes[];
extern const size_t targets_code_count;
extern const struct table_spec targets_spec;

#endif
