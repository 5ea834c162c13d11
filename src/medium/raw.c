/* A block device or image file, opened with O_DIRECT. */
#include "medium/raw.h"

#include <errno.h>
#include <fcntl.h>
#include <linux/fs.h>
#include <linux/magic.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <sys/uio.h>
#include <sys/vfs.h>
#include <unistd.h>

#include "base/buffer.h"
#include "base/error.h"
#include "base/text.h"
#include "medium/device_identity.h"
#include "medium/device_traits.h"
#include "medium/sg.h"
#include "platform/blockdev.h"
#include "platform/hold.h"

struct raw {
	struct medium medium;
	int fd;
	int stat_fd; /* the device's counters; -1 for an image */
	int error_fds[2]; /* its failed commands; -1 where they are not counted */
	bool whole_disk; /* not a partition: there a SCSI block number would mean another place */
	struct device_identity identity; /* not of an image */
	struct hold *hold; /* of an image, or of the file beneath a loop device; NULL: none */
	bool owns_hold;
};

static struct raw *raw_of(struct medium *m)
{
	return (struct raw *)m;
}

static int raw_read(struct medium *m, uint64_t at, void *buf, size_t len, size_t *got)
{
	ssize_t n = pread(raw_of(m)->fd, buf, len, (off_t)at);
	int saved = errno;

	*got = n < 0 ? 0 : (size_t)n;
	return n < 0 ? -saved : 0;
}

static int raw_write(struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	ssize_t n = pwrite(raw_of(m)->fd, buf, len, (off_t)at);
	int saved = errno;

	*got = n < 0 ? 0 : (size_t)n;
	return n < 0 ? -saved : 0;
}

static int raw_write_through(
	struct medium *m, uint64_t at, const void *buf, size_t len, size_t *got)
{
	struct iovec v = { .iov_len = len };
	ssize_t n;
	int saved;

	/* struct iovec has no const, but pwritev2 only reads the memory. */
	memcpy(&v.iov_base, &buf, sizeof buf);
	n = pwritev2(raw_of(m)->fd, &v, 1, (off_t)at, RWF_DSYNC);
	saved = errno;

	*got = n < 0 ? 0 : (size_t)n;
	return n < 0 ? -saved : 0;
}

static int raw_flush(struct medium *m)
{
	return fsync(raw_of(m)->fd) < 0 ? -errno : 0;
}

static int raw_counts(struct medium *m, struct medium_counts *c)
{
	struct blockdev_stat s;
	uint64_t own;
	int rc = raw_of(m)->stat_fd < 0 ? -ENOTSUP : blockdev_stat_read(raw_of(m)->stat_fd, &s);

	if (rc < 0)
		return rc;
	*c = (struct medium_counts){
		.reads = s.reads,
		.reads_merged = s.reads_merged,
		.read_bytes = s.read_sectors * 512,
		.writes = s.writes,
		.writes_merged = s.writes_merged,
		.written_bytes = s.written_sectors * 512,
		.flushes = s.flushes,
	};
	c->errors_known = blockdev_errors_read(raw_of(m)->error_fds, &c->errors) == 0;
	/* Those that the questions whether it is still there brought about. */
	own = raw_of(m)->identity.sent_errors;
	c->errors = c->errors > own ? c->errors - own : 0;
	return 0;
}

/* Pass-through on the block device. */
static int raw_scsi(struct medium *m, struct scsi_exchange *x)
{
	int rc;

	if (!raw_of(m)->whole_disk || !strcmp(m->traits.transport, "loop"))
		return -ENOTSUP;
	rc = sg_send(raw_of(m)->fd, x);
	if (rc == 0)
		device_identity_note(&raw_of(m)->identity, x);
	return rc;
}

static int raw_check(struct medium *m, enum medium_check how, struct error *why)
{
	struct raw *r = raw_of(m);
	int rc = 0;

	if (m->traits.kind == MEDIUM_BLOCK_DEVICE)
		rc = device_identity_check(&r->identity, how, m, why);
	if (!rc && r->hold &&
		hold_check(r->hold, how == MEDIUM_CHECK_REQUEST ? HOLD_DUE : HOLD_NOW, why) < 0)
		rc = -ESTALE;
	return rc;
}

