/* One descriptor to hold, one that writes and locks, and whoever may come besides. */
#include "platform/hold.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdatomic.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"
#include "base/own_file.h"
#include "base/text.h"
#include "platform/beneath.h"
#include "platform/file_lock.h"
#include "platform/loop.h"
#include "platform/loop_watch.h"
#include "platform/openers.h"
#include "platform/overlay.h"
#include "platform/usage.h"

enum { LEVELS_MAX = 8 }; /* of files with filesystems in them, one in the other */

static const uint64_t look_every_ns = 4000000;

struct hold {
	char path[512]; /* as the user named it; the node of a loop device */
	char place[PATH_MAX]; /* full path of the file, when it was opened */
	char disk[64]; /* kernel name of the block device; "": an image */
	bool writing;
	bool made; /* by this run */
	bool ready; /* to be written */
	int first; /* found the file, or made it; -1: no file, a device that is none's loop device */
	int writer; /* open for writing, and locked; -1 */
	int beneath
		[LEVELS_MAX]; /* files with a filesystem that this one lies in, locked against writers */
	unsigned levels;
	int upper; /* the same file past the overlay it is on; -1: none that can be seen */
	int opened; /* inotify; -1 */
	off_t size;
	_Atomic uint64_t due_ns;
	pthread_mutex_t lock; /* of what follows */
	struct loop_watch loops, upper_loops;
	atomic_bool lost; /* once set, `why` stays */
	struct error why;
};

/* ---- opening ---- */

static int reopen(int fd, int flags)
{
	char self[40];
	int again;

	snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
	again = open(self, flags | O_CLOEXEC);
	return again < 0 ? -errno : again;
}

static struct hold *hold_new(const char *path, int fd, bool writing)
{
	struct hold *h = calloc(1, sizeof *h);

	if (!h)
		return NULL;
	text_copy(h->path, sizeof h->path, path);
	h->writing = writing;
	h->first = fd;
	h->writer = h->upper = h->opened = -1;
	pthread_mutex_init(&h->lock, NULL);
	loop_watch_init(&h->loops);
	loop_watch_init(&h->upper_loops);
	return h;
}

void hold_release(struct hold *h)
{
	if (!h)
		return;
	for (unsigned i = 0; i < h->levels; i++)
		close(h->beneath[i]);
	if (h->opened >= 0)
		close(h->opened);
	if (h->upper >= 0)
		close(h->upper);
	if (h->writer >= 0)
		close(h->writer);
	if (h->first >= 0)
		close(h->first);
	loop_watch_release(&h->loops);
	loop_watch_release(&h->upper_loops);
	pthread_mutex_destroy(&h->lock);
	free(h);
}

static int refuse_locked(const struct hold *h, int fd, const char *what, struct error *err)
{
	struct opener o;
	struct stat st;
	char who[112];
	bool known = fstat(fd, &st) == 0 && opener_find(&o, &st, OPENER_LOCKS);

	return error_set(err, ERROR_REFUSED,
		"'%s' is in use by another program: %s has locked %s; wait for that or stop it",
		h->path, known ? opener_words(who, &o) : "somebody", what);
}

static const char *what_is_locked(const struct hold *h)
{
	return *h->disk ? "the file beneath" : "it";
}

/* Where this is not to be had, loop devices are looked for all the same. */
static void watch_openings(const struct hold *h, int fd)
{
	char self[40];

	snprintf(self, sizeof self, "/proc/self/fd/%d", fd);
	if (h->opened >= 0)
		(void)inotify_add_watch(h->opened, self, IN_OPEN);
}

/* Tokens are made of it, so half a path will not do. */
static int find_place(struct hold *h, struct error *err)
{
	char self[40];
	ssize_t n;

	snprintf(self, sizeof self, "/proc/self/fd/%d", h->first);
	n = readlink(self, h->place, sizeof h->place);
	if (n < 0 || (size_t)n == sizeof h->place)
		return error_sys(err, ERROR_IO, n < 0 ? errno : ENAMETOOLONG,
			"cannot find out the full path of '%s'", h->path);
	h->place[n] = 0;
	return 0;
}

