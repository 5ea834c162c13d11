/* Block trace events through an instance of our own. */
#include "platform/trace.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mount.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "base/error.h"

enum { READ_BYTES = 64 * 1024, LINE_MAX_BYTES = 1024, BUFFER_KIB = 4096 /* a processor */ };

static const char prefix[] = "blkassay-";

struct trace {
	int root, instances, own, pipe;
	char name[32]; /* of the instance; "" until it exists */
	size_t kept; /* bytes of an unfinished line */
	char buf[READ_BYTES + LINE_MAX_BYTES];
};

/* ---- parsing ---- */

struct cursor {
	const char *at, *end;
};

/* Moves behind the next occurrence of word. */
static bool skip_past(struct cursor *c, const char *word)
{
	size_t n = strlen(word);
	const char *found = memmem(c->at, (size_t)(c->end - c->at), word, n);

	if (!found)
		return false;
	c->at = found + n;
	return true;
}

static bool take_number(struct cursor *c, uint64_t *out)
{
	const char *from = c->at;

	*out = 0;
	while (c->at < c->end && *c->at >= '0' && *c->at <= '9') {
		if (__builtin_mul_overflow(*out, 10, out) ||
			__builtin_add_overflow(*out, (uint64_t)(*c->at - '0'), out))
			return false;
		c->at++;
	}
	return c->at > from;
}

/* "1234.567890: " right before the event's name. */
static bool take_time(const char *line, const char *name, uint64_t *ns)
{
	struct cursor c = { .end = name };
	const char *from;
	uint64_t seconds, micros;

	while (name > line && name[-1] != ':')
		name--;
	c.at = name;
	while (c.at > line && c.at[-1] != ' ')
		c.at--;
	if (!take_number(&c, &seconds) || seconds >= UINT64_MAX / 1000000000 - 1 || c.at == c.end ||
		*c.at++ != '.')
		return false;
	from = c.at;
	if (!take_number(&c, &micros) || c.at - from != 6)
		return false;
	*ns = seconds * 1000000000 + micros * 1000;
	return true;
}

/* The letters of an operation as Linux prints them (blk_fill_rwbs in the kernel's sources): F before the operation is a flush, after it FUA. */
static void take_letters(struct trace_event *e, struct cursor *c)
{
	bool operation = false;

	for (; c->at < c->end && *c->at != ' '; c->at++) {
		char letter = *c->at;

		if (letter == 'F' && operation)
			e->fua = e->write;
		else if (letter == 'F')
			e->flush = true;
		else if (!operation && letter == 'R')
			e->read = true;
		else if (!operation && letter == 'W')
			e->write = true;
		else if (!operation && letter == 'D')
			e->discard = true;
		operation = operation || letter == 'R' || letter == 'W' || letter == 'D' ||
			    letter == 'N';
	}
}

/* "SECTOR + COUNT" behind the command's bytes, which stand in brackets of their own. */
static bool take_extent(struct trace_event *e, struct cursor *c)
{
	return skip_past(c, ") ") && take_number(c, &e->sector) && skip_past(c, " + ") &&
	       take_number(c, &e->sectors);
}

static bool take_error(struct trace_event *e, struct cursor *c)
{
	uint64_t n;
	bool minus;

	if (!skip_past(c, "["))
		return false;
	minus = c->at < c->end && *c->at == '-';
	c->at += minus;
	if (!take_number(c, &n) || n > 4095)
		return false;
	e->error = minus ? -(int)n : (int)n;
	return true;
}

static bool take_word(struct cursor *c, const char *word)
{
	size_t n = strlen(word);

	if ((size_t)(c->end - c->at) < n || memcmp(c->at, word, n) != 0)
		return false;
	c->at += n;
	return true;
}

/* "CPU:1 [LOST 123 EVENTS]", and nothing else: a process may be called the like. The number is missing where the kernel
 * does not know it: at least one then. */
