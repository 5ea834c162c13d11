/* --create: a new image file. */
#include "cli/image.h"

#include <errno.h>
#include <fcntl.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/own_file.h"
#include "base/random.h"
#include "cli/progress.h"
#include "platform/file_lock.h"
#include "platform/hold.h"

enum { FILL_BYTES = 1 << 20 };

static void fill_words(uint64_t *words, uint64_t first)
{
	for (size_t i = 0; i < FILL_BYTES / sizeof *words; i++)
		words[i] = random_at(0, first + i);
}

static int fill(int fd, uint64_t bytes, uint64_t *words, const struct watch *watch)
{
	for (uint64_t at = 0; at < bytes;) {
		size_t n = bytes - at < FILL_BYTES ? (size_t)(bytes - at) : FILL_BYTES;
		ssize_t put;

		if (watch_should_stop(watch))
			return -ECANCELED;
		fill_words(words, at / sizeof *words + 1);
		put = pwrite(fd, words, n, (off_t)at);
		if (put < 0 && errno == EINTR)
			continue;
		if (put < 0)
			return -errno;
		if (put == 0)
			return -EIO;
		at += (uint64_t)put;
		watch_step(watch, &(struct watch_step){ .phase = "making the image",
					  .done = at,
					  .total = bytes,
					  .seconds_left = -1 });
	}
	return fsync(fd) < 0 ? -errno : 0;
}

/* Room first, so that a disk that is too small says so at once. Filesystems that cannot do that say it while filling. */
static int claim_and_fill(int fd, uint64_t bytes)
{
	struct progress progress;
	uint64_t *words;
	int rc = fallocate(fd, 0, 0, (off_t)bytes) < 0 ? -errno : 0;

	if (rc < 0 && rc != -EOPNOTSUPP && rc != -ENOSYS)
		return rc;
	words = malloc(FILL_BYTES);
	if (!words)
		return -ENOMEM;
	progress_start(&progress);
	progress.counts_bytes = true;
	rc = fill(fd, bytes, words, &progress.watch);
	progress_finish(&progress, NULL);
	free(words);
	return rc;
}

static int explain_open(int saved, const char *path, struct error *err)
{
	bool machine = saved == ENOSPC || saved == EIO || saved == EMFILE || saved == ENFILE ||
		       saved == EDQUOT;

	if (saved == EEXIST)
		return error_set(err, ERROR_REFUSED,
			"'%s' exists already, and --create only makes new files; name another, or "
			"leave out --create",
			path);
	return error_sys(
		err, machine ? ERROR_IO : ERROR_USAGE, saved, "cannot create image '%s'", path);
}

static int explain_making(int rc, const char *path, uint64_t bytes, struct error *err)
{
	if (rc == -ECANCELED)
		return error_set(
			err, ERROR_INTERRUPTED, "interrupted while making image '%s'", path);
	return error_sys(err, ERROR_IO, -rc, "cannot make image '%s' of %llu bytes", path,
		(unsigned long long)bytes);
}

static int give_up(int fd, const char *path, struct error *err)
{
	int rc = own_file_unlink(fd, path);

	close(fd);
	if (rc > 0)
		error_add(err, "; that name means another file by now, which is left as it is");
	else if (rc < 0)
		error_add(err, "; what there is of it cannot be removed: %s", strerror(-rc));
	else
		error_add(err, "; it is removed");
	return -1;
}

int image_create(struct hold **out, const char *path, uint64_t bytes, struct error *err)
{
	int fd, rc;

	*out = NULL;
	if (!*path)
		return error_set(
			err, ERROR_USAGE, "the target is empty; name the image file to create");
	if (bytes % 512)
		return error_set(err, ERROR_USAGE,
			"--create: %llu bytes is not a multiple of the block of 512 bytes",
			(unsigned long long)bytes);
	fd = open(path, O_RDWR | O_CREAT | O_EXCL | O_NOFOLLOW | O_CLOEXEC, 0666);
	if (fd < 0)
		return explain_open(errno, path, err);
	rc = file_lock(fd, true); /* it is seen by others from here on */
	if (!rc)
		rc = claim_and_fill(fd, bytes);
	if (rc < 0)
		explain_making(rc, path, bytes, err);
	else
		rc = hold_made(out, fd, path, err);
	return rc < 0 ? give_up(fd, path, err) : 0;
}
