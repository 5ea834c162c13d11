/* The saved-data file: saving, checking, putting back. */
#include "integrity/kept.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/checksum.h"
#include "base/error.h"
#include "base/text.h"
#include "base/watch.h"
#include "integrity/kept_header.h"
#include "integrity/kept_layout.h"
#include "medium/medium.h"

enum { DATA_MAGIC = 0x5441444B, END_MAGIC = 0x444E454B }; /* "KDAT", "KEND" */
enum { RETRIES = 100 }; /* of a call that only says "again"; then it counts as failed */

struct kept {
	int fd;
	char path[512];
	struct kept_identity id;
	struct kept_sums sums;
	struct kept_layout layout;
};

static uint32_t chunk_crc(const unsigned char *index, const void *data, size_t length)
{
	return checksum_crc32(checksum_crc32(0, index, 8), data, length);
}

static void make_end(unsigned char end[KEPT_HEAD_BYTES], uint32_t header_crc, uint64_t count)
{
	unsigned char sum[12];

	kept_put_u32(sum, header_crc);
	kept_put_u64(sum + 4, count);
	kept_put_u32(end, END_MAGIC);
	kept_put_u32(end + 4, checksum_crc32(0, sum, sizeof sum));
	kept_put_u64(end + 8, count);
}

static bool is_passing(int sys_errno)
{
	return sys_errno == EINTR || sys_errno == EAGAIN;
}

/* ---- the file ---- */

static int write_all(int fd, const void *bytes, size_t length)
{
	const char *at = bytes;
	int retries = 0;

	while (length) {
		ssize_t n = write(fd, at, length);

		if (n < 0 && is_passing(errno) && retries++ < RETRIES)
			continue;
		if (n < 0)
			return -errno;
		if (n == 0)
			return -EIO;
		at += n;
		length -= (size_t)n;
	}
	return 0;
}

/* -ENODATA when the file ends before. */
static int read_all(int fd, void *bytes, size_t length, uint64_t place)
{
	char *at = bytes;
	int retries = 0;

	while (length) {
		ssize_t n = pread(fd, at, length, (off_t)place);

		if (n < 0 && is_passing(errno) && retries++ < RETRIES)
			continue;
		if (n < 0)
			return -errno;
		if (n == 0)
			return -ENODATA;
		at += n;
		place += (uint64_t)n;
		length -= (size_t)n;
	}
	return 0;
}

/* A new file, or a removed one, is only certain once its folder is synced. Some filesystems offer no such sync and say
 * EINVAL; any other failure counts. */
