/* Finds data that an earlier run saved with --keep-data and did not put back. It lies next to that run's record, and nobody
 * keeps a list of records: looked at are the current folder, the folder of this run's record, and the folder of an image
 * (or of a loop device's file). What lies elsewhere is not found; its record, and 'report' of it, tell of it. */
#ifndef CLI_KEPT_SEARCH_H
#define CLI_KEPT_SEARCH_H

#include <stdbool.h>
#include <stddef.h>

struct kept;
struct kept_identity;
struct medium;

enum { KEPT_FOLDERS_MAX = 3 };

struct kept_folders {
	char paths[KEPT_FOLDERS_MAX][4096]; /* full */
	size_t count;
};

/* Each of them once. */
void kept_folders_add(struct kept_folders *f, const char *folder);
/* The one that `file` lies in; "": none. */
void kept_folders_add_of(struct kept_folders *f, const char *file);

/* Every whole saved-data file in them, of whatever target; path: full. False from visit ends it. */
typedef bool kept_visit(void *context, const struct kept *k, const char *path);
void kept_search(const struct kept_folders *f, kept_visit *visit, void *context);

/* By its names: its token, its place and its size are those of the target it was saved from. */
bool kept_is_named(const struct kept_identity *saved, const struct kept_identity *target);

/* The same for an open target, and then by its content too. Says on stderr what was found and the command that puts it back;
 * once only in a program's life. target: as the user named it. record_path: of this run, NULL: none. */
void kept_search_tell(struct medium *m, const struct kept_identity *here, const char *target,
	const char *record_path);

#endif
