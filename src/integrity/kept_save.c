/* Saving: everything is read twice before anything is written. */
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/checksum.h"
#include "base/durable.h"
#include "base/error.h"
#include "base/number.h"
#include "base/own_file.h"
#include "base/text.h"
#include "base/watch.h"
#include "integrity/kept_file.h"
#include "integrity/own.h"
#include "medium/medium.h"

enum {
	/* No power of two, and no multiple of what the first reading's requests are split into. */
	SECOND_BYTES = 96 << 10,
	SECOND_ALIGN_MAX = 32 << 10,
	BETWEEN_BYTES =
		8
		<< 20, /* of other reads between the first and the second: what a gadget keeps may go */
	BETWEEN_REQUEST = 256 << 10,
	BETWEEN_FAILURES = 4,
};

static const char first_time[] = "saving the target's data", second_time[] = "reading it again";

struct saving {
	struct kept *k;
	struct medium *m;
	unsigned char *buf, *again;
	uint32_t end; /* of the end mark */
	uint64_t own_bytes;
	bool backwards; /* the second time */
	const struct watch *watch;
};

static int interrupted(struct error *err)
{
	return error_set(err, ERROR_INTERRUPTED, "interrupted while saving the target's data");
}

static int cannot_save(const struct saving *s, int rc, struct error *err)
{
	return error_sys(err, ERROR_IO, -rc, "cannot save the target's data to '%s'", s->k->path);
}

static uint64_t count_own(const unsigned char *buf, size_t length)
{
	struct own_trace trace;
	uint64_t own = 0;

	for (size_t at = 0, n; at < length; at += n ? n : OWN_SECTOR) {
		n = own_find(&trace, buf + at, length - at);
		own += n;
	}
	return own;
}

/* ---- the first time ---- */

static int save_chunk(struct saving *s, uint64_t index, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&s->k->layout, index);
	int rc = kept_transfer(s->m, false, c.at, s->buf, c.bytes);
	uint32_t crc;

	if (rc < 0)
		return kept_transfer_failed(s->m, "read", c.at, c.bytes, rc, err);
	s->own_bytes += count_own(s->buf, c.bytes);
	rc = kept_append_chunk(s->k, index, s->buf, &crc);
	s->end = kept_end_add(&s->k->sums, s->end, crc);
	return rc < 0 ? cannot_save(s, rc, err) : 0;
}

/* Header, and the table of several extents. 0 or an errno. */
static int save_header(struct saving *s, const struct kept_identity *id)
{
	size_t length = id->extents ? id->extent_count * KEPT_EXTENT_BYTES : 0;
	unsigned char header[KEPT_HEADER_BYTES];
	unsigned char *table = malloc(length ? length : 1);
	int rc;

	if (!table)
		return -ENOMEM;
	if (length)
		kept_table_pack(table, id);
	s->k->sums = (struct kept_sums){ .version = KEPT_VERSION,
		.header = kept_header_make(header, id, checksum_crc32(0, table, length)) };
	rc = durable_write_all(s->k->fd, header, sizeof header);
	if (!rc)
		rc = durable_write_all(s->k->fd, table, length);
	free(table);
	return rc;
}

static int each_chunk(struct saving *s, const char *phase, uint64_t before,
	int (*step)(struct saving *s, uint64_t index, struct error *err), struct error *err)
{
	const struct kept_layout *l = &s->k->layout;
	uint64_t done = before;

	for (uint64_t i = 0; i < l->chunks; i++) {
		if (watch_should_stop(s->watch))
			return interrupted(err);
		uint64_t index = s->backwards ? l->chunks - 1 - i : i;

		if (step(s, index, err) < 0)
			return -1;
		done += kept_layout_chunk(l, index).bytes;
		kept_tell(s->watch, phase, done, 2 * l->bytes);
	}
	return 0;
}

/* ---- in between ---- */

struct between {
	uint64_t left; /* bytes still to be read */
	int failures_left;
};

