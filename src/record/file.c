/* A record file: append-only writing, reading that survives a crash of the writer. */
#include "record/file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/durable.h"
#include "base/error.h"
#include "base/own_file.h"
#include "record/field.h"
#include "record/line.h"
#include "record/old_names.h"

struct first_line {
	uint64_t version;
	char kind[32];
};

#define HERE struct first_line
static const struct field first_fields[] = {
	FIELD("version", version, "of the format; a reader refuses versions newer than its own"),
	FIELD("kind", kind, "of the run; a cut's is journal"),
};
#undef HERE
const struct line_kind kind_record =
	LINE_KIND("blkassay-record", first_fields, "The first line.", .synced = true);

enum { READ_CHUNK = 256 * 1024, LINE_LIMIT = 4 * 1024 * 1024 };

void record_begin(struct record_writer *w, const char *kind)
{
	line_begin(&w->line, w->next, kind);
	w->kind = kind;
}

void record_put_holds(struct record_writer *w)
{
	tally_put(&w->tally, &w->line);
}

int record_commit(struct record_writer *w, bool sync, struct error *err)
{
	off_t before = lseek(w->fd, 0, SEEK_END);
	int rc;

	line_end(&w->line);
	if (w->line.failed)
		return error_set(err, ERROR_IO, "out of memory while writing '%s'", w->path);
	rc = durable_write_all(w->fd, w->line.bytes, w->line.length);
	if (!rc && sync && fdatasync(w->fd) < 0)
		rc = -errno;
	if (rc < 0) {
		/* A half-written line would swallow the next one: take it back. */
		if (before >= 0 && ftruncate(w->fd, before) < 0)
			(void)durable_write_all(w->fd, "\n", 1);
		return error_sys(err, ERROR_IO, -rc, "cannot write record '%s'", w->path);
	}
	w->next++;
	tally_add(&w->tally, w->kind);
	return 0;
}

int record_write(
	struct record_writer *w, const struct line_kind *k, const void *from, struct error *err)
{
	record_begin(w, k->name);
	line_put_fields(&w->line, k, from);
	if (k->closes)
		record_put_holds(w);
	return record_commit(w, k->synced, err);
}

int record_create(struct record_writer *w, const char *path, const char *kind, struct error *err)
{
	struct first_line first = { .version = RECORD_VERSION };
	int rc;

	*w = (struct record_writer){ .fd = -1, .next = 1 };
	text_init(&w->line);
	if (strlen(path) >= sizeof w->path)
		return error_set(err, ERROR_USAGE,
			"the record's path is longer than this tool takes (511 bytes)");
	text_copy(w->path, sizeof w->path, path);
	w->fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_APPEND | O_CLOEXEC, 0666);
	if (w->fd < 0 && errno == EEXIST)
		return error_set(err, ERROR_USAGE,
			"'%s' exists already; name a new record with --out", path);
	if (w->fd < 0) {
		error_sys(err, ERROR_USAGE, errno, "cannot create record '%s'", path);
		error_add(err, "; name a place that takes it with --out");
		return -1;
	}
	text_copy(first.kind, sizeof first.kind, kind);
	rc = record_write(w, &kind_record, &first, err);
	if (!rc) {
		rc = durable_sync_folder_of(path);
		if (rc < 0)
			error_sys(
				err, ERROR_IO, -rc, "cannot store record '%s' in its folder", path);
	}
	if (rc < 0) {
		record_discard(w);
		return -1;
	}
	return 0;
}

int record_close(struct record_writer *w, struct error *err)
{
	int rc = 0;

	if (w->fd >= 0) {
		if (fsync(w->fd) < 0)
			rc = -errno;
		if (close(w->fd) < 0 && !rc)
			rc = -errno;
	}
	w->fd = -1;
	text_release(&w->line);
	return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot store record '%s'", w->path) : 0;
}

void record_discard(struct record_writer *w)
{
	if (w->fd >= 0)
		(void)own_file_unlink(w->fd, w->path);
	record_close(w, NULL);
}

/* Makes sure a whole line, or all there is, lies in the buffer. Returns its length, *newline false at a cut end.
 * -1 at the end of the file, -2 on an error. */
static ssize_t next_raw_line(struct record_reader *r, bool *newline, struct error *err)
{
	size_t searched = r->start;

	for (;;) {
		char *nl = memchr(r->buf + searched, '\n', r->end - searched);
		ssize_t n;

		if (nl) {
			*newline = true;
			return nl - (r->buf + r->start);
		}
		if (r->start) {
			memmove(r->buf, r->buf + r->start, r->end - r->start);
			r->end -= r->start;
			r->start = 0;
		}
		searched = r->end;
		if (r->end + READ_CHUNK + 1 > r->room) {
			size_t room = r->room + READ_CHUNK * 2;
			char *grown = room > LINE_LIMIT ? NULL : realloc(r->buf, room);

			if (!grown) {
				error_set(err, ERROR_USAGE,
					"'%s' has a line longer than any record has; it is not a "
					"record of blkassay",
					r->path);
				return -2;
			}
			r->buf = grown;
			r->room = room;
		}
		do
			n = read(r->fd, r->buf + r->end, READ_CHUNK);
		while (n < 0 && errno == EINTR);
		if (n < 0) {
			error_sys(err, ERROR_IO, errno, "cannot read '%s'", r->path);
			return -2;
		}
		if (n == 0) {
			*newline = false;
			return r->end > r->start ? (ssize_t)(r->end - r->start) : -1;
		}
		r->end += (size_t)n;
	}
}

