/* What --keep-data does in a session: saving before the first write, putting back at the end, and saying at every turn
 * where the data is, on the screen and in the record. */
#ifndef CLI_SESSION_KEEP_H
#define CLI_SESSION_KEEP_H

#include <stdbool.h>

#include "integrity/kept.h"
#include "record/run.h"

struct error;
struct medium;
struct record_writer;
struct text;
struct watch;

struct session_keep {
	struct kept *kept; /* NULL: nothing is saved */
	const char *target; /* as the user named it */
	char path[512]; /* of the saved file */
	struct run_kept said; /* to the record, last */
	uint64_t own_bytes; /* of what is saved: test data of an earlier run */
	bool doubted; /* the run found a device at fault: that it reads back right is no reason to remove what was saved */
};

/* Saves what id names to k->path. On failure nothing is kept, and *err does not yet say that nothing was written. */
int session_keep_save(struct session_keep *k, const struct kept_identity *id, struct medium *m,
	struct record_writer *record, const struct watch *watch, struct error *err);

/* Puts it back with a progress line, deaf to signals, and removes the saved file unless the target is doubted. m NULL: the target is not open any more.
 * record NULL: it is closed already. 0 also when nothing is kept; else *err says where the data is and which command puts it
 * back. */
int session_keep_put_back(
	struct session_keep *k, struct medium *m, struct record_writer *record, struct error *err);

/* Leaves the data where it is. command: the one that puts it back, "" when nothing is kept. */
int session_keep_leave(struct session_keep *k, struct record_writer *record, struct text *command,
	struct error *err);

/* "blkassay restore SAVED TARGET", in quotes for a shell. */
void keep_restore_command(struct text *t, const char *saved, const char *target);

/* The changed places of a look, on stderr. */
void keep_list_changed(const struct kept_look *look);

#endif
