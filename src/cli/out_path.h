/* Where a command's own files go, and the places where they must not. */
#ifndef CLI_OUT_PATH_H
#define CLI_OUT_PATH_H

#include <stddef.h>
#include <stdint.h>

struct blockdev;
struct error;
struct hold;

/* wanted, or blkassay-KIND-TIME.assay in the current folder (with -2, -3, ... where that exists). Refuses what cannot be
 * a new record: an existing file, a folder. */
int out_path_record(
	char *out, size_t room, const char *wanted, const char *kind, struct error *err);

/* A target as outputs see it: a device, or a file that it is or lies in; neither: a model. */
struct out_path_target {
	const char *name; /* as the user named it */
	const struct blockdev *device; /* NULL: none */
	const struct hold *file; /* NULL: none */
};

/* Refuses a path that is the target or the file beneath it, or lies on a filesystem kept on it. */
int out_path_check_target(
	const char *path, const struct out_path_target *target, struct error *err);

/* Whether a record can be made at --out (NULL: in the current folder), for a command about to make something else first. 0, or
 * -1 with *err: it exists, or its folder cannot be written to. */
int out_path_check_new(const char *wanted, struct error *err);

/* RECORD.kept */
int out_path_kept(char *out, size_t room, const char *record_path, struct error *err);

/* Refuses a saved-data file that exists, lies in memory, or has no room. */
int out_path_check_kept(
	const char *path, const char *record_path, uint64_t bytes, struct error *err);

#endif