static void read_gap(struct saving *s, struct between *b, uint64_t from, uint64_t to)
{
	uint64_t align = s->m->traits.offset_align_bytes;

	from = number_round_up(from, align);
	to = number_round_down(to, align);
	while (from < to && b->left && b->failures_left && !watch_should_stop(s->watch)) {
		uint64_t n = to - from < BETWEEN_REQUEST ? to - from : BETWEEN_REQUEST;

		if (n > b->left)
			n = number_round_up(b->left, align);
		/* What cannot be read here is not what is kept. */
		if (kept_transfer(s->m, false, from, s->again, (size_t)n) < 0)
			b->failures_left--;
		from += n;
		b->left -= n < b->left ? n : b->left;
	}
}

/* Reads what is not saved, so that a gadget's memory gets filled with something else: behind it first, then before it,
 * then between the places. Where there is less than that, the second time goes the same way as the first, which puts
 * the most between the two readings of each chunk. */
static void read_between(struct saving *s)
{
	const struct kept_layout *l = &s->k->layout;
	const struct kept_extent *e = l->extents, *last = &e[l->count - 1];
	struct between b = { BETWEEN_BYTES, BETWEEN_FAILURES };

	read_gap(s, &b, last->start + last->bytes, s->m->traits.size_bytes);
	read_gap(s, &b, 0, e[0].start);
	for (size_t i = 0; i + 1 < l->count; i++)
		read_gap(s, &b, e[i].start + e[i].bytes, e[i + 1].start);
	s->backwards = !b.left;
	/* Direct I/O does not come from the host's cache anyway. */
	(void)medium_drop_cache(s->m);
}

/* ---- the second time ---- */

static int differs(const struct saving *s, uint64_t at, const unsigned char *first,
	const unsigned char *second, size_t length, struct error *err)
{
	size_t count = 0, where = 0;

	for (size_t i = length; i--;)
		if (first[i] != second[i]) {
			where = i;
			count++;
		}
	return error_set(err, ERROR_IO,
		"'%s' reads differently the second time: of the %zu bytes from byte %llu on, %zu "
		"differ, the first at byte %llu; its data cannot be kept while it reads like that; "
		"check card, cable and supply, and try again",
		s->m->traits.path, length, (unsigned long long)at, count,
		(unsigned long long)(at + where));
}

/* Another size than the first time, wherever the target's unit leaves a choice. */
static size_t second_bytes(const struct medium *m, size_t first)
{
	uint32_t align = m->traits.offset_align_bytes;

	if (align > SECOND_ALIGN_MAX)
		return align;
	return first > SECOND_BYTES ? SECOND_BYTES : (size_t)number_round_up(first / 2, align);
}

/* Against the file, so that it is checked too; from the end of the chunk to its beginning. */
static int compare_chunk(struct saving *s, uint64_t index, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&s->k->layout, index);
	size_t left = c.bytes, most = second_bytes(s->m, c.bytes);

	if (kept_load_chunk(s->k, index, s->buf, NULL, err) < 0)
		return -1;
	while (left) {
		size_t n = left < most ? left : most;
		uint64_t at = c.at + left - n;
		int rc = kept_transfer(s->m, false, at, s->again, n);

		left -= n;
		if (rc < 0)
			return kept_transfer_failed(s->m, "read", at, n, rc, err);
		if (memcmp(s->buf + left, s->again, n) != 0)
			return differs(s, at, s->buf + left, s->again, n, err);
	}
	return 0;
}

/* ---- all of it ---- */

static int save_once(struct saving *s, const struct kept_identity *id, struct error *err)
{
	int rc = save_header(s, id);

	if (rc < 0)
		return cannot_save(s, rc, err);
	s->end = kept_end_begin(&s->k->sums, s->k->layout.chunks);
	if (each_chunk(s, first_time, 0, save_chunk, err) < 0)
		return -1;
	if (fsync(s->k->fd) < 0)
		return cannot_save(s, -errno, err);
	/* So that it is read from the disk again, as far as the kernel lets us: this only makes the check stronger. */
	(void)posix_fadvise(s->k->fd, 0, 0, POSIX_FADV_DONTNEED);
	return 0;
}

