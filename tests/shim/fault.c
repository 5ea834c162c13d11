/* Makes the n-th library call of one kind fail, in a program that knows nothing of it (LD_PRELOAD).
 *
 *   FAULT_CALL   open read pread write pwrite sync ioctl stat close size name stream thread memory (tests/shim/kinds.h)
 *   FAULT_NTH    1, 2, ...: which call of this kind
 *   FAULT_ERROR  an errno as a number, or "short": the call does half of what was asked, or "lie": a direct read gives one
 *                bit of what it read flipped, and says nothing
 *   FAULT_LAST   set: every later call of the kind fails too (a device that is gone stays gone)
 *   FAULT_HASTE  set: naps end at once
 *   FAULT_LOG    a file that gets one line, the call's name, when it fails
 *   FAULT_TRACE  a file that gets one line for each write and sync that is let through: "write FILE KIND" (write(2); KIND:
 *                the second word of what is written, if it is a line of a record), "put FILE" (pwrite), "sync FILE"
 *
 * A failing call has no effect, as with the kernel, but for close: there the descriptor is gone whatever is returned
 * (close(2), "Dealing with error returns from close()"). Built without _FILE_OFFSET_BITS, so that both names of a call
 * can be had. */
#include <dirent.h>
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <sys/vfs.h>
#include <time.h>
#include <unistd.h>

#include "shim/kinds.h"

enum verdict { PASS, FAIL, SHORT, LIE };

enum { LYING = -1 }; /* fault.code */

static struct {
	enum fault_kind kind;
	unsigned long nth;
	int code; /* errno; 0: short */
	bool lasting, hasty;
	const char *log, *trace;
	atomic_ulong seen;
	atomic_bool armed;
} fault;

/* glibc's own allocator under the names it keeps for this purpose. */
void *__libc_malloc(size_t n);
void *__libc_calloc(size_t count, size_t n);
void *__libc_realloc(void *p, size_t n);
void *__libc_memalign(size_t align, size_t n);

static void append_line(const char *path, const char *line)
{
	char text[160];
	int fd, n = snprintf(text, sizeof text, "%s\n", line);

	fd = (int)syscall(
		SYS_openat, AT_FDCWD, path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666);
	if (fd < 0)
		return;
	(void)!syscall(SYS_write, fd, text, (size_t)n);
	syscall(SYS_close, fd);
}

static void note(const char *name)
{
	if (fault.log)
		append_line(fault.log, name);
}

/* The base name of an open file; its folder's own for a folder. */
static void name_of(char out[64], int fd)
{
	char link[64], path[4096];
	const char *slash;
	ssize_t n;

	snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
	n = (ssize_t)syscall(SYS_readlinkat, AT_FDCWD, link, path, sizeof path - 1);
	path[n > 0 ? n : 0] = 0;
	slash = strrchr(path, '/');
	snprintf(out, 64, "%.63s", slash ? slash + 1 : path);
}

/* bytes: NULL, or what is written. */
static void trace(const char *what, int fd, const char *bytes, size_t length)
{
	char name[64], line[160], kind[32] = "";
	size_t number = 0;

	if (!fault.trace || fd <= 2)
		return;
	while (bytes && number < length && bytes[number] >= '0' && bytes[number] <= '9')
		number++;
	if (number && number + 1 < length && bytes[number] == ' ')
		for (size_t i = 0; i < sizeof kind - 1 && number + 1 + i < length &&
				   bytes[number + 1 + i] != ' ';
			i++)
			kind[i] = bytes[number + 1 + i];
	name_of(name, fd);
	snprintf(line, sizeof line, "%s %s %s", what, name, kind);
	append_line(fault.trace, line);
}

/* Counts one call and says what becomes of it; errno is set when it fails. */
static enum verdict judge(enum fault_kind kind, const char *name)
{
	unsigned long n;

	if (!fault.armed || kind != fault.kind)
		return PASS;
	n = ++fault.seen;
	if (n < fault.nth || (n > fault.nth && !fault.lasting))
		return PASS;
	if (n == fault.nth)
		note(name);
	if (fault.code == LYING)
		return LIE;
	if (!fault.code)
		return SHORT;
	errno = fault.code;
	return FAIL;
}