static int sync_folder_of(const char *path)
{
	char folder[512];
	const char *slash = strrchr(path, '/');
	int fd, rc = 0;

	if (!slash)
		text_copy(folder, sizeof folder, ".");
	else
		snprintf(folder, sizeof folder, "%.*s", slash == path ? 1 : (int)(slash - path),
			path);
	fd = open(folder, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	if (fsync(fd) < 0 && errno != EINVAL)
		rc = -errno;
	close(fd);
	return rc;
}

/* ---- the target ---- */

/* Everything or an errno; a short transfer goes on where it stopped. */
static int target_transfer(
	struct medium *m, bool write, uint64_t at, unsigned char *buf, size_t len)
{
	int retries = 0;

	while (len) {
		size_t got = 0;
		int rc = write ? medium_write(m, at, buf, len, &got)
			       : medium_read(m, at, buf, len, &got);

		if (is_passing(-rc) && retries++ < RETRIES)
			continue;
		if (rc < 0)
			return rc;
		if (!got || got > len || got % m->traits.logical_block_bytes)
			return -EIO;
		at += got;
		buf += got;
		len -= got;
	}
	return 0;
}

static int target_failed(const struct medium *m, const char *verb, uint64_t at, size_t length,
	int rc, struct error *err)
{
	return error_sys(err, ERROR_IO, -rc, "cannot %s '%s' at byte %llu, %zu bytes", verb,
		m->traits.path, (unsigned long long)at, length);
}

static int interrupted(const char *what, struct error *err)
{
	return error_set(err, ERROR_INTERRUPTED, "%s", what);
}

static void tell(const struct watch *watch, const char *phase, uint64_t done, uint64_t total)
{
	struct watch_step step = {
		.phase = phase, .done = done, .total = total, .seconds_left = -1
	};

	watch_step(watch, &step);
}

/* ---- saving ---- */

/* One file being written. */
struct saving {
	int fd;
	const char *path;
	const struct kept_identity *id;
	struct kept_layout layout;
	struct medium *m;
	unsigned char *buf;
	const struct watch *watch;
};

static int cannot_save(const struct saving *s, int rc, struct error *err)
{
	return error_sys(err, ERROR_IO, -rc, "cannot save the target's data to '%s'", s->path);
}

static int save_chunk(const struct saving *s, uint64_t index, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&s->layout, index);
	unsigned char head[KEPT_HEAD_BYTES];
	int rc = target_transfer(s->m, false, c.at, s->buf, c.bytes);

	if (rc < 0)
		return target_failed(s->m, "read", c.at, c.bytes, rc, err);
	kept_put_u32(head, DATA_MAGIC);
	kept_put_u64(head + 8, index);
	kept_put_u32(head + 4, chunk_crc(head + 8, s->buf, c.bytes));
	rc = write_all(s->fd, head, sizeof head);
	if (!rc)
		rc = write_all(s->fd, s->buf, c.bytes);
	return rc < 0 ? cannot_save(s, rc, err) : 0;
}

/* Header, and the table of several extents; *crc: the header's. 0 or an errno. */
static int save_header(const struct saving *s, uint32_t *crc)
{
	size_t length = s->id->extents ? s->id->extent_count * KEPT_EXTENT_BYTES : 0;
	unsigned char header[KEPT_HEADER_BYTES];
	unsigned char *table = malloc(length ? length : 1);
	int rc;

	if (!table)
		return -ENOMEM;
	if (length)
		kept_table_pack(table, s->id);
	*crc = kept_header_make(header, s->id, checksum_crc32(0, table, length));
	rc = write_all(s->fd, header, sizeof header);
	if (!rc)
		rc = write_all(s->fd, table, length);
	free(table);
	return rc;
}

static int save_chunks(const struct saving *s, struct error *err)
{
	uint64_t done = 0;

	for (uint64_t i = 0; i < s->layout.chunks; i++) {
		if (watch_should_stop(s->watch))
			return interrupted("interrupted while saving the target's data; nothing "
					   "was written to the target",
				err);
		if (save_chunk(s, i, err) < 0)
			return -1;
		done += kept_layout_chunk(&s->layout, i).bytes;
		tell(s->watch, "saving the target's data", done, s->layout.bytes);
	}
	return 0;
}

static int save_all(const struct saving *s, struct error *err)
{
	unsigned char end[KEPT_HEAD_BYTES];
	uint32_t header_crc;
	int rc = save_header(s, &header_crc);

	if (rc < 0)
		return cannot_save(s, rc, err);
	if (save_chunks(s, err) < 0)
		return -1;
	make_end(end, header_crc, s->layout.chunks);
	rc = write_all(s->fd, end, sizeof end);
	if (!rc && fsync(s->fd) < 0)
		rc = -errno;
	if (!rc)
		rc = sync_folder_of(s->path);
	return rc < 0 ? cannot_save(s, rc, err) : 0;
}

/* What was just saved, read again from the disk as far as the kernel lets us. */
static int check_saved(int fd, const char *path, const struct watch *watch, struct error *err)
{
	struct kept *k;
	int rc;

	(void)posix_fadvise(fd, 0, 0, POSIX_FADV_DONTNEED); /* only makes the check stronger */
	if (kept_open(&k, path, err) < 0)
		return -1;
	rc = kept_verify(k, watch, err);
	kept_close(k);
	return rc;
}