static void note_damage(struct record_reader *r, uint64_t lines)
{
	if (!r->damaged)
		r->first_damaged = r->line_number + 1;
	if (__builtin_add_overflow(r->damaged, lines, &r->damaged))
		r->damaged = UINT64_MAX;
}

/* Lines count upwards, each by one: those that a jump leaves out are gone, but for the ones that were skipped. */
static void note_gap(struct record_reader *r, const struct line *line)
{
	uint64_t left_out = line->number - r->line_number - 1;

	if (left_out > r->skipped)
		note_damage(r, left_out - r->skipped);
}

static void note_holds(struct record_reader *r, const struct line *line)
{
	char words[TALLY_WORDS_MAX];

	if (tally_agrees(&r->tally, line, words))
		return;
	if (!r->damaged)
		note_damage(r, 1);
	if (*words)
		text_copy(r->lacks, sizeof r->lacks, words);
}

/* False for a line that does not hold. */
static bool accept(struct record_reader *r, struct line *line, char *bytes, size_t length)
{
	/* One with the number of another was copied or moved here. */
	if (line_parse(line, bytes, length) < 0 || line->number <= r->line_number) {
		note_damage(r, 1);
		r->skipped++;
		return false;
	}
	line->old = r->version == RECORD_VERSION_OLD;
	if (line->old)
		line->kind = old_names_kind(line->kind);
	note_gap(r, line);
	note_holds(r, line);
	r->line_number = line->number;
	r->skipped = 0;
	tally_add(&r->tally, line->kind);
	return true;
}

int record_next(struct record_reader *r, struct line *line, struct error *err)
{
	for (;;) {
		bool newline = false;
		ssize_t length = next_raw_line(r, &newline, err);
		char *bytes = r->buf + r->start;

		if (length == -2)
			return -1;
		if (length == -1)
			return 0;
		r->start += (size_t)length + newline;
		if (!newline) {
			/* Even if its CRC holds: the writer did not get to say it was whole. */
			r->cut = true;
			return 0;
		}
		if (accept(r, line, bytes, (size_t)length))
			return 1;
	}
}

int record_open(struct record_reader *r, const char *path, struct error *err)
{
	struct first_line first = { .version = 0 };
	struct line line;
	struct stat st;
	int rc;

	*r = (struct record_reader){ .fd = -1 };
	text_copy(r->path, sizeof r->path, path);
	r->fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (r->fd < 0)
		return error_sys(err, ERROR_USAGE, errno, "cannot open record '%s'", path);
	if (fstat(r->fd, &st) < 0 || !S_ISREG(st.st_mode)) {
		error_set(err, ERROR_USAGE, "'%s' is not a regular file, so it is not a record",
			path);
		goto fail;
	}
	r->room = READ_CHUNK * 2;
	r->buf = malloc(r->room);
	if (!r->buf) {
		error_set(err, ERROR_IO, "out of memory");
		goto fail;
	}
	rc = record_next(r, &line, err);
	if (rc < 0)
		goto fail;
	if (rc == 0 || line.number != 1 || strcmp(line.kind, kind_record.name) != 0 ||
		line_take_fields(&line, &kind_record, &first) != 3) {
		error_set(err, ERROR_USAGE,
			"'%s' is not a record of blkassay, or its first line is damaged", path);
		goto fail;
	}
	r->version = first.version;
	text_copy(r->kind, sizeof r->kind, first.kind);
	if (r->version > RECORD_VERSION) {
		error_set(err, ERROR_USAGE,
			"'%s' was written by a newer blkassay (record version %llu, this one reads "
			"up to %d); use that version",
			path, (unsigned long long)r->version, RECORD_VERSION);
		goto fail;
	}
	return 0;
fail:
	record_reader_release(r);
	return -1;
}

void record_reader_release(struct record_reader *r)
{
	if (r->fd >= 0)
		close(r->fd);
	free(r->buf);
	r->fd = -1;
	r->buf = NULL;
}

int record_append(struct record_writer *w, const char *path, const char *kind, struct error *err)
{
	struct record_reader r;
	struct line line;
	int rc;
	off_t whole;

	*w = (struct record_writer){ .fd = -1 };
	text_init(&w->line);
	text_copy(w->path, sizeof w->path, path);
	if (record_open(&r, path, err) < 0)
		return -1;
	if (strcmp(r.kind, kind) != 0) {
		error_set(err, ERROR_USAGE, "'%s' is a record of kind '%s', not '%s'", path, r.kind,
			kind);
		record_reader_release(&r);
		return -1;
	}
	while ((rc = record_next(&r, &line, err)) > 0)
		;
	w->next = r.line_number + 1;
	w->tally = r.tally;
	/* Everything read, less a last line that was cut. */
	whole = lseek(r.fd, 0, SEEK_CUR) - (off_t)(r.end - r.start);
	if (r.cut) {
		whole = lseek(r.fd, 0, SEEK_CUR) - (off_t)r.end;
		for (size_t i = r.end; i > 0; i--) {
			if (r.buf[i - 1] == '\n') {
				whole += (off_t)i;
				break;
			}
		}
	}
	record_reader_release(&r);
	if (rc < 0)
		return -1;
	w->fd = open(path, O_WRONLY | O_APPEND | O_CLOEXEC);
	if (w->fd < 0)
		return error_sys(err, ERROR_USAGE, errno, "cannot continue record '%s'", path);
	if (ftruncate(w->fd, whole) < 0) {
		error_sys(err, ERROR_IO, errno, "cannot continue record '%s'", path);
		close(w->fd);
		w->fd = -1;
		return -1;
	}
	return 0;
}
