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
#include "medium/medium.h"

enum { DATA_MAGIC = 0x5441444B, END_MAGIC = 0x444E454B }; /* "KDAT", "KEND" */
enum { RETRIES = 100 }; /* of a call that only says "again"; then it counts as failed */

struct kept {
	int fd;
	char path[512];
	struct kept_identity id;
	uint32_t header_crc;
};

static uint64_t chunk_count(uint64_t bytes)
{
	return bytes / KEPT_CHUNK_BYTES + (bytes % KEPT_CHUNK_BYTES != 0);
}

static size_t chunk_bytes(const struct kept_identity *id, uint64_t index)
{
	uint64_t left = id->bytes - index * KEPT_CHUNK_BYTES;

	return left < KEPT_CHUNK_BYTES ? (size_t)left : KEPT_CHUNK_BYTES;
}

static uint64_t chunk_place(uint64_t index)
{
	return KEPT_HEADER_BYTES + index * (KEPT_HEAD_BYTES + KEPT_CHUNK_BYTES);
}

uint64_t kept_file_bytes(uint64_t region_bytes)
{
	return KEPT_HEADER_BYTES + chunk_count(region_bytes) * KEPT_HEAD_BYTES + region_bytes +
	       KEPT_HEAD_BYTES;
}

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
	struct watch_step step = { .phase = phase,
		.done = done < total ? done : total, /* the last chunk may be short */
		.total = total,
		.seconds_left = -1 };

	watch_step(watch, &step);
}

/* ---- saving ---- */

static int save_chunk(int fd, const struct kept_identity *id, uint64_t index, struct medium *m,
	unsigned char *buf, const char *path, struct error *err)
{
	size_t length = chunk_bytes(id, index);
	uint64_t at = id->start + index * KEPT_CHUNK_BYTES;
	unsigned char head[KEPT_HEAD_BYTES];
	int rc = target_transfer(m, false, at, buf, length);

	if (rc < 0)
		return target_failed(m, "read", at, length, rc, err);
	kept_put_u32(head, DATA_MAGIC);
	kept_put_u64(head + 8, index);
	kept_put_u32(head + 4, chunk_crc(head + 8, buf, length));
	rc = write_all(fd, head, sizeof head);
	if (!rc)
		rc = write_all(fd, buf, length);
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot save the target's data to '%s'", path);
	return 0;
}