/* The end mark says that all was read twice alike. */
static int save_end(struct saving *s, struct error *err)
{
	int rc = kept_append_end(s->k, s->end);

	if (!rc && fsync(s->k->fd) < 0)
		rc = -errno;
	if (!rc)
		rc = durable_sync_folder_of(s->k->path);
	return rc < 0 ? cannot_save(s, rc, err) : 0;
}

/* The file as anybody else will find it. */
static int check_form(const struct saving *s, const struct kept_identity *id, struct error *err)
{
	struct kept *found;
	int rc;

	if (kept_open(&found, s->k->path, err) < 0)
		return -1;
	rc = kept_check_end_sum(found, s->end, err);
	if (!rc && (found->sums.header != s->k->sums.header || found->id.bytes != id->bytes))
		rc = error_set(
			err, ERROR_IO, "'%s' is not the file it was a moment ago", s->k->path);
	kept_close(found);
	return rc;
}

static int save(struct saving *s, const struct kept_identity *id, struct error *err)
{
	if (save_once(s, id, err) < 0)
		return -1;
	read_between(s);
	if (each_chunk(s, second_time, s->k->layout.bytes, compare_chunk, err) < 0 ||
		save_end(s, err) < 0)
		return -1;
	return check_form(s, id, err);
}

/* Claims the room at once where the filesystem can; one that cannot says so while writing. */
static int claim(const struct kept *k, uint64_t bytes, struct error *err)
{
	int rc = fallocate(k->fd, 0, 0, (off_t)bytes) < 0 ? -errno : 0;

	if (rc == -ENOSPC || rc == -EFBIG || rc == -EDQUOT)
		return error_sys(err, ERROR_REFUSED, -rc,
			"no room to keep the target's data in '%s' (%llu bytes)", k->path,
			(unsigned long long)bytes);
	return 0;
}

static int create(struct kept *k, struct error *err)
{
	struct flock lock = { .l_type = F_WRLCK, .l_whence = SEEK_SET };

	/* 0600: these are the user's own data. */
	k->fd = open(k->path, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
	if (k->fd < 0)
		return error_sys(err, ERROR_USAGE, errno,
			"cannot create '%s' for the target's data", k->path);
	/* Tells others that this run is still going; where there are no locks, the target's has to do. */
	(void)fcntl(k->fd, F_OFD_SETLK, &lock);
	return 0;
}

/* A file open for writing, with a layout and extents of its own. */
static int begin(
	struct kept *k, const char *path, const struct kept_identity *id, struct error *err)
{
	if (strlen(path) >= sizeof k->path)
		return error_set(err, ERROR_USAGE,
			"the path of the saved data is longer than this tool takes (511 bytes)");
	text_copy(k->path, sizeof k->path, path);
	k->id = *id;
	if (kept_layout_init(&k->layout, id) < 0)
		return error_set(err, ERROR_IO, "out of memory");
	if (id->extents)
		k->id.extents = k->layout.extents;
	return create(k, err);
}

static int begin_and_save(
	struct saving *s, const char *path, const struct kept_identity *id, struct error *err)
{
	int rc;

	if (s->k)
		s->k->fd = -1;
	if (!s->k || !s->buf || !s->again)
		return error_set(err, ERROR_IO, "out of memory");
	if (begin(s->k, path, id, err) < 0)
		return -1;
	rc = claim(s->k, kept_file_bytes(id), err);
	if (!rc)
		rc = save(s, id, err);
	if (rc < 0)
		(void)own_file_unlink(s->k->fd, path);
	return rc;
}

int kept_save(struct kept **out, const char *path, const struct kept_identity *id, struct medium *m,
	uint64_t *own_bytes, const struct watch *watch, struct error *err)
{
	uint32_t align = m->traits.memory_align_bytes;
	struct saving s = { .k = calloc(1, sizeof *s.k),
		.m = m,
		.buf = buffer_new(KEPT_CHUNK_BYTES, align),
		.again = buffer_new(KEPT_CHUNK_BYTES, align),
		.watch = watch };
	int rc = begin_and_save(&s, path, id, err);

	free(s.buf);
	free(s.again);
	*out = rc < 0 ? NULL : s.k;
	*own_bytes = s.own_bytes;
	if (rc < 0)
		kept_close(s.k);
	return rc;
}
