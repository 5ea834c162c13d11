/* Everything that may or may not be tested here, gathered for `targets`. */
#ifndef CLI_TARGET_LIST_H
#define CLI_TARGET_LIST_H

#include <stdbool.h>
#include <stddef.h>

#include "platform/blockdev.h"
#include "platform/guard.h"
#include "platform/usage.h"

struct error;

struct target_row {
	struct blockdev device; /* a disk, or after it one of its partitions */
	struct guard_verdict verdict; /* without --fixed-disk */
	struct usage usage; /* of the whole disk */
	bool usage_known;
	bool openable; /* by this user, for reading */
};

struct target_list {
	struct target_row *rows;
	size_t count;
	size_t unused_loops; /* loop devices without a file are left out */
};

/* src NULL: this machine. 0, or -1 with *err. */
int target_list_read(struct target_list *list, const struct usage_sources *src, struct error *err);
void target_list_release(struct target_list *list);

/* Data that an earlier run saved of it with --keep-data, and may not have put back. By name alone: listing targets reads
 * nothing of them. */
struct target_kept {
	char path[4400]; /* full; "": none */
	char run[64]; /* "verify 2026..." */
	bool in_use; /* that run is still going */
};
void target_kept_find(struct target_kept *out, const struct target_row *row);

/* What the disk `row` is used by: "mounted on / (vda1), swap (vda2)"; "" for nothing. */
void target_usage_format(char *out, size_t room, const struct target_row *row);

#endif
