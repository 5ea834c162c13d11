/* A target opened for a command: consent, refusals, region, kept data. The one way in for every command that touches
 * a target, so that no command can forget a check. */
#ifndef CLI_SESSION_H
#define CLI_SESSION_H

#include <stdbool.h>
#include <stdint.h>

#include "cli/options.h"
#include "medium/medium.h"

struct error;
struct kept_identity;
struct watch;

struct session {
	struct medium *medium;
	const struct medium_traits *traits;
	uint64_t region_start,
		region_bytes; /* multiples of offset_align_bytes, inside the target */
	bool may_write; /* --erase TOKEN matched, --keep-data saved, or --create just made it */
	bool kept; /* --keep-data was given: the region is saved by session_prepare_writes, put back by session_close */
	char token[160];
	char kept_path[512];
	struct session_own *own; /* session.c's own */
};

enum session_need {
	SESSION_READS, /* no token needed */
	SESSION_WRITES, /* refuse without --erase, --keep-data or --create */
};

/* Opens o->args[0], checks whether it may be used so, makes the image for --create, parses --region (default: the
 * whole target). Does not save kept data yet. 0, or -1 with *err and nothing open and nothing written. */
int session_open(
	struct session *s, const struct options *o, enum session_need need, struct error *err);

/* Call when the plan is known, before the first write: says on stderr what will be lost and the wear (bytes_to_write,
 * times the region), and with --keep-data saves the region [start, start+bytes) to a side file next to record_path,
 * synced. `watch` for progress. After this medium writes are allowed. */
int session_prepare_writes(struct session *s, const char *record_path, uint64_t start,
	uint64_t bytes, double bytes_to_write, const struct watch *watch, struct error *err);

/* The same for a run that writes single requests of `length` bytes at `offsets` (ascending, none touching another):
 * only these are announced, and with --keep-data only these are saved. */
struct session_places {
	const uint64_t *offsets;
	size_t count;
	uint64_t length;
};
int session_prepare_places(struct session *s, const char *record_path,
	const struct session_places *places, double bytes_to_write, const struct watch *watch,
	struct error *err);

/* Opens the target of a restore for writing: `id`, from the saved data, is the consent. Refuses any other target, and
 * everything that may not be written. */
int session_open_restore(
	struct session *s, const char *target, const struct kept_identity *id, struct error *err);

/* Closes the target and opens it again, with all checks, so that nothing of it stays cached. Only the same target will do.
 * 0, or -1 with *err and no medium open: the session can only be closed then, which says how to put kept data back. */
int session_reopen(struct session *s, struct error *err);

/* Refuses a path for a result that is the target or lies on it. */
int session_check_output(const struct session *s, const char *path, struct error *err);

/* Restores kept data (removing the side file once verified), closes. 0, or -1 with *err that says where the kept data
 * is and the exact restore command. A signal does not stop the restoring. watch NULL: its own progress. Safe on a session
 * that failed to open. */
int session_close(struct session *s, const struct watch *watch, struct error *err);

/* For a run that ends with its target cut off: session_close then leaves the saved region where it is. command: the one
 * that puts it back, "" when nothing was saved. */
void session_leave_kept(struct session *s, char *command, size_t room);

/* For a run that never began: closes, and removes the image that --create made a moment ago. */
void session_abandon(struct session *s);

/* The record's path: --out, or blkassay-KIND-TIME.assay in the current folder; refuses a path on the target itself. */
int session_record_path(char *out, size_t room, const struct session *s, const struct options *o,
	const char *kind, struct error *err);

#endif
