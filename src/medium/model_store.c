/* What a gadget model's card holds. */
#include "medium/model_store.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"

enum { PIECE_BYTES = 16384 };

static int unnamed_file(const char *folder)
{
	char path[512];
	int fd = open(folder, O_TMPFILE | O_RDWR | O_CLOEXEC | O_EXCL, 0600);

	if (fd >= 0 || (errno != EOPNOTSUPP && errno != EISDIR))
		return fd;
	/* A filesystem without unnamed files. */
	if (snprintf(path, sizeof path, "%s/blkassay-model.XXXXXX", folder) >= (int)sizeof path) {
		errno = ENAMETOOLONG;
		return -1;
	}
	fd = mkostemp(path, O_CLOEXEC);
	if (fd >= 0)
		unlink(path);
	return fd;
}

int model_store_open(struct model_store *s, unsigned char fill, struct error *err)
{
	const char *wish = getenv("TMPDIR");
	bool wished = wish && *wish;

	model_store_empty(s, fill);
	s->fd = unnamed_file(wished ? wish : "/var/tmp");
	if (s->fd < 0 && !wished)
		s->fd = unnamed_file("/tmp");
	if (s->fd < 0)
		return error_sys(err, ERROR_IO, errno,
			"cannot make a temporary file in '%s' for what is written to the gadget "
			"model; set TMPDIR to a folder with room",
			wished ? wish : "/tmp");
	return 0;
}

void model_store_empty(struct model_store *s, unsigned char fill)
{
	*s = (struct model_store){ .fd = -1, .fill = fill };
}

void model_store_close(struct model_store *s)
{
	if (s->fd >= 0)
		close(s->fd);
	s->fd = -1;
}

/* Stored as data XOR fill, so that a hole, which reads as zeros, is a block of fill bytes. */
static void mask(unsigned char *bytes, size_t len, unsigned char fill)
{
	uint64_t eight = UINT64_C(0x0101010101010101) * fill;
	size_t i = 0;

	for (; i + sizeof eight <= len; i += sizeof eight) {
		uint64_t v;

		memcpy(&v, bytes + i, sizeof v);
		v ^= eight;
		memcpy(bytes + i, &v, sizeof v);
	}
	for (; i < len; i++)
		bytes[i] ^= fill;
}

static int write_all(int fd, uint64_t at, const unsigned char *bytes, size_t len)
{
	while (len) {
		ssize_t n = pwrite(fd, bytes, len, (off_t)at);

		if (n < 0 && errno == EINTR)
			continue;
		if (n <= 0)
			return n < 0 ? -errno : -EIO;
		bytes += n;
		at += (uint64_t)n;
		len -= (size_t)n;
	}
	return 0;
}

int model_store_write(struct model_store *s, uint64_t at, const void *buf, size_t len)
{
	unsigned char piece[PIECE_BYTES];
	const unsigned char *bytes = buf;

	if (s->fd < 0)
		return -EBADF;
	if (!s->fill)
		return write_all(s->fd, at, buf, len);
	for (size_t done = 0; done < len; done += PIECE_BYTES) {
		size_t n = len - done < PIECE_BYTES ? len - done : PIECE_BYTES;
		int rc;

		memcpy(piece, bytes + done, n);
		mask(piece, n, s->fill);
		rc = write_all(s->fd, at + done, piece, n);
		if (rc < 0)
			return rc;
	}
	return 0;
}

static int read_all(int fd, uint64_t at, unsigned char *bytes, size_t len)
{
	while (len) {
		ssize_t n = pread(fd, bytes, len, (off_t)at);

		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return -errno;
		if (!n) { /* behind the last block written */
			memset(bytes, 0, len);
			break;
		}
		bytes += n;
		at += (uint64_t)n;
		len -= (size_t)n;
	}
	return 0;
}

int model_store_read(const struct model_store *s, uint64_t at, void *buf, size_t len)
{
	int rc = 0;

	if (s->fd < 0)
		memset(buf, 0, len);
	else
		rc = read_all(s->fd, at, buf, len);
	if (s->fill)
		mask(buf, len, s->fill);
	return rc;
}

int model_store_clear(struct model_store *s)
{
	return s->fd >= 0 && ftruncate(s->fd, 0) < 0 ? -errno : 0;
}
