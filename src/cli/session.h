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
struct record_writer;
struct text;
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
	/* What writes: named in the saved data, so that what it wrote can be told from anybody else's later. Filled when
	 * the record is begun. */
	struct session_run {
		char id[40], kind[16];
		uint64_t seed; /* of the stamps and imprints on the target */
	} run;
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
 * times the region), and with --keep-data saves the region [start, start+bytes) to a side file next to the record,
 * synced, and the record says where. `watch` for progress. After this medium writes are allowed; on failure *err says
 * that nothing was written. */
int session_prepare_writes(struct session *s, struct record_writer *record, uint64_t start,
	uint64_t bytes, double bytes_to_write, const struct watch *watch, struct error *err);

/* The same for a run that writes single requests of `length` bytes at `offsets` (ascending, none touching another):
 * only these are announced, and with --keep-data only these are saved. */
struct session_places {
	const uint64_t *offsets;
	size_t count;
	uint64_t length;
};
int session_prepare_places(struct session *s, struct record_writer *record,
	const struct session_places *places, double bytes_to_write, const struct watch *watch,
	struct error *err);

/* Opens the target of a restore for writing. Refuses one of another size or block, and everything that may not be
 * written. Whether it is the right one its content decides (kept_restore); overwrite_changed, the target's token or NULL,
 * is the consent to write whatever is there. */
int session_open_restore(struct session *s, const char *target, const struct kept_identity *id,
	const char *overwrite_changed, struct error *err);

/* Is it, by its name and place, what id was saved from? */
bool session_is_named(const struct session *s, const struct kept_identity *id);

/* Closes the target and opens it again, with all checks, so that nothing of it stays cached. Only the same target will do.
 * 0, or -1 with *err and no medium open: the session can only be closed then, which says how to put kept data back. */
int session_reopen(struct session *s, struct error *err);

/* Whether a record with this token may be about this target: the token is equal, or that of a file of the same base name,
 * which may have been moved since. Size and content have the last word. */
bool session_fits(const struct session *s, const char *token);

/* Refuses a path for a result that is the target or lies on it. */
int session_check_output(const struct session *s, const char *path, struct error *err);

/* Restores kept data, removes the side file once verified, and has the record say so: before its end, which is the
 * end of everything then. 0, also when nothing was kept; or -1 with *err that says where the kept data is and the exact
 * restore command. A signal does not stop the restoring. */
int session_put_back(struct session *s, struct record_writer *record, struct error *err);

/* The end of a run whose status and failure (*err, or ERROR_NONE) are known: puts back as above. What fails then is the
 * run's failure where it had none, else it is told at once. Returns the run's status after it. */
int session_ended(struct session *s, struct record_writer *record, int status, struct error *err);

/* Closes; what is still to be put back is put back. 0, or -1 with *err as session_put_back has it. Safe on a session that failed
 * to open. */
int session_close(struct session *s, struct error *err);

/* For a run that ends with its target cut off: the saved region is left where it is. command: the one that puts it back,
 * "" when nothing was saved. 0, or -1 when the record could not be written. */
int session_leave_kept(
	struct session *s, struct record_writer *record, struct text *command, struct error *err);

/* For a run that never began: closes, and removes the image that --create made a moment ago. */
void session_abandon(struct session *s);

/* The record's path: --out, or blkassay-KIND-TIME.assay in the current folder; refuses a path on the target itself. */
int session_record_path(char *out, size_t room, const struct session *s, const struct options *o,
	const char *kind, struct error *err);

#endif