static bool parse_lost(struct trace_event *e, const char *line, size_t length)
{
	struct cursor c = { line, line + length };
	uint64_t processor, lost = 1;

	if (!take_word(&c, "CPU:") || !take_number(&c, &processor) || !take_word(&c, " [LOST "))
		return false;
	if (take_number(&c, &lost) && !take_word(&c, " "))
		return false;
	if (!lost)
		lost = 1;
	if (!take_word(&c, "EVENTS]") || c.at != c.end)
		return false;
	e->kind = TRACE_LOST;
	e->lost = lost;
	return true;
}

bool trace_parse(struct trace_event *out, const char *line, size_t length)
{
	struct cursor c = { line, line + length };
	const char *name;

	*out = (struct trace_event){ 0 };
	if (parse_lost(out, line, length))
		return true;
	out->kind = TRACE_ISSUE;
	if (!skip_past(&c, ": block_rq_issue: ")) {
		out->kind = TRACE_COMPLETE;
		if (!skip_past(&c, ": block_rq_complete: "))
			return false;
	}
	name = c.at -
	       strlen(out->kind == TRACE_ISSUE ? " block_rq_issue: " : " block_rq_complete: ");
	if (!take_time(line, name, &out->at_ns) || !skip_past(&c, " "))
		return false;
	take_letters(out, &c);
	return take_extent(out, &c) && (out->kind == TRACE_ISSUE || take_error(out, &c));
}

/* ---- tracefs ---- */

static int put(int dir, const char *file, const char *text)
{
	int fd = openat(dir, file, O_WRONLY | O_CLOEXEC), rc = 0;

	if (fd < 0)
		return -errno;
	if (write(fd, text, strlen(text)) != (ssize_t)strlen(text))
		rc = errno ? -errno : -EIO;
	close(fd);
	return rc;
}

/* A mount nobody sees: it goes with the descriptor, whatever happens to this process. */
static int mount_detached(void)
{
	int fs = fsopen("tracefs", FSOPEN_CLOEXEC), fd;

	if (fs < 0)
		return -errno;
	if (fsconfig(fs, FSCONFIG_CMD_CREATE, NULL, NULL, 0) < 0)
		fd = -errno;
	else
		fd = fsmount(fs, FSMOUNT_CLOEXEC, 0);
	if (fd == -1)
		fd = -errno;
	close(fs);
	return fd;
}

static int open_root(void)
{
	static const char *const usual[] = { "/sys/kernel/tracing", "/sys/kernel/debug/tracing" };
	int detached = mount_detached();

	if (detached >= 0)
		return detached;
	/* Linux before 5.2 has no such mounts; there it is usually mounted. */
	for (size_t i = 0; i < sizeof usual / sizeof *usual; i++) {
		int fd = open(usual[i], O_RDONLY | O_DIRECTORY | O_CLOEXEC);

		if (fd >= 0 && faccessat(fd, "instances", W_OK, 0) == 0)
			return fd;
		if (fd >= 0)
			close(fd);
	}
	return detached;
}