static int raw_renew(struct medium *m, struct error *why)
{
	int rc = 0;

	if (m->traits.kind == MEDIUM_BLOCK_DEVICE)
		rc = device_identity_renew(&raw_of(m)->identity, m, why);
	if (!rc)
		m->traits.disk_sequence = raw_of(m)->identity.sequence;
	return rc;
}

static int raw_drop_cache(struct medium *m)
{
	if (m->traits.kind == MEDIUM_BLOCK_DEVICE)
		return ioctl(raw_of(m)->fd, BLKFLSBUF, 0) < 0 ? -errno : 0;
	return -posix_fadvise(raw_of(m)->fd, 0, 0, POSIX_FADV_DONTNEED);
}

static void raw_close(struct medium *m)
{
	if (raw_of(m)->fd >= 0)
		close(raw_of(m)->fd);
	if (raw_of(m)->stat_fd >= 0)
		close(raw_of(m)->stat_fd);
	for (int i = 0; i < 2; i++)
		if (raw_of(m)->error_fds[i] >= 0)
			close(raw_of(m)->error_fds[i]);
	if (raw_of(m)->owns_hold)
		hold_release(raw_of(m)->hold);
	free(m);
}

static const struct medium_ops raw_ops = {
	.read = raw_read,
	.write = raw_write,
	.write_through = raw_write_through,
	.flush = raw_flush,
	.scsi = raw_scsi,
	.counts = raw_counts,
	.drop_cache = raw_drop_cache,
	.check = raw_check,
	.renew = raw_renew,
	.close = raw_close,
};

static int describe_device(
	struct raw *r, const struct stat *st, enum medium_access access, struct error *err)
{
	struct medium_traits *t = &r->medium.traits;
	struct blockdev d;
	int logical = 0;
	unsigned physical = 0;
	uint64_t size = 0;
	int rc;

	if (blockdev_read_by_number(&d, NULL, major(st->st_rdev), minor(st->st_rdev), err) < 0)
		return -1;
	if (access == MEDIUM_READ_WRITE &&
		device_identity_settle(r->fd, !d.partition, &r->medium, err) < 0)
		return -1;
	if (ioctl(r->fd, BLKSSZGET, &logical) < 0 || ioctl(r->fd, BLKPBSZGET, &physical) < 0 ||
		ioctl(r->fd, BLKGETSIZE64, &size) < 0)
		return error_sys(err, ERROR_IO, errno,
			"cannot ask '%s' for its size and block size", t->path);
	medium_traits_take_device(t, &d);
	/* Where sysfs and the open device differ, the device that will be used counts. */
	t->size_bytes = size;
	t->logical_block_bytes = (uint32_t)logical;
	t->physical_block_bytes = physical;
	r->whole_disk = !d.partition;
	r->stat_fd = blockdev_stat_open(NULL, d.major, d.minor);
	blockdev_errors_open(r->error_fds, NULL, d.major, d.minor);
	rc = device_identity_take(&r->identity, r->fd, t, d.major, d.minor);
	if (rc < 0)
		return error_sys(
			err, ERROR_IO, -rc, "cannot ask '%s' for its disk sequence", t->path);
	t->disk_sequence = r->identity.sequence;
	return 0;
}

static void describe_image(struct raw *r, const struct stat *st)
{
	struct medium_traits *t = &r->medium.traits;
	const char *slash = strrchr(t->path, '/');

	t->kind = MEDIUM_IMAGE;
	text_copy(t->name, sizeof t->name, slash ? slash + 1 : t->path);
	text_copy(t->transport, sizeof t->transport, "file");
	t->size_bytes = (uint64_t)st->st_size;
	t->logical_block_bytes = 512;
	t->physical_block_bytes = (uint32_t)st->st_blksize;
}

