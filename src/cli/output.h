/* Where a command's own files go, and the places where they must not. */
#ifndef CLI_OUTPUT_H
#define CLI_OUTPUT_H

#include <stddef.h>
#include <stdint.h>

struct blockdev;
struct error;

/* wanted, or blkassay-KIND-TIME.assay in the current folder (with -2, -3, ... where that exists). Refuses what cannot be
 * a new record: an existing file, a folder. */
int output_record_path(
	char *out, size_t room, const char *wanted, const char *kind, struct error *err);

/* Refuses a path that is the target, or lies on a filesystem kept on it. device NULL: target is an image file (or a
 * model). */
int output_check_target(
	const char *path, const struct blockdev *device, const char *target, struct error *err);

/* RECORD.kept */
int output_kept_path(char *out, size_t room, const char *record_path, struct error *err);

/* Refuses a saved-data file that exists, lies in memory, or has no room. */
int output_check_kept(const char *path, const char *record_path, uint64_t bytes, struct error *err);

#endif
