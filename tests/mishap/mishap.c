/* Lets a mishap happen at the n-th request to the target, in a program that knows nothing of it (LD_PRELOAD): the same
 * moment every time.
 *
 *   MISHAP_NTH   1, 2, ...: before which request; 0 or unset: never
 *   MISHAP_DO    what happens: a shell command, awaited before the request goes out
 *   MISHAP_HASTE set: naps end at once
 *   MISHAP_LOG   a file that gets "fired N" when it happens, and "requests N" at the end
 *
 * Built without _FILE_OFFSET_BITS, so that both names of a call can be had.
 *
 * A request is a read, write, flush or SCSI command (SG_IO) by a descriptor opened for direct I/O, and a write of 64 KiB or
 * more by any. */
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <scsi/sg.h>
#include <spawn.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/uio.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

static struct {
	unsigned long nth;
	char *command;
	const char *log;
	atomic_ulong seen;
} mishap;

static void note(const char *what, unsigned long n)
{
	char line[40];
	int length = snprintf(line, sizeof line, "%s %lu\n", what, n);
	int fd =
		mishap.log ? open(mishap.log, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666) : -1;

	if (fd < 0)
		return;
	(void)!syscall(SYS_write, fd, line, (size_t)length);
	close(fd);
}

/* Not in the commands of the mishap themselves. */
static char **plain_environment(void)
{
	unsetenv("LD_PRELOAD");
	return environ;
}

static void happen(unsigned long n)
{
	static char sh[] = "sh", c[] = "-c";
	char *argv[] = { sh, c, mishap.command, NULL };
	pid_t child;
	int saved = errno, status;

	note("fired", n);
	if (posix_spawn(&child, "/bin/sh", NULL, NULL, argv, plain_environment()) == 0)
		while (waitpid(child, &status, 0) < 0 && errno == EINTR)
			;
	errno = saved;
}

static void request(int fd, size_t length)
{
	int flags = length >= 65536 ? O_DIRECT : fcntl(fd, F_GETFL);
	unsigned long n;

	if (flags < 0 || !(flags & O_DIRECT))
		return;
	n = ++mishap.seen;
	if (n == mishap.nth)
		happen(n);
}

__attribute__((constructor)) static void arm(void)
{
	const char *nth = getenv("MISHAP_NTH");

	mishap.command = getenv("MISHAP_DO");
	mishap.log = getenv("MISHAP_LOG");
	mishap.nth = nth && mishap.command ? strtoul(nth, NULL, 10) : 0;
}

__attribute__((destructor)) static void tell(void)
{
	note("requests", mishap.seen);
}

#define WRAP_PREAD(name)                                     \
	ssize_t name(int fd, void *buf, size_t n, off_t at)  \
	{                                                    \
		request(fd, 0);                              \
		return syscall(SYS_pread64, fd, buf, n, at); \
	}
#define WRAP_PWRITE(name)                                             \
	ssize_t name(int fd, const void *buf, size_t n, off_t at)     \
	{                                                             \
		request(fd, n);                                       \
		return syscall(SYS_pwrite64, fd, (void *)buf, n, at); \
	}
#define WRAP_PWRITEV2(name)                                                                  \
	ssize_t name(int fd, const struct iovec *v, int count, off_t at, int flags)          \
	{                                                                                    \
		request(fd, v->iov_len);                                                     \
		return syscall(SYS_pwritev2, fd, v, (long)count, (long)at, 0L, (long)flags); \
	}
#define WRAP_SYNC(name, number)                  \
	int name(int fd)                         \
	{                                        \
		request(fd, 0);                  \
		return (int)syscall(number, fd); \
	}
WRAP_PREAD(pread)
WRAP_PREAD(pread64)
WRAP_PWRITE(pwrite)
WRAP_PWRITE(pwrite64)
WRAP_PWRITEV2(pwritev2)
WRAP_PWRITEV2(pwritev64v2)

int ioctl(int fd, unsigned long code, ...)
{
	va_list ap;
	void *argument;

	va_start(ap, code);
	argument = va_arg(ap, void *);
	va_end(ap);
	if (code == SG_IO)
		request(fd, 0);
	return (int)syscall(SYS_ioctl, fd, code, argument);
}

int nanosleep(const struct timespec *nap, struct timespec *left)
{
	static const struct timespec no_time;

	return (int)syscall(SYS_nanosleep, getenv("MISHAP_HASTE") ? &no_time : nap, left);
}

WRAP_SYNC(fsync, SYS_fsync)
WRAP_SYNC(fdatasync, SYS_fdatasync)