/* What the kernel asks of direct I/O on this file; kernels before 6.1 do not say, then the block size decides. */
static int describe_alignment(struct raw *r, struct error *err)
{
	struct medium_traits *t = &r->medium.traits;
	uint32_t memory = 0, offset = 0;
#ifdef STATX_DIOALIGN
	struct statx sx;

	if (statx(r->fd, "", AT_EMPTY_PATH, STATX_DIOALIGN, &sx) == 0 &&
		sx.stx_mask & STATX_DIOALIGN) {
		memory = sx.stx_dio_mem_align;
		offset = sx.stx_dio_offset_align;
		if (!offset)
			return error_set(err, ERROR_REFUSED,
				"'%s' is on a filesystem without direct I/O (O_DIRECT); use a file "
				"on a disk filesystem such as ext4 or xfs, or a block device",
				t->path);
	}
#else
	(void)err;
#endif
	t->memory_align_bytes = memory ? memory : t->logical_block_bytes;
	t->offset_align_bytes = offset > t->logical_block_bytes ? offset : t->logical_block_bytes;
	if (t->kind == MEDIUM_IMAGE)
		t->logical_block_bytes = t->offset_align_bytes;
	return 0;
}

/* Old kernels accept O_DIRECT at open and refuse the first read; find out now. */
static int probe_direct_read(struct raw *r, struct error *err)
{
	size_t block = r->medium.traits.offset_align_bytes, got;
	void *buf = buffer_new(block, r->medium.traits.memory_align_bytes);
	int rc;

	if (!buf)
		return error_set(err, ERROR_IO, "out of memory");
	rc = r->medium.traits.size_bytes < block ? 0 : raw_read(&r->medium, 0, buf, block, &got);
	free(buf);
	if (rc == -EINVAL)
		return error_set(err, ERROR_REFUSED,
			"'%s' does not take direct I/O (O_DIRECT) in blocks of %zu bytes; use a "
			"file on a disk filesystem, or a block device",
			r->medium.traits.path, block);
	return 0; /* any other failure is the target's own and belongs to the run */
}

/* A file in memory would be measured as memory, whatever O_DIRECT says there. */
static bool lies_in_memory(int fd)
{
	struct statfs fs;

	return fstatfs(fd, &fs) == 0 &&
	       ((uint32_t)fs.f_type == TMPFS_MAGIC || (uint32_t)fs.f_type == RAMFS_MAGIC);
}

static int check_path(const char *path, struct error *err)
{
	if (!*path)
		return error_set(err, ERROR_USAGE,
			"the target is empty; name a block device or an image file");
	if (strlen(path) >= sizeof((struct medium_traits *)0)->path)
		return error_set(err, ERROR_USAGE,
			"the target's path is longer than this tool takes (511 bytes)");
	return 0;
}

static int examine(const char *path, struct stat *st, struct error *err)
{
	if (stat(path, st) < 0) {
		int why = errno;

		error_sys(err, why == ENOENT || why == ENOTDIR ? ERROR_USAGE : ERROR_IO, why,
			"cannot find target '%s'", path);
		if (why == ENOENT)
			error_add(err, "; 'blkassay targets' lists the devices here");
		return -1;
	}
	if (!S_ISBLK(st->st_mode) && !S_ISREG(st->st_mode))
		return error_set(err, ERROR_REFUSED,
			"'%s' is %s; a target is a block device or an image file", path,
			S_ISDIR(st->st_mode)    ? "a directory"
			: S_ISCHR(st->st_mode)  ? "a character device"
			: S_ISFIFO(st->st_mode) ? "a pipe"
						: "neither a block device nor a regular file");
	return 0;
}

static int explain_open(const char *path, enum medium_access access, int saved, struct error *err)
{
	const char *verb = access == MEDIUM_READ_WRITE ? "writing" : "reading";

	if (saved == EBUSY)
		return error_set(err, ERROR_REFUSED,
			"cannot open '%s' for %s: it is in use (mounted, swap, or held by another "
			"driver or program); unmount it or stop what uses it",
			path, verb);
	if (saved == EINVAL)
		return error_set(err, ERROR_REFUSED,
			"'%s' is on a filesystem without direct I/O (O_DIRECT); use a file on a "
			"disk filesystem such as ext4 or xfs, or a block device",
			path);
	error_sys(err, ERROR_IO, saved, "cannot open '%s' for %s", path, verb);
	if (saved == EACCES || saved == EPERM)
		error_add(err, "; run as root or join the group that owns it (often 'disk')");
	if (saved == ENOMEDIUM)
		error_add(err, "; insert the card");
	return -1;
}