static int claim_and_save(const struct saving *s, struct error *err)
{
	uint64_t bytes = kept_file_bytes(s->id);
	/* Claims the room at once where the filesystem can; one that cannot says so while writing. */
	int rc = fallocate(s->fd, 0, 0, (off_t)bytes) < 0 ? -errno : 0;

	if (rc == -ENOSPC || rc == -EFBIG || rc == -EDQUOT)
		return error_sys(err, ERROR_REFUSED, -rc,
			"no room to keep the target's data in '%s' (%llu bytes)", s->path,
			(unsigned long long)bytes);
	if (save_all(s, err) < 0)
		return -1;
	return check_saved(s->fd, s->path, s->watch, err);
}

int kept_save(const char *path, const struct kept_identity *id, struct medium *m,
	const struct watch *watch, struct error *err)
{
	struct saving s = { .fd = -1, .path = path, .id = id, .m = m, .watch = watch };
	int rc = -1;

	s.buf = buffer_new(KEPT_CHUNK_BYTES, m->traits.memory_align_bytes);
	if (!s.buf || kept_layout_init(&s.layout, id) < 0) {
		error_set(err, ERROR_IO, "out of memory");
		goto out;
	}
	/* 0600: these are the user's own data. */
	s.fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
	if (s.fd < 0) {
		error_sys(
			err, ERROR_USAGE, errno, "cannot create '%s' for the target's data", path);
		goto out;
	}
	rc = claim_and_save(&s, err);
	close(s.fd);
	if (rc < 0)
		unlink(path);
out:
	kept_layout_release(&s.layout);
	free(s.buf);
	return rc;
}

/* ---- checking ---- */

static int explain_header(int rc, const char *path, struct error *err)
{
	if (rc == -EBADMSG || rc == -ENODATA)
		return error_set(
			err, ERROR_USAGE, "'%s' is not a saved-data file of blkassay", path);
	if (rc == -ENOTSUP)
		return error_set(err, ERROR_USAGE,
			"'%s' was saved by a newer blkassay; restore it with that version", path);
	if (rc == -EUCLEAN)
		return error_set(err, ERROR_IO,
			"the header of '%s' is damaged, so it is not restored; find a whole copy",
			path);
	return error_sys(err, ERROR_IO, -rc, "cannot read '%s'", path);
}

static int read_table(struct kept *k, struct kept_extent *extents)
{
	size_t length = k->id.extent_count * KEPT_EXTENT_BYTES;
	unsigned char *bytes = malloc(length);
	int rc = bytes ? read_all(k->fd, bytes, length, KEPT_HEADER_BYTES) : -ENOMEM;

	if (!rc && checksum_crc32(0, bytes, length) != k->sums.table)
		rc = -EUCLEAN;
	if (!rc)
		rc = kept_table_unpack(extents, bytes, &k->id);
	free(bytes);
	return rc == -ENODATA ? -EUCLEAN : rc;
}

/* Header and table, and from them where the chunks are. The layout's extents are the identity's from here on. */
static int read_layout(struct kept *k)
{
	struct kept_identity id = k->id;
	struct kept_extent *extents = NULL;
	int rc = 0;

	if (k->id.extent_count) {
		extents = calloc(k->id.extent_count, sizeof *extents);
		rc = extents ? read_table(k, extents) : -ENOMEM;
	}
	id.extents = extents;
	if (!rc)
		rc = kept_layout_init(&k->layout, &id);
	free(extents);
	if (!rc && k->id.extent_count)
		k->id.extents = k->layout.extents;
	return rc;
}

static int read_header(struct kept *k, struct error *err)
{
	unsigned char header[KEPT_HEADER_BYTES];
	int rc = read_all(k->fd, header, sizeof header, 0);

	if (!rc)
		rc = kept_header_parse(&k->id, &k->sums, header);
	if (!rc)
		rc = read_layout(k);
	return rc < 0 ? explain_header(rc, k->path, err) : 0;
}