/* Locked, and its openings noticed from here on. */
static int begin(struct hold *h, struct error *err)
{
	struct stat st;

	if (find_place(h, err) < 0)
		return -1;
	if (fstat(h->first, &st) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot look at '%s'", h->path);
	h->size = st.st_size;
	if (file_lock(h->first, h->writing) < 0)
		return refuse_locked(h, h->first, what_is_locked(h), err);
	if (h->writing) {
		h->opened = inotify_init1(IN_NONBLOCK | IN_CLOEXEC);
		watch_openings(h, h->first);
	}
	return 0;
}

static int explain_open(int rc, const char *path, const char *verb, struct error *err)
{
	error_sys(err, ERROR_IO, -rc, "cannot open '%s' for %s", path, verb);
	if (rc == -EACCES || rc == -EPERM)
		error_add(err, "; run as root or as who owns it");
	return -1;
}

/* fd is the hold's, or on failure still the caller's. */
static int hold_fd(struct hold **out, int fd, const char *path, const char *disk, bool writing,
	struct error *err)
{
	struct hold *h = hold_new(path, fd, writing);

	if (!h)
		return error_set(err, ERROR_IO, "out of memory");
	text_copy(h->disk, sizeof h->disk, disk);
	if (fd >= 0 && begin(h, err) < 0) {
		h->first = -1;
		hold_release(h);
		return -1;
	}
	*out = h;
	return 0;
}

/* A descriptor that is good for looking only: devices and pipes are not touched by it. -ENOENT when there is no such file. */
static int find_regular(const char *path)
{
	struct stat st;
	int fd = open(path, O_PATH | O_CLOEXEC), rc;

	if (fd < 0)
		return errno == ENOTDIR ? -ENOENT : -errno;
	rc = fstat(fd, &st) < 0 ? -errno : S_ISREG(st.st_mode) ? fd : -ENOENT;
	if (rc < 0)
		close(fd);
	return rc;
}

int hold_image(struct hold **out, const char *path, bool writing, struct error *err)
{
	int found = find_regular(path), fd, rc;

	*out = NULL;
	if (found == -ENOENT)
		return 1;
	if (found < 0)
		return explain_open(found, path, "reading", err);
	fd = reopen(found, O_RDONLY);
	close(found);
	if (fd < 0)
		return explain_open(fd, path, "reading", err);
	rc = hold_fd(out, fd, path, "", writing, err);
	if (rc < 0)
		close(fd);
	return rc;
}

int hold_made(struct hold **out, int fd, const char *path, struct error *err)
{
	int rc = hold_fd(out, fd, path, "", true, err);

	if (!rc)
		(*out)->made = true;
	return rc;
}

static int explain_beneath(int rc, const char *node, struct error *err)
{
	if (rc == -ESTALE)
		return error_set(err, ERROR_REFUSED,
			"the file beneath '%s' cannot be reached from here (removed, or attached "
			"elsewhere), so nothing tells whether another program uses it; detach it, "
			"and attach the file under a name it has here",
			node);
	return error_sys(err, ERROR_REFUSED, -rc,
		"the file beneath '%s' cannot be opened, so it is not locked against other "
		"programs",
		node);
}

int hold_device(
	struct hold **out, const char *disk, const char *node, bool writing, struct error *err)
{
	int fd = loop_open_file("/sys", disk, O_RDONLY), rc;

	*out = NULL;
	if (fd < 0 && fd != -ENXIO && fd != -ENOTSUP && writing) /* reading harms nobody */
		return explain_beneath(fd, node, err);
	rc = hold_fd(out, fd < 0 ? -1 : fd, node, disk, writing, err);
	if (rc < 0 && fd >= 0)
		close(fd);
	return rc;
}

/* ---- before writing ---- */

static int refuse_written(const struct hold *h, const struct opener *o, struct error *err)
{
	char who[112];

	return error_set(err, ERROR_REFUSED,
		"%s'%s' is open for writing by another program: %s; wait for that or stop it",
		*h->disk ? "the file beneath " : "", h->path,
		o ? opener_words(who, o) : "the kernel does not tell which");
}

static int refuse_writers(const struct hold *h, struct error *err)
{
	/* A loop device has it open itself, and a file just made is open here. */
	int written = *h->disk || h->made ? -ENOTSUP : file_is_written(h->first);
	struct opener o;
	struct stat st;

	if (written == 0)
		return 0;
	if (fstat(h->first, &st) == 0 && opener_find(&o, &st, OPENER_WRITES))
		return refuse_written(h, &o, err);
	return written > 0 ? refuse_written(h, NULL, err) : 0;
}

static int visit_beneath(void *context, const struct beneath_disk *below);

struct descent {
	struct hold *hold;
	struct error *err;
};

/* The files that the filesystem of fd lies in. What cannot be found out about what lies beneath is no reason to refuse: who writes
 * such a file finds the loop device on it, with a filesystem in use. */
static int lock_filesystem(struct hold *h, int fd, struct error *err)
{
	struct descent d = { h, err };
	struct beneath_disk under;
	unsigned major, minor;

	if (!usage_device_of_file(NULL, fd, &major, &minor) ||
		beneath_of_number(&under, "/sys", major, minor) < 0)
		return 0;
	return visit_beneath(&d, &under) > 0 ? -1 : 0;
}

/* Shared: filesystems of several runs may lie in one file. */
static int lock_beneath(struct hold *h, const char *disk, struct error *err)
{
	int fd = h->levels < LEVELS_MAX ? loop_open_file("/sys", disk, O_RDONLY) : -ELOOP;

	if (fd < 0)
		return 0;
	h->beneath[h->levels++] = fd;
	if (file_lock(fd, false) < 0)
		return refuse_locked(h, fd, "the file that its filesystem lies in", err);
	return lock_filesystem(h, fd, err);
}

/* 1: refused. */
static int visit_beneath(void *context, const struct beneath_disk *below)
{
	const struct descent *d = context;

	if (lock_beneath(d->hold, below->disk, d->err) < 0)
		return 1;
	return beneath_each("/sys", below->disk, visit_beneath, context) > 0;
}

static int open_writer(struct hold *h, struct error *err)
{
	h->writer = reopen(h->first, O_RDWR);
	/* Below a loop device that may be written lies a file that need not be ours to write. */
	if (h->writer < 0 && *h->disk)
		return 0;
	if (h->writer < 0)
		return explain_open(h->writer, h->path, "writing", err);
	/* flock is with the first descriptor; this is the other kind, which only a writer can have alone. */
	return file_lock_description(h->writer, true) < 0
		       ? refuse_locked(h, h->first, what_is_locked(h), err)
		       : 0;
}

/* Opened for writing, it is in the upper folder of its overlay, if it is on one. */
static int lock_upper(struct hold *h, struct error *err)
{
	struct opener o;
	struct stat st;
	char name[64];

	h->upper = overlay_open_upper(h->first);
	if (h->upper < 0)
		return 0;
	watch_openings(h, h->upper);
	if (file_lock(h->upper, true) < 0)
		return refuse_locked(h, h->upper, "the file it really is, below an overlay", err);
	if (fstat(h->upper, &st) < 0)
		return error_sys(err, ERROR_IO, errno, "cannot look at '%s'", h->path);
	if (opener_find(&o, &st, OPENER_WRITES))
		return refuse_written(h, &o, err);
	if (loop_watch_look(&h->upper_loops, &(struct loop_watched){ &st, NULL }, name) == 1)
		return error_set(err, ERROR_REFUSED,
			"'%s' is in use: '%s' is built on the file it really is, below an overlay; "
			"detach that first",
			h->path, name);
	return 0;
}

int hold_for_writing(struct hold *h, struct error *err)
{
	if (h->ready || h->first < 0) /* from here on hold_check looks */
		return 0;
	if (refuse_writers(h, err) < 0 || (!h->made && open_writer(h, err) < 0) ||
		lock_upper(h, err) < 0 || lock_filesystem(h, h->first, err) < 0)
		return -1;
	h->ready = true;
	return 0;
}

/* ---- while it is held ---- */

int hold_reopen(const struct hold *h, int flags)
{
	return reopen(h->first, flags);
}

bool hold_is_image(const struct hold *h)
{
	return !*h->disk;
}

int hold_stat(const struct hold *h, struct stat *st)
{
	if (h->first < 0)
		return -ENOENT;
	return fstat(h->first, st) < 0 ? -errno : 0;
}

const char *hold_place(const struct hold *h)
{
	return h->place;
}

bool hold_is_where_it_was(const struct hold *h)
{
	struct loop_base base;
	struct stat st;

	return hold_is_image(h) || (h->first >= 0 && loop_base_read(&base, "/sys", h->disk) == 1 &&
					   fstat(h->first, &st) == 0 && !base.is_device &&
					   base.device == st.st_dev && base.inode == st.st_ino);
}

static uint64_t coarse_now_ns(void)
{
	struct timespec t = { 0 };

	clock_gettime(CLOCK_MONOTONIC_COARSE, &t);
	return (uint64_t)t.tv_sec * 1000000000 + (uint64_t)t.tv_nsec;
}

static int check_image(const struct hold *h, const struct stat *st, struct error *why)
{
	if (st->st_size != h->size)
		return error_set(why, ERROR_IO,
			"the length of '%s' changed during this run: %lld bytes instead of %lld; "
			"nothing more was written; find out what did that",
			h->path, (long long)st->st_size, (long long)h->size);
	if (h->writing && !st->st_nlink)
		return error_set(why, ERROR_IO,
			"'%s' was removed during this run: the file it used no longer has a name; "
			"nothing more was written; make a new image",
			h->path);
	return 0;
}

static int check_loops(
	struct hold *h, struct loop_watch *loops, const struct stat *file, struct error *why)
{
	const struct loop_watched under = { file, *h->disk ? h->disk : NULL };
	char name[64];
	int rc;

	if (!loop_watch_is_due(loops))
		return 0;
	rc = loop_watch_look(loops, &under, name);
	if (rc < 0) /* a device may go while it is asked */
		rc = loop_watch_look(loops, &under, name);
	if (rc < 0)
		return error_sys(why, ERROR_IO, -rc,
			"can no longer find out whether a loop device lies on '%s'; nothing more "
			"was written; look for one with losetup -a",
			h->path);
	return rc ? error_set(why, ERROR_IO,
			    "a loop device, '/dev/%s', was put on '%s'%s during this run, so "
			    "somebody else may write there too; nothing more was written; detach "
			    "it (losetup -d /dev/%s)",
			    name, h->path, *h->disk && file ? " or on the file beneath it" : "",
			    name)
		  : 0;
}

static bool was_opened(const struct hold *h)
{
	char events[4096] __attribute__((aligned(__alignof__(struct inotify_event))));
	bool any = false;

	while (h->opened >= 0 && read(h->opened, events, sizeof events) > 0)
		any = true;
	return any;
}

static int explain_opened(const struct hold *h, const struct opener *o, struct error *why)
{
	char who[112];

	return error_set(why, ERROR_IO,
		"%s'%s' was opened for writing by another program, %s, during this run; nothing "
		"more was written; stop it",
		*h->disk ? "the file beneath " : "", h->path, opener_words(who, o));
}

static int check_others(struct hold *h, const struct stat *st, struct error *why)
{
	struct stat upper;
	struct opener o;
	bool has_upper = h->upper >= 0 && fstat(h->upper, &upper) == 0;

	if (check_loops(h, &h->loops, st, why) < 0 ||
		(has_upper && check_loops(h, &h->upper_loops, &upper, why) < 0))
		return -1;
	if (st && was_opened(h) &&
		(opener_find(&o, st, OPENER_WRITES) ||
			(has_upper && opener_find(&o, &upper, OPENER_WRITES))))
		return explain_opened(h, &o, why);
	return 0;
}

static int look(struct hold *h, struct error *why)
{
	struct stat st;
	bool has_file = h->first >= 0;

	if (has_file && fstat(h->first, &st) < 0)
		return error_sys(why, ERROR_IO, errno, "can no longer look at '%s'", h->path);
	if (has_file && hold_is_image(h) && check_image(h, &st, why) < 0)
		return -1;
	return h->writing ? check_others(h, has_file ? &st : NULL, why) : 0;
}

static bool is_due(struct hold *h, enum hold_look how)
{
	uint64_t now = coarse_now_ns();

	if (how == HOLD_DUE &&
		(!h->writing || now < atomic_load_explicit(&h->due_ns, memory_order_relaxed)))
		return false;
	atomic_store_explicit(&h->due_ns, now + look_every_ns, memory_order_relaxed);
	return true;
}

int hold_check(struct hold *h, enum hold_look how, struct error *why)
{
	if (!atomic_load_explicit(&h->lost, memory_order_acquire) && !is_due(h, how))
		return 0;
	pthread_mutex_lock(&h->lock);
	if (!h->lost && look(h, &h->why) < 0)
		atomic_store_explicit(&h->lost, true, memory_order_release);
	if (h->lost && why)
		*why = h->why;
	pthread_mutex_unlock(&h->lock);
	return h->lost ? -1 : 0;
}

int hold_unlink(const struct hold *h)
{
	return h->made ? own_file_unlink(h->first, h->path) : 1;
}

int hold_check_name(const struct hold *h, struct error *err)
{
	struct stat own = { 0 }, named;
	char self[40], now[PATH_MAX];
	ssize_t n;

	if (*h->disk || (fstat(h->first, &own) == 0 && stat(h->path, &named) == 0 &&
				own.st_dev == named.st_dev && own.st_ino == named.st_ino))
		return 0;
	snprintf(self, sizeof self, "/proc/self/fd/%d", h->first);
	n = readlink(self, now, sizeof now - 1);
	now[n > 0 ? n : 0] = 0;
	if (!own.st_nlink)
		text_copy(now, sizeof now, "nowhere: it no longer has a name");
	return error_set(err, ERROR_IO,
		"'%s' no longer names the file it named when this run began: another was put "
		"there, or it was moved; only the first one was read and written; it is now %s",
		h->path, now);
}
