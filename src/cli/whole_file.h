/* A file that a result goes to, such as CSV or a page: whole or not at all. Written beside its place and renamed when
 * it is complete, so that an interrupted or failed command leaves what was there before. */
#ifndef CLI_WHOLE_FILE_H
#define CLI_WHOLE_FILE_H

#include <stdbool.h>
#include <stdio.h>

struct error;
struct text;

struct whole_file {
	FILE *file; /* NULL: not open */
	char path[512], temporary[544];
};

/* Whether a file begins as every record of ours does. */
bool whole_file_is_record(const char *path);

/* path "-" is standard output. An earlier result is replaced at the end; a device, a folder, or a file that is a
 * record of blkassay is refused. 0, or -1 with *err. */
int whole_file_open(struct whole_file *f, const char *path, struct error *err);

/* Appends t and empties it. */
int whole_file_write(struct whole_file *f, struct text *t, struct error *err);

/* Puts it in its place, synced. 0, or -1 with *err and nothing changed. Does nothing when it is not open. */
int whole_file_finish(struct whole_file *f, struct error *err);
void whole_file_drop(struct whole_file *f);

#endif
