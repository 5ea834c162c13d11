/* The file of saved data and the transfers, as far as saving, checking and putting back share them. */
#include "integrity/kept_file.h"

#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/checksum.h"
#include "base/durable.h"
#include "base/error.h"
#include "base/own_file.h"
#include "base/text.h"
#include "base/watch.h"
#include "medium/medium.h"

enum { DATA_MAGIC = 0x5441444B, END_MAGIC = 0x444E454B }; /* "KDAT", "KEND" */
enum { RETRIES = 100 }; /* of a call that only says "again"; then it counts as failed */
/* Between writes it is asked whether the medium is still the same, so no more than this may go to another one. */
enum { WRITE_BYTES = 128 * 1024 };
enum { COVERS_ALL = 3 }; /* the version whose sums cover the header and every chunk */

/* ---- bytes of the file ---- */

int kept_read_all(int fd, void *bytes, size_t length, uint64_t place)
{
	char *at = bytes;
	int retries = 0;

	while (length) {
		ssize_t n = pread(fd, at, length, (off_t)place);

		if (n < 0 && durable_is_passing(errno) && retries++ < RETRIES)
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

/* ---- the target ---- */

int kept_transfer(struct medium *m, bool write, uint64_t at, unsigned char *buf, size_t len)
{
	int retries = 0;

	while (len) {
		size_t got = 0, part = write && len > WRITE_BYTES ? WRITE_BYTES : len;
		int rc = write ? medium_write(m, at, buf, part, &got)
			       : medium_read(m, at, buf, part, &got);

		if (durable_is_passing(-rc) && retries++ < RETRIES)
			continue;
		if (rc < 0)
			return rc;
		if (!got || got > part || got % m->traits.logical_block_bytes)
			return -EIO;
		at += got;
		buf += got;
		len -= got;
	}
	return 0;
}

int kept_transfer_failed(const struct medium *m, const char *verb, uint64_t at, size_t length,
	int rc, struct error *err)
{
	error_fill_sys(err, ERROR_IO, -rc, "cannot %s '%s' at byte %llu, %zu bytes", verb,
		m->traits.path, (unsigned long long)at, length);
	return medium_explain(m, err);
}

void kept_tell(const struct watch *watch, const char *phase, uint64_t done, uint64_t total)
{
	struct watch_step step = {
		.phase = phase, .done = done, .total = total, .seconds_left = -1
	};

	watch_step(watch, &step);
}

/* ---- chunks and end mark ---- */

static uint32_t chunk_sum(
	const struct kept_sums *sums, const unsigned char *index, const void *data, size_t length)
{
	unsigned char header[4];
	uint32_t crc = 0;

	kept_put_u32(header, sums->header);
	if (sums->version >= COVERS_ALL)
		crc = checksum_crc32(0, header, sizeof header);
	return checksum_crc32(checksum_crc32(crc, index, 8), data, length);
}

uint32_t kept_end_begin(const struct kept_sums *sums, uint64_t chunks)
{
	unsigned char bytes[12];

	kept_put_u32(bytes, sums->header);
	kept_put_u64(bytes + 4, chunks);
	return checksum_crc32(0, bytes, sizeof bytes);
}

uint32_t kept_end_add(const struct kept_sums *sums, uint32_t end, uint32_t chunk_crc)
{
	unsigned char bytes[4];

	kept_put_u32(bytes, chunk_crc);
	return sums->version >= COVERS_ALL ? checksum_crc32(end, bytes, sizeof bytes) : end;
}

int kept_append_chunk(struct kept *k, uint64_t index, const unsigned char *buf, uint32_t *crc)
{
	struct kept_chunk c = kept_layout_chunk(&k->layout, index);
	unsigned char head[KEPT_HEAD_BYTES];
	int rc;

	kept_put_u32(head, DATA_MAGIC);
	kept_put_u64(head + 8, index);
	*crc = chunk_sum(&k->sums, head + 8, buf, c.bytes);
	kept_put_u32(head + 4, *crc);
	rc = durable_write_all(k->fd, head, sizeof head);
	return rc ? rc : durable_write_all(k->fd, buf, c.bytes);
}

int kept_append_end(struct kept *k, uint32_t end)
{
	unsigned char mark[KEPT_HEAD_BYTES] = { 0 };

	kept_put_u32(mark, END_MAGIC);
	kept_put_u32(mark + 4, end);
	kept_put_u64(mark + 8, k->layout.chunks);
	return durable_write_all(k->fd, mark, sizeof mark);
}

int kept_try_chunk(
	const struct kept *k, uint64_t index, unsigned char *buf, uint32_t *crc, struct error *err)
{
	struct kept_chunk c = kept_layout_chunk(&k->layout, index);
	unsigned char head[KEPT_HEAD_BYTES];
	int rc = kept_read_all(k->fd, head, sizeof head, c.place);

	if (rc < 0) {
		error_fill_sys(err, ERROR_IO, -rc, "cannot read saved data '%s'", k->path);
		return -1;
	}
	*crc = kept_get_u32(head + 4);
	rc = kept_read_all(k->fd, buf, c.bytes, c.place + sizeof head);
	if (rc < 0) {
		error_fill_sys(err, ERROR_IO, -rc, "cannot read saved data '%s'", k->path);
		return 1;
	}
	if (kept_get_u32(head) == DATA_MAGIC && kept_get_u64(head + 8) == index &&
		kept_get_u32(head + 4) == chunk_sum(&k->sums, head + 8, buf, c.bytes))
		return 0;
	error_fill(err, ERROR_IO,
		"saved data '%s' is damaged in chunk %llu of %llu (CRC32), so it is not restored; "
		"find a whole copy",
		k->path, (unsigned long long)index + 1, (unsigned long long)k->layout.chunks);
	return 1;
}

int kept_load_chunk(
	const struct kept *k, uint64_t index, unsigned char *buf, uint32_t *crc, struct error *err)
{
	uint32_t unasked;

	return kept_try_chunk(k, index, buf, crc ? crc : &unasked, err) ? -1 : 0;
}

static int read_end(const struct kept *k, unsigned char mark[KEPT_HEAD_BYTES])
{
	return kept_read_all(
		k->fd, mark, KEPT_HEAD_BYTES, kept_file_bytes(&k->id) - KEPT_HEAD_BYTES);
}

int kept_check_end_sum(const struct kept *k, uint32_t end, struct error *err)
{
	unsigned char mark[KEPT_HEAD_BYTES] = { 0 };
	int rc = read_end(k, mark);

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot read saved data '%s'", k->path);
	if (kept_get_u32(mark + 4) == end)
		return 0;
	return error_set(err, ERROR_IO,
		"the end mark of saved data '%s' does not fit what is before it, as if parts of "
		"two files were joined, so it is not restored; find a whole copy",
		k->path);
}

/* ---- opening ---- */

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
	int rc = bytes ? kept_read_all(k->fd, bytes, length, KEPT_HEADER_BYTES) : -ENOMEM;

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
	int rc = kept_read_all(k->fd, header, sizeof header, 0);

	if (!rc)
		rc = kept_header_parse(&k->id, &k->sums, header);
	if (!rc)
		rc = read_layout(k);
	return rc < 0 ? explain_header(rc, k->path, err) : 0;
}

/* What the end mark must be can be told here of the older versions alone; of the others once all chunks were read. */
static bool ends_whole(const struct kept *k, const unsigned char mark[KEPT_HEAD_BYTES])
{
	return kept_get_u32(mark) == END_MAGIC && kept_get_u64(mark + 8) == k->layout.chunks &&
	       (k->sums.version >= COVERS_ALL ||
		       kept_get_u32(mark + 4) == kept_end_begin(&k->sums, k->layout.chunks));
}

static int check_end(struct kept *k, struct error *err)
{
	unsigned char mark[KEPT_HEAD_BYTES] = { 0 };
	uint64_t whole = kept_file_bytes(&k->id);
	struct stat st;
	int rc = fstat(k->fd, &st) < 0 ? -errno : read_end(k, mark);

	if (rc < 0 && rc != -ENODATA)
		return error_sys(err, ERROR_IO, -rc, "cannot read '%s'", k->path);
	if (!rc && (uint64_t)st.st_size == whole && ends_whole(k, mark))
		return 0;
	return error_set(err, ERROR_REFUSED,
		"'%s' is not whole (%llu of %llu bytes, or without its end mark); if saving was "
		"interrupted, the target was not written yet and still has its data; if not, find "
		"a whole copy",
		k->path, rc == -ENODATA || !rc ? (unsigned long long)st.st_size : 0,
		(unsigned long long)whole);
}

int kept_load(struct kept *k, struct error *err)
{
	return read_header(k, err) < 0 ? -1 : check_end(k, err);
}

/* The run that saves holds a lock to its end. Where there are no locks nothing is known, and the target's own lock has
 * to do. */
static bool is_locked(int fd)
{
	struct flock lock = { .l_type = F_RDLCK, .l_whence = SEEK_SET };

	return fcntl(fd, F_OFD_GETLK, &lock) == 0 && lock.l_type != F_UNLCK;
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
	} else if (kept_load(k, err) == 0) {
		k->in_use = is_locked(k->fd);
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

bool kept_in_use(const struct kept *k)
{
	return k->in_use;
}

int kept_verify(const struct kept *k, const struct watch *watch, struct error *err)
{
	unsigned char *buf = buffer_new(KEPT_CHUNK_BYTES, 0);
	int rc = buf ? 0 : error_set(err, ERROR_IO, "out of memory");
	uint32_t end = kept_end_begin(&k->sums, k->layout.chunks), crc = 0;
	uint64_t done = 0;

	for (uint64_t i = 0; !rc && i < k->layout.chunks; i++) {
		if (watch_should_stop(watch))
			rc = error_set(err, ERROR_INTERRUPTED,
				"interrupted while checking the saved data; nothing was written to "
				"the target");
		else
			rc = kept_load_chunk(k, i, buf, &crc, err);
		end = kept_end_add(&k->sums, end, crc);
		done += kept_layout_chunk(&k->layout, i).bytes;
		kept_tell(watch, "checking the saved data", done, k->layout.bytes);
	}
	free(buf);
	return rc ? rc : kept_check_end_sum(k, end, err);
}

/* ---- the end ---- */

void kept_close(struct kept *k)
{
	if (!k)
		return;
	if (k->fd >= 0)
		close(k->fd);
	kept_layout_release(&k->layout);
	free(k);
}

int kept_remove(const struct kept *k, struct error *err)
{
	int rc = own_file_unlink(k->fd, k->path);

	if (rc > 0)
		return 1;
	if (!rc)
		rc = durable_sync_folder_of(k->path);
	return rc < 0 ? error_sys(err, ERROR_IO, -rc, "cannot remove '%s'", k->path) : 0;
}