static int check_end(struct kept *k, struct error *err)
{
	unsigned char wanted[KEPT_HEAD_BYTES], end[KEPT_HEAD_BYTES];
	uint64_t whole = kept_file_bytes(&k->id);
	struct stat st;
	int rc = fstat(k->fd, &st) < 0 ? -errno : 0;

	make_end(wanted, k->sums.header, k->layout.chunks);
	if (!rc)
		rc = read_all(k->fd, end, sizeof end, whole - KEPT_HEAD_BYTES);
	if (rc < 0 && rc != -ENODATA)
		return error_sys(err, ERROR_IO, -rc, "cannot read '%s'", k->path);
	if (!rc && (uint64_t)st.st_size == whole && !memcmp(end, wanted, sizeof end))
		return 0;
	return error_set(err, ERROR_REFUSED,
		"'%s' is not whole (%llu of %llu bytes, or without its end mark); if saving was "
		"interrupted, the target was not written yet and still has its data; if not, find "
		"a whole copy",
		k->path, (unsigned long long)st.st_size, (unsigned long long)whole);
}

int kept_open(struct kept **out, const char *path, struct error *err)
{
	struct kept *k = calloc(1, sizeof *k);
	struct stat st;

	*out = NULL;
	if (!k)
		return error_set(err, ERROR_IO, "out of memory");
	text_copy(k->path, sizeof k->path, path);
	k->fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK);
	if (k->fd < 0) {
		error_sys(err, ERROR_USAGE, errno, "cannot open saved data '%s'", path);
	} else if (fstat(k->fd, &st) < 0 || !S_ISREG(st.st_mode)) {
		error_set(err, ERROR_USAGE,
			"'%s' is not a regular file, so it is not a saved-data file", path);
	} else if (read_header(k, err) == 0 && check_end(k, err) == 0) {
		*out = k;
		return 0;
	}
	kept_close(k);
	return -1;
}

const struct kept_identity *kept_identity(const struct kept *k)
{
	return &k->id;
}

static int load_chunk(const struct kept *k, uint64_t index, unsigned char *buf, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&k->layout, index);
	unsigned char head[KEPT_HEAD_BYTES];
	int rc = read_all(k->fd, head, sizeof head, c.place);

	if (!rc)
		rc = read_all(k->fd, buf, c.bytes, c.place + sizeof head);
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot read saved data '%s'", k->path);
	if (kept_get_u32(head) != DATA_MAGIC || kept_get_u64(head + 8) != index ||
		kept_get_u32(head + 4) != chunk_crc(head + 8, buf, c.bytes))
		return error_set(err, ERROR_IO,
			"saved data '%s' is damaged in chunk %llu of %llu (CRC32), so it is not "
			"restored; find a whole copy",
			k->path, (unsigned long long)index + 1,
			(unsigned long long)k->layout.chunks);
	return 0;
}

int kept_verify(const struct kept *k, const struct watch *watch, struct error *err)
{
	unsigned char *buf = buffer_new(KEPT_CHUNK_BYTES, 0);
	int rc = buf ? 0 : error_set(err, ERROR_IO, "out of memory");
	uint64_t done = 0;

	for (uint64_t i = 0; !rc && i < k->layout.chunks; i++) {
		if (watch_should_stop(watch))
			rc = interrupted("interrupted while checking the saved data; nothing was "
					 "written to the target",
				err);
		else
			rc = load_chunk(k, i, buf, err);
		done += kept_layout_chunk(&k->layout, i).bytes;
		tell(watch, "checking the saved data", done, k->layout.bytes);
	}
	free(buf);
	return rc;
}

/* ---- putting back ---- */