static int save_all(int fd, const struct kept_identity *id, struct medium *m, unsigned char *buf,
	const char *path, const struct watch *watch, struct error *err)
{
	unsigned char header[KEPT_HEADER_BYTES], end[KEPT_HEAD_BYTES];
	uint64_t count = chunk_count(id->bytes);
	int rc;

	make_end(end, kept_header_make(header, id), count);
	rc = write_all(fd, header, sizeof header);
	for (uint64_t i = 0; !rc && i < count; i++) {
		if (watch_should_stop(watch))
			return interrupted("interrupted while saving the target's data; nothing "
					   "was written to the target",
				err);
		if (save_chunk(fd, id, i, m, buf, path, err) < 0)
			return -1;
		tell(watch, "saving the target's data", (i + 1) * KEPT_CHUNK_BYTES, id->bytes);
	}
	if (!rc)
		rc = write_all(fd, end, sizeof end);
	if (!rc && fsync(fd) < 0)
		rc = -errno;
	if (!rc)
		rc = sync_folder_of(path);
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot save the target's data to '%s'", path);
	return 0;
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

int kept_save(const char *path, const struct kept_identity *id, struct medium *m,
	const struct watch *watch, struct error *err)
{
	unsigned char *buf = buffer_new(KEPT_CHUNK_BYTES, m->traits.memory_align_bytes);
	int fd, rc;

	if (!buf)
		return error_set(err, ERROR_IO, "out of memory");
	/* 0600: these are the user's own data. */
	fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0600);
	if (fd < 0) {
		free(buf);
		return error_sys(
			err, ERROR_USAGE, errno, "cannot create '%s' for the target's data", path);
	}
	/* Claims the room at once where the filesystem can; one that cannot says so while writing. */
	rc = fallocate(fd, 0, 0, (off_t)kept_file_bytes(id->bytes)) < 0 ? -errno : 0;
	if (rc == -ENOSPC || rc == -EFBIG || rc == -EDQUOT)
		rc = error_sys(err, ERROR_REFUSED, -rc,
			"no room to keep the target's data in '%s' (%llu bytes)", path,
			(unsigned long long)kept_file_bytes(id->bytes));
	else
		rc = save_all(fd, id, m, buf, path, watch, err);
	if (!rc)
		rc = check_saved(fd, path, watch, err);
	close(fd);
	free(buf);
	if (rc < 0)
		unlink(path);
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

static int read_header(struct kept *k, struct error *err)
{
	unsigned char header[KEPT_HEADER_BYTES];
	int rc = read_all(k->fd, header, sizeof header, 0);

	if (!rc)
		rc = kept_header_parse(&k->id, &k->header_crc, header);
	return rc < 0 ? explain_header(rc, k->path, err) : 0;
}

static int check_end(struct kept *k, struct error *err)
{
	unsigned char wanted[KEPT_HEAD_BYTES], end[KEPT_HEAD_BYTES];
	uint64_t whole = kept_file_bytes(k->id.bytes);
	struct stat st;
	int rc = fstat(k->fd, &st) < 0 ? -errno : 0;

	make_end(wanted, k->header_crc, chunk_count(k->id.bytes));
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
	unsigned char head[KEPT_HEAD_BYTES];
	size_t length = chunk_bytes(&k->id, index);
	int rc = read_all(k->fd, head, sizeof head, chunk_place(index));

	if (!rc)
		rc = read_all(k->fd, buf, length, chunk_place(index) + sizeof head);
	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot read saved data '%s'", k->path);
	if (kept_get_u32(head) != DATA_MAGIC || kept_get_u64(head + 8) != index ||
		kept_get_u32(head + 4) != chunk_crc(head + 8, buf, length))
		return error_set(err, ERROR_IO,
			"saved data '%s' is damaged in chunk %llu of %llu (CRC32), so it is not "
			"restored; find a whole copy",
			k->path, (unsigned long long)index + 1,
			(unsigned long long)chunk_count(k->id.bytes));
	return 0;
}

int kept_verify(const struct kept *k, const struct watch *watch, struct error *err)
{
	unsigned char *buf = buffer_new(KEPT_CHUNK_BYTES, 0);
	int rc = buf ? 0 : error_set(err, ERROR_IO, "out of memory");

	for (uint64_t i = 0; !rc && i < chunk_count(k->id.bytes); i++) {
		if (watch_should_stop(watch))
			rc = interrupted("interrupted while checking the saved data; nothing was "
					 "written to the target",
				err);
		else
			rc = load_chunk(k, i, buf, err);
		tell(watch, "checking the saved data", (i + 1) * KEPT_CHUNK_BYTES, k->id.bytes);
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
	size_t length = chunk_bytes(&r->k->id, index);
	uint64_t at = r->k->id.start + index * KEPT_CHUNK_BYTES;
	int rc;

	if (load_chunk(r->k, index, r->saved, err) < 0)
		return -1;
	rc = target_transfer(r->m, false, at, r->there, length);
	if (!rc && !memcmp(r->saved, r->there, length))
		return 0;
	/* One that cannot be read may well become readable by being written. */
	rc = target_transfer(r->m, true, at, r->saved, length);
	if (rc < 0)
		return target_failed(r->m, "write kept data back to", at, length, rc, err);
	r->result->written_bytes += length;
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
	size_t length = chunk_bytes(&r->k->id, index);
	uint64_t at = r->k->id.start + index * KEPT_CHUNK_BYTES;
	int rc;

	if (load_chunk(r->k, index, r->saved, err) < 0)
		return -1;
	rc = target_transfer(r->m, false, at, r->there, length);
	if (rc < 0)
		return target_failed(r->m, "read back", at, length, rc, err);
	if (memcmp(r->saved, r->there, length) != 0)
		return error_set(err, ERROR_IO,
			"'%s' did not take the kept data: at byte %llu it gives back something "
			"else",
			r->m->traits.path,
			(unsigned long long)(at + first_difference(r->saved, r->there, length)));
	r->result->bytes += length;
	return 0;
}

static int each_chunk(struct restoring *r, const char *phase,
	int (*step)(struct restoring *r, uint64_t index, struct error *err),
	const struct watch *watch, struct error *err)
{
	uint64_t bytes = r->k->id.bytes, count = chunk_count(bytes);

	for (uint64_t i = 0; i < count; i++) {
		if (watch_should_stop(watch))
			return interrupted("interrupted before all kept data was back; repeat the "
					   "same command to finish",
				err);
		if (step(r, i, err) < 0)
			return -1;
		tell(watch, phase, (i + 1) * KEPT_CHUNK_BYTES, bytes);
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
	free(k);
}

int kept_remove(const char *path, struct error *err)
{
	int rc = unlink(path) < 0 ? -errno : sync_folder_of(path);

	return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot remove '%s'", path) : 0;
}