/* Instances of processes that are gone: kill -9 leaves them behind. */
static void remove_orphans(int instances)
{
	int copy = openat(instances, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	DIR *dir = copy < 0 ? NULL : fdopendir(copy);
	struct dirent *d;

	if (!dir) {
		if (copy >= 0)
			close(copy);
		return;
	}
	while ((d = readdir(dir))) {
		char *end;
		long pid;

		if (strncmp(d->d_name, prefix, sizeof prefix - 1) != 0)
			continue;
		pid = strtol(d->d_name + sizeof prefix - 1, &end, 10);
		if (!*end && pid > 0 && kill((pid_t)pid, 0) < 0 && errno == ESRCH)
			(void)unlinkat(instances, d->d_name, AT_REMOVEDIR);
	}
	closedir(dir);
}

static int make_instance(struct trace *t)
{
	t->instances = openat(t->root, "instances", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (t->instances < 0)
		return -errno;
	remove_orphans(t->instances);
	snprintf(t->name, sizeof t->name, "%s%ld", prefix, (long)getpid());
	if (mkdirat(t->instances, t->name, 0700) < 0) {
		t->name[0] = 0;
		return -errno;
	}
	t->own = openat(t->instances, t->name, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	return t->own < 0 ? -errno : 0;
}

static int switch_on(struct trace *t, unsigned major, unsigned minor)
{
	static const char *const plain[] = { "noraw", "nohex", "nobin", "nofields" };
	char filter[40], size[16];
	int rc;

	/* New instances inherit options that change the form of a line; kernels lack some of them. */
	for (size_t i = 0; i < sizeof plain / sizeof *plain; i++)
		(void)put(t->own, "trace_options", plain[i]);
	snprintf(size, sizeof size, "%d", BUFFER_KIB);
	snprintf(filter, sizeof filter, "dev == %u", major << 20 | minor);
	rc = put(t->own, "buffer_size_kb", size);
	if (!rc)
		rc = put(t->own, "trace_clock", "mono");
	if (!rc)
		rc = put(t->own, "events/block/block_rq_issue/filter", filter);
	if (!rc)
		rc = put(t->own, "events/block/block_rq_complete/filter", filter);
	if (rc)
		return rc;
	t->pipe = openat(t->own, "trace_pipe", O_RDONLY | O_NONBLOCK | O_CLOEXEC);
	if (t->pipe < 0)
		return -errno;
	rc = put(t->own, "events/block/block_rq_issue/enable", "1");
	return rc ? rc : put(t->own, "events/block/block_rq_complete/enable", "1");
}

int trace_open(struct trace **out, unsigned major, unsigned minor, struct error *err)
{
	struct trace *t = calloc(1, sizeof *t);
	int rc;

	*out = NULL;
	if (!t)
		return error_set(err, ERROR_IO, "out of memory");
	t->instances = t->own = t->pipe = -1;
	t->root = open_root();
	rc = t->root < 0 ? t->root : make_instance(t);
	if (rc == 0)
		rc = switch_on(t, major, minor);
	if (rc == 0) {
		*out = t;
		return 0;
	}
	trace_close(t);
	error_sys(err, ERROR_IO, -rc, "cannot trace requests (tracefs)");
	if (rc == -EPERM || rc == -EACCES)
		error_add(err, "; run as root");
	return -1;
}

uint64_t trace_now_ns(void)
{
	struct timespec t;

	clock_gettime(CLOCK_MONOTONIC, &t);
	return (uint64_t)t.tv_sec * 1000000000 + (uint64_t)t.tv_nsec;
}

static void hand_over(struct trace *t, size_t length,
	void (*event)(void *context, const struct trace_event *e), void *context)
{
	char *line = t->buf, *end = t->buf + length, *newline;
	struct trace_event e;

	while ((newline = memchr(line, '\n', (size_t)(end - line)))) {
		if (trace_parse(&e, line, (size_t)(newline - line)))
			event(context, &e);
		line = newline + 1;
	}
	t->kept = (size_t)(end - line);
	if (t->kept > LINE_MAX_BYTES)
		t->kept = 0; /* no line of these events is that long */
	memmove(t->buf, line, t->kept);
}

int trace_read(
	struct trace *t, void (*event)(void *context, const struct trace_event *e), void *context)
{
	for (;;) {
		ssize_t n = read(t->pipe, t->buf + t->kept, READ_BYTES);

		if (n < 0 && errno == EINTR)
			continue;
		if (n < 0)
			return errno == EAGAIN ? 0 : -errno;
		if (n == 0)
			return 0;
		hand_over(t, t->kept + (size_t)n, event, context);
	}
}

void trace_close(struct trace *t)
{
	if (!t)
		return;
	if (t->own >= 0)
		(void)put(t->own, "events/enable", "0");
	if (t->pipe >= 0)
		close(t->pipe);
	if (t->own >= 0)
		close(t->own);
	if (*t->name)
		(void)unlinkat(t->instances, t->name, AT_REMOVEDIR);
	if (t->instances >= 0)
		close(t->instances);
	if (t->root >= 0)
		close(t->root);
	free(t);
}