struct restoring {
	const struct kept *k;
	struct medium *m;
	unsigned char *saved, *there;
	struct kept_result *result;
};

/* Chunks that are on the target already are not written again: flash wears. */
static int put_back(struct restoring *r, uint64_t index, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&r->k->layout, index);
	int rc;

	if (load_chunk(r->k, index, r->saved, err) < 0)
		return -1;
	rc = target_transfer(r->m, false, c.at, r->there, c.bytes);
	if (!rc && !memcmp(r->saved, r->there, c.bytes))
		return 0;
	/* One that cannot be read may well become readable by being written. */
	rc = target_transfer(r->m, true, c.at, r->saved, c.bytes);
	if (rc < 0)
		return target_failed(r->m, "write kept data back to", c.at, c.bytes, rc, err);
	r->result->written_bytes += c.bytes;
	return 0;
}

static uint64_t first_difference(const unsigned char *a, const unsigned char *b, size_t length)
{
	size_t i = 0;

	while (i < length && a[i] == b[i])
		i++;
	return i;
}

static int read_back(struct restoring *r, uint64_t index, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&r->k->layout, index);
	int rc;

	if (load_chunk(r->k, index, r->saved, err) < 0)
		return -1;
	rc = target_transfer(r->m, false, c.at, r->there, c.bytes);
	if (rc < 0)
		return target_failed(r->m, "read back", c.at, c.bytes, rc, err);
	if (memcmp(r->saved, r->there, c.bytes) != 0)
		return error_set(err, ERROR_IO,
			"'%s' did not take the kept data: at byte %llu it gives back something "
			"else",
			r->m->traits.path,
			(unsigned long long)(c.at + first_difference(r->saved, r->there, c.bytes)));
	r->result->bytes += c.bytes;
	return 0;
}

static int each_chunk(struct restoring *r, const char *phase,
	int (*step)(struct restoring *r, uint64_t index, struct error *err),
	const struct watch *watch, struct error *err)
{
	const struct kept_layout *l = &r->k->layout;
	uint64_t done = 0;

	for (uint64_t i = 0; i < l->chunks; i++) {
		if (watch_should_stop(watch))
			return interrupted("interrupted before all kept data was back; repeat the "
					   "same command to finish",
				err);
		if (step(r, i, err) < 0)
			return -1;
		done += kept_layout_chunk(l, i).bytes;
		tell(watch, phase, done, l->bytes);
	}
	return 0;
}

static int restore(struct restoring *r, const struct watch *watch, struct error *err)
{
	int rc;

	if (each_chunk(r, "putting data back", put_back, watch, err) < 0)
		return -1;
	rc = medium_flush(r->m);
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot flush '%s' after putting data back",
			r->m->traits.path);
	/* Direct I/O does not come from the host's cache anyway. */
	(void)medium_drop_cache(r->m);
	return each_chunk(r, "reading back", read_back, watch, err);
}

int kept_restore(const struct kept *k, struct medium *m, struct kept_result *result,
	const struct watch *watch, struct error *err)
{
	struct restoring r = { .k = k,
		.m = m,
		.saved = buffer_new(KEPT_CHUNK_BYTES, m->traits.memory_align_bytes),
		.there = buffer_new(KEPT_CHUNK_BYTES, m->traits.memory_align_bytes),
		.result = result };
	int rc = r.saved && r.there ? 0 : error_set(err, ERROR_IO, "out of memory");

	*result = (struct kept_result){ 0 };
	if (!rc)
		rc = restore(&r, watch, err);
	free(r.saved);
	free(r.there);
	return rc;
}

void kept_close(struct kept *k)
{
	if (!k)
		return;
	if (k->fd >= 0)
		close(k->fd);
	kept_layout_release(&k->layout);
	free(k);
}

int kept_remove(const char *path, struct error *err)
{
	int rc = unlink(path) < 0 ? -errno : sync_folder_of(path);

	return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot remove '%s'", path) : 0;
}