__attribute__((constructor)) static void arm(void)
{
	const char *call = getenv("FAULT_CALL"), *nth = getenv("FAULT_NTH"),
		   *error = getenv("FAULT_ERROR");

	if (!call || !nth || !error)
		return;
	for (int k = 0; k < FAULT_KINDS; k++)
		if (!strcmp(call, fault_kind_names[k]))
			fault.kind = (enum fault_kind)k, fault.armed = true;
	fault.nth = strtoul(nth, NULL, 10);
	fault.code = !strcmp(error, "short") ? 0 : !strcmp(error, "lie") ? LYING : atoi(error);
	fault.lasting = getenv("FAULT_LAST") != NULL;
	fault.hasty = getenv("FAULT_HASTE") != NULL;
	fault.log = getenv("FAULT_LOG");
	fault.trace = getenv("FAULT_TRACE");
	if (!fault.armed) {
		static const char words[] = "fault: FAULT_CALL names no kind of call\n";

		(void)!syscall(SYS_write, 2, words, sizeof words - 1);
		syscall(SYS_exit_group, 99);
	}
}

/* Half of it, in whole sectors when there are any. */
static size_t half(size_t n)
{
	return n > 512 ? n / 2 & ~(size_t)511 : n / 2;
}

#define NEXT(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))

/* open */

static mode_t mode_of(int flags, va_list ap)
{
	return flags & (O_CREAT | __O_TMPFILE) ? va_arg(ap, mode_t) : 0;
}

