/* A record file: lines appended and, where it matters, synced before they count; read back after any crash.
 * Run records, the journal of `cut` and others are such files and differ in the kinds of their lines. */
#ifndef RECORD_FILE_H
#define RECORD_FILE_H

#include <stdbool.h>
#include <stdint.h>

#include "record/line.h"
#include "record/tally.h"

struct error;

/* What the first line says. Raise RECORD_VERSION when an old reader would misread a new file; new keys and new kinds
 * of line do not need it, because readers skip what they do not know. */
enum { RECORD_VERSION = 2 };

struct line_kind;
extern const struct line_kind kind_record; /* the first line */

struct record_writer {
	int fd;
	uint64_t next; /* number of the next line */
	struct text line;
	const char *kind; /* of that line */
	struct tally tally; /* of the lines written so far */
	char path[512];
};

/* Creates the file (an existing one is refused) and writes its first line `1 blkassay-record version=1 kind=KIND`,
 * synced. 0, or -1 with *err. */
int record_create(struct record_writer *w, const char *path, const char *kind, struct error *err);

/* Continues an existing record after its last whole line (a cut last line is removed). */
int record_append(struct record_writer *w, const char *path, const char *kind, struct error *err);

/* Writes a whole line, synced if its kind is. */
int record_write(
	struct record_writer *w, const struct line_kind *k, const void *from, struct error *err);

/* Start a line, fill w->line with the line_put_* functions, then write it in one write(2). `sync`: on the disk before
 * this returns. kind: must live until then. */
void record_begin(struct record_writer *w, const char *kind);
/* Into a line that closes something: what must stand before it. */
void record_put_holds(struct record_writer *w);
int record_commit(struct record_writer *w, bool sync, struct error *err);

/* Syncs and closes; 0, or -1 with *err. A writer that was never created closes to 0. */
int record_close(struct record_writer *w, struct error *err);
/* Closes and removes the file that record_create made, unless another has been put in its place. */
void record_discard(struct record_writer *w);

struct record_reader {
	int fd;
	char *buf;
	size_t start, end, room;
	uint64_t line_number; /* of the last line returned */
	/* lines whose CRC or number did not hold, which are skipped, and lines that are gone */
	uint64_t damaged;
	uint64_t first_damaged;
	uint64_t skipped; /* damaged lines since the last one returned */
	struct tally tally; /* of the lines returned */
	/* what a closing line misses most, in words; "" when it misses nothing */
	char lacks[TALLY_WORDS_MAX];
	bool cut; /* the last line had no newline: the writer was stopped in the middle of it */
	uint64_t version;
	char kind[32];
	char path[512];
};

/* Opens and reads the first line; a foreign file or a newer version is a clear error of kind ERROR_USAGE. */
int record_open(struct record_reader *r, const char *path, struct error *err);

/* 1: *line is the next whole line, valid until the next call. 0: the end. -1: *err. */
int record_next(struct record_reader *r, struct line *line, struct error *err);
void record_reader_release(struct record_reader *r);

#endif