static struct raw *raw_new(const char *path)
{
	struct raw *r = calloc(1, sizeof *r);

	if (!r)
		return NULL;
	r->medium.ops = &raw_ops;
	r->fd = r->stat_fd = r->error_fds[0] = r->error_fds[1] = -1;
	text_copy(r->medium.traits.path, sizeof r->medium.traits.path, path);
	return r;
}

static int open_flags(enum medium_access access)
{
	return O_DIRECT | O_CLOEXEC | (access == MEDIUM_READ_WRITE ? O_RDWR : O_RDONLY);
}

/* By name, so the device must be the one that was examined. */
static int open_device(
	struct raw *r, const struct stat *before, enum medium_access access, struct error *err)
{
	const char *path = r->medium.traits.path;
	struct stat after;

	r->fd = open(path, open_flags(access) | O_EXCL); /* EBUSY while anyone else holds it */
	if (r->fd < 0)
		return explain_open(path, access, errno, err);
	if (fstat(r->fd, &after) < 0 || after.st_ino != before->st_ino ||
		after.st_dev != before->st_dev || after.st_rdev != before->st_rdev)
		return error_set(err, ERROR_REFUSED,
			"'%s' changed while it was being opened; try again", path);
	return describe_device(r, &after, access, err);
}

static int open_image(struct raw *r, enum medium_access access, struct error *err)
{
	const char *path = r->medium.traits.path;
	struct stat st;
	int fd = hold_reopen(r->hold, open_flags(access));

	if (fd < 0)
		return explain_open(path, access, -fd, err);
	r->fd = fd;
	if (fstat(fd, &st) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot look at '%s'", path);
	if (lies_in_memory(fd))
		return error_set(err, ERROR_REFUSED,
			"'%s' is on a memory filesystem, which has no direct I/O (O_DIRECT); use a "
			"file on a disk filesystem such as ext4 or xfs, or a block device",
			path);
	describe_image(r, &st);
	return 0;
}

/* The kernel keeps a device to one opener, but not a file. */
static int hold_for(struct raw *r, enum medium_access access, struct error *err)
{
	const char *path = r->medium.traits.path;
	bool writing = access == MEDIUM_READ_WRITE;
	int rc = hold_image(&r->hold, path, writing, err);

	if (rc > 0)
		return error_set(err, ERROR_REFUSED,
			"'%s' changed while it was being opened; try again", path);
	r->owns_hold = rc == 0;
	return !rc && writing ? hold_for_writing(r->hold, err) : rc;
}

/* What is held is opened by its hold; anything else by its name. */
static int open_somehow(struct raw *r, enum medium_access access, struct error *err)
{
	struct stat st;

	if (r->hold && hold_is_image(r->hold))
		return open_image(r, access, err);
	if (examine(r->medium.traits.path, &st, err) < 0)
		return -1;
	if (S_ISBLK(st.st_mode))
		return open_device(r, &st, access, err);
	if (r->hold)
		return error_set(err, ERROR_REFUSED,
			"'%s' changed while it was being opened; try again", r->medium.traits.path);
	return hold_for(r, access, err) < 0 ? -1 : open_image(r, access, err);
}

int raw_open_held(struct medium **out, struct hold *hold, const char *path,
	enum medium_access access, struct error *err)
{
	struct raw *r;

	*out = NULL;
	if (check_path(path, err) < 0)
		return -1;
	r = raw_new(path);
	if (!r)
		return error_set(err, ERROR_IO, "out of memory");
	r->hold = hold;
	if (open_somehow(r, access, err) == 0 && describe_alignment(r, err) == 0 &&
		probe_direct_read(r, err) == 0) {
		*out = &r->medium;
		return 0;
	}
	raw_close(&r->medium);
	return -1;
}

int raw_open(struct medium **out, const char *path, enum medium_access access, struct error *err)
{
	return raw_open_held(out, NULL, path, access, err);
}