#define WRAP_OPEN(name)                                                       \
	int name(const char *path, int flags, ...)                            \
	{                                                                     \
		va_list ap;                                                   \
		mode_t mode;                                                  \
                                                                              \
		va_start(ap, flags);                                          \
		mode = mode_of(flags, ap);                                    \
		va_end(ap);                                                   \
		if (judge(FAULT_OPEN, #name) == FAIL)                         \
			return -1;                                            \
		return (int)syscall(SYS_openat, AT_FDCWD, path, flags, mode); \
	}
#define WRAP_OPENAT(name)                                                \
	int name(int dir, const char *path, int flags, ...)              \
	{                                                                \
		va_list ap;                                              \
		mode_t mode;                                             \
                                                                         \
		va_start(ap, flags);                                     \
		mode = mode_of(flags, ap);                               \
		va_end(ap);                                              \
		if (judge(FAULT_OPEN, #name) == FAIL)                    \
			return -1;                                       \
		return (int)syscall(SYS_openat, dir, path, flags, mode); \
	}
WRAP_OPEN(open)
WRAP_OPEN(open64)
WRAP_OPENAT(openat)
WRAP_OPENAT(openat64)

FILE *fopen(const char *path, const char *how)
{
	return judge(FAULT_OPEN, "fopen") == FAIL ? NULL : NEXT(fopen)(path, how);
}

FILE *fopen64(const char *path, const char *how)
{
	return judge(FAULT_OPEN, "fopen") == FAIL ? NULL : NEXT(fopen)(path, how);
}

DIR *opendir(const char *path)
{
	return judge(FAULT_OPEN, "opendir") == FAIL ? NULL : NEXT(opendir)(path);
}

/* Reading and writing. A descriptor opened for direct I/O takes whole sectors only, so half of one is nothing. */

#define MOVE(kind, name, call, n)    \
	switch (judge(kind, name)) { \
	case FAIL:                   \
		return -1;           \
	case SHORT:                  \
		(n) = half(n);       \
		break;               \
	case LIE:                    \
	case PASS:                   \
		break;               \
	}                            \
	return call

ssize_t read(int fd, void *buf, size_t n)
{
	MOVE(FAULT_READ, "read", syscall(SYS_read, fd, buf, n), n);
}

ssize_t write(int fd, const void *buf, size_t n)
{
	trace("write", fd, buf, n);
	MOVE(FAULT_WRITE, "write", syscall(SYS_write, fd, buf, n), n);
}

static ssize_t at(long number, int fd, void *buf, size_t n, off_t offset)
{
	/* Less than a sector: as if the end of the device had been met. */
	return n % 512 && n < 512 && fcntl(fd, F_GETFL) & O_DIRECT
		       ? 0
		       : syscall(number, fd, buf, n, offset);
}

/* Only what comes from the target, by direct I/O, lies. */
static ssize_t lie(int fd, void *buf, ssize_t n)
{
	if (n > 0 && fcntl(fd, F_GETFL) & O_DIRECT)
		((unsigned char *)buf)[n / 2] ^= 0x10;
	return n;
}

static ssize_t read_at(const char *name, int fd, void *buf, size_t n, off_t offset)
{
	enum verdict v = judge(FAULT_PREAD, name);

	if (v == FAIL)
		return -1;
	if (v == LIE)
		return lie(fd, buf, at(SYS_pread64, fd, buf, n, offset));
	return at(SYS_pread64, fd, buf, v == SHORT ? half(n) : n, offset);
}

#define WRAP_PREAD(name)                                        \
	ssize_t name(int fd, void *buf, size_t n, off_t offset) \
	{                                                       \
		return read_at(#name, fd, buf, n, offset);      \
	}
#define WRAP_PWRITE(name)                                                                   \
	ssize_t name(int fd, const void *buf, size_t n, off_t offset)                       \
	{                                                                                   \
		trace("put", fd, NULL, 0);                                                  \
		MOVE(FAULT_PWRITE, #name, at(SYS_pwrite64, fd, (void *)buf, n, offset), n); \
	}
WRAP_PREAD(pread)
WRAP_PREAD(pread64)
WRAP_PWRITE(pwrite)
WRAP_PWRITE(pwrite64)

#define WRAP_PWRITEV2(name)                                                                  \
	ssize_t name(int fd, const struct iovec *v, int count, off_t offset, int flags)      \
	{                                                                                    \
		struct iovec one = *v;                                                       \
                                                                                             \
		trace("put", fd, NULL, 0);                                                   \
		switch (judge(FAULT_PWRITE, #name)) {                                        \
		case FAIL:                                                                   \
			return -1;                                                           \
		case SHORT:                                                                  \
			one.iov_len = half(one.iov_len);                                     \
			if (one.iov_len < 512)                                               \
				return 0;                                                    \
			return syscall(SYS_pwritev2, fd, &one, 1L, offset, 0L, (long)flags); \
		case LIE:                                                                    \
		case PASS:                                                                   \
			break;                                                               \
		}                                                                            \
		return syscall(SYS_pwritev2, fd, v, (long)count, offset, 0L, (long)flags);   \
	}
WRAP_PWRITEV2(pwritev2)
WRAP_PWRITEV2(pwritev64v2)

/* Syncs, questions, ends */

#define WRAP(kind, name, parameters, arguments)                                \
	int name parameters                                                    \
	{                                                                      \
		return judge(kind, #name) == FAIL ? -1 : NEXT(name) arguments; \
	}
#define WRAP_SYNC(name)                               \
	int name(int fd)                              \
	{                                             \
		if (judge(FAULT_SYNC, #name) == FAIL) \
			return -1;                    \
		trace("sync", fd, NULL, 0);           \
		return NEXT(name)(fd);                \
	}
WRAP_SYNC(fsync)
WRAP_SYNC(fdatasync)
WRAP_SYNC(syncfs)
WRAP(FAULT_STAT, stat, (const char *path, struct stat *st), (path, st))
WRAP(FAULT_STAT, stat64, (const char *path, struct stat64 *st), (path, st))
WRAP(FAULT_STAT, lstat, (const char *path, struct stat *st), (path, st))
WRAP(FAULT_STAT, lstat64, (const char *path, struct stat64 *st), (path, st))
WRAP(FAULT_STAT, fstat, (int fd, struct stat *st), (fd, st))
WRAP(FAULT_STAT, fstat64, (int fd, struct stat64 *st), (fd, st))
WRAP(FAULT_STAT, statx, (int d, const char *p, int f, unsigned m, struct statx *s), (d, p, f, m, s))
WRAP(FAULT_STAT, fstatfs, (int fd, struct statfs *st), (fd, st))
WRAP(FAULT_STAT, fstatfs64, (int fd, struct statfs64 *st), (fd, st))
WRAP(FAULT_STAT, statfs, (const char *path, struct statfs *st), (path, st))
WRAP(FAULT_STAT, statfs64, (const char *path, struct statfs64 *st), (path, st))
WRAP(FAULT_SIZE, ftruncate, (int fd, off_t n), (fd, n))
WRAP(FAULT_SIZE, ftruncate64, (int fd, off64_t n), (fd, n))
WRAP(FAULT_SIZE, fallocate, (int fd, int mode, off_t at, off_t n), (fd, mode, at, n))
WRAP(FAULT_SIZE, fallocate64, (int fd, int mode, off64_t at, off64_t n), (fd, mode, at, n))
WRAP(FAULT_NAME, rename, (const char *from, const char *to), (from, to))
WRAP(FAULT_NAME, link, (const char *from, const char *to), (from, to))
WRAP(FAULT_NAME, unlink, (const char *path), (path))
WRAP(FAULT_NAME, mkdir, (const char *path, mode_t mode), (path, mode))

int nanosleep(const struct timespec *nap, struct timespec *left)
{
	static const struct timespec no_time;

	return NEXT(nanosleep)(fault.hasty ? &no_time : nap, left);
}

off_t lseek(int fd, off_t n, int from)
{
	return judge(FAULT_SIZE, "lseek") == FAIL ? -1 : syscall(SYS_lseek, fd, n, from);
}

off64_t lseek64(int fd, off64_t n, int from)
{
	return judge(FAULT_SIZE, "lseek") == FAIL ? -1 : syscall(SYS_lseek, fd, n, from);
}

/* These two return the error. */
#define WRAP_ALLOCATE(name)                                                               \
	int name(int fd, off_t at_, off_t n)                                              \
	{                                                                                 \
		return judge(FAULT_SIZE, #name) == FAIL ? errno : NEXT(name)(fd, at_, n); \
	}
WRAP_ALLOCATE(posix_fallocate)
WRAP_ALLOCATE(posix_fallocate64)

ssize_t readlink(const char *path, char *buf, size_t n)
{
	return judge(FAULT_NAME, "readlink") == FAIL ? -1 : NEXT(readlink)(path, buf, n);
}

char *realpath(const char *path, char *out)
{
	return judge(FAULT_NAME, "realpath") == FAIL ? NULL : NEXT(realpath)(path, out);
}

int ioctl(int fd, unsigned long request, ...)
{
	va_list ap;
	void *argument;

	va_start(ap, request);
	argument = va_arg(ap, void *);
	va_end(ap);
	if (judge(FAULT_IOCTL, "ioctl") == FAIL)
		return -1;
	return (int)syscall(SYS_ioctl, fd, request, argument);
}

int close(int fd)
{
	enum verdict v = judge(FAULT_CLOSE, "close");
	int saved = errno, rc = (int)syscall(SYS_close, fd);

	if (v != FAIL)
		return rc;
	errno = saved;
	return -1;
}

int pthread_create(
	pthread_t *out, const pthread_attr_t *attributes, void *(*run)(void *), void *argument)
{
	if (judge(FAULT_THREAD, "pthread_create") == FAIL)
		return errno;
	return NEXT(pthread_create)(out, attributes, run, argument);
}

/* Streams and folders; a failed stream says so ever after, as glibc's own does. */

/* Messages on stderr are what a failure is judged by. */
static bool stream_fails(const char *name, FILE *f)
{
	return f != stderr && judge(FAULT_STREAM, name) != PASS;
}

static int spoil(FILE *f)
{
	f->_flags |= 0x20; /* _IO_ERR_SEEN */
	return EOF;
}

size_t fwrite(const void *bytes, size_t size, size_t count, FILE *f)
{
	if (stream_fails("fwrite", f)) {
		spoil(f);
		return 0;
	}
	return NEXT(fwrite)(bytes, size, count, f);
}

int fputs(const char *text, FILE *f)
{
	return stream_fails("fputs", f) ? spoil(f) : NEXT(fputs)(text, f);
}

int fflush(FILE *f)
{
	return stream_fails("fflush", f) ? spoil(f) : NEXT(fflush)(f);
}

int fclose(FILE *f)
{
	bool failed = stream_fails("fclose", f);
	int saved = errno, rc = NEXT(fclose)(f);

	errno = failed ? saved : errno;
	return failed ? EOF : rc;
}

ssize_t getline(char **line, size_t *room, FILE *f)
{
	return judge(FAULT_STREAM, "getline") != PASS ? spoil(f) : NEXT(getline)(line, room, f);
}

struct dirent *readdir(DIR *d)
{
	return judge(FAULT_STREAM, "readdir") != PASS ? NULL : NEXT(readdir)(d);
}

struct dirent64 *readdir64(DIR *d)
{
	return judge(FAULT_STREAM, "readdir") != PASS ? NULL : NEXT(readdir64)(d);
}

/* Memory; left to the leak checker where one is at work (-DFAULT_NO_MEMORY). */
#ifndef FAULT_NO_MEMORY
void *malloc(size_t n)
{
	return judge(FAULT_MEMORY, "malloc") == FAIL ? NULL : __libc_malloc(n);
}

void *calloc(size_t count, size_t n)
{
	return judge(FAULT_MEMORY, "calloc") == FAIL ? NULL : __libc_calloc(count, n);
}

void *realloc(void *p, size_t n)
{
	return judge(FAULT_MEMORY, "realloc") == FAIL ? NULL : __libc_realloc(p, n);
}

void *aligned_alloc(size_t align, size_t n)
{
	return judge(FAULT_MEMORY, "aligned_alloc") == FAIL ? NULL : __libc_memalign(align, n);
}

int posix_memalign(void **out, size_t align, size_t n)
{
	if (judge(FAULT_MEMORY, "posix_memalign") == FAIL)
		return ENOMEM;
	*out = __libc_memalign(align, n);
	return *out ? 0 : ENOMEM;
}
#endif
