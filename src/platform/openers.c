/* A walk over /proc/PID/fd. */
#include "platform/openers.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "base/number.h"
#include "base/text.h"
#include "platform/sysfs.h"

struct hunt {
	const struct stat *st;
	enum opener_want want;
	struct opener found;
	pid_t pid; /* in hand */
};

/* The link is followed to the very file, whatever its name is by now. A server that does not answer is not asked. */
static bool is_it(const struct stat *st, int folder, const char *name)
{
	struct statx sx;

	if (statx(folder, name, AT_STATX_DONT_SYNC | AT_NO_AUTOMOUNT, STATX_TYPE | STATX_INO, &sx) <
		0)
		return false;
	if (S_ISBLK(st->st_mode))
		return S_ISBLK(sx.stx_mode) &&
		       makedev(sx.stx_rdev_major, sx.stx_rdev_minor) == st->st_rdev;
	return sx.stx_ino == st->st_ino &&
	       makedev(sx.stx_dev_major, sx.stx_dev_minor) == st->st_dev;
}

/* fdinfo: a line "flags:" in octal, and one "lock:" for each lock. */
static void read_info(struct opener *o, pid_t pid, const char *name)
{
	char path[320], *line = NULL;
	size_t room = 0;
	FILE *f;

	snprintf(path, sizeof path, "/proc/%d/fdinfo/%s", (int)pid, name);
	f = fopen(path, "re");
	while (f && getline(&line, &room, f) >= 0) {
		if (!strncmp(line, "flags:", 6))
			o->writes = (strtoul(line + 6, NULL, 8) & O_ACCMODE) != O_RDONLY;
		o->locks |= !strncmp(line, "lock:", 5);
	}
	free(line);
	if (f)
		fclose(f);
}

static void read_program(struct opener *o)
{
	char folder[32];

	snprintf(folder, sizeof folder, "/proc/%d", (int)o->pid);
	(void)sysfs_read_text(folder, "comm", o->program, sizeof o->program);
}

static bool is_wanted(const struct opener *o, enum opener_want want)
{
	return want == OPENER_WRITES ? o->writes : want == OPENER_LOCKS ? o->locks : true;
}

/* One descriptor; 1 ends the walk. */
static int look_at(struct hunt *h, int folder, const char *name)
{
	struct opener o = { .pid = h->pid };

	if (!is_it(h->st, folder, name))
		return 0;
	read_info(&o, h->pid, name);
	if (!is_wanted(&o, h->want))
		return 0;
	read_program(&o);
	h->found = o;
	return 1;
}

static int visit_process(void *context, const char *name)
{
	struct hunt *h = context;
	uint64_t pid;
	char path[64];
	struct dirent *e;
	DIR *d;
	int rc = 0;

	if (number_parse_u64(name, &pid) < 0 || (h->pid = (pid_t)pid) == getpid())
		return 0;
	snprintf(path, sizeof path, "/proc/%d/fd", (int)h->pid);
	d = opendir(path);
	while (d && !rc && (e = readdir(d)))
		if (*e->d_name != '.')
			rc = look_at(h, dirfd(d), e->d_name);
	if (d)
		closedir(d);
	return rc;
}

/* "1: FLOCK  ADVISORY  WRITE 6434 fe:00:10953857 0 EOF". Shown to everybody, unlike descriptors, but locks of open
 * descriptions have no process there. The device is the filesystem's own, which stat(2) does not show of every kind. */
static bool find_lock(struct opener *out, const struct stat *st)
{
	FILE *f = fopen("/proc/locks", "re");
	char *line = NULL;
	size_t room = 0;
	bool found = false;

	while (f && !found && getline(&line, &room, f) >= 0) {
		unsigned major, minor;
		unsigned long long inode;
		int pid;

		/* NOLINTNEXTLINE(cert-err34-c): the kernel wrote it, and its numbers fit */
		found = sscanf(line, "%*d: %*s %*s %*s %d %x:%x:%llu", &pid, &major, &minor,
				&inode) == 4 &&
			pid > 0 && pid != getpid() && inode == st->st_ino &&
			(makedev(major, minor) == st->st_dev || !major(st->st_dev));
		if (found)
			*out = (struct opener){ .pid = pid, .locks = true };
	}
	free(line);
	if (f)
		fclose(f);
	if (found)
		read_program(out);
	return found;
}

bool opener_find(struct opener *out, const struct stat *st, enum opener_want want)
{
	struct hunt h = { .st = st, .want = want };

	if (sysfs_each_entry("/proc", false, visit_process, &h) == 1) {
		*out = h.found;
		return true;
	}
	return want == OPENER_LOCKS && find_lock(out, st);
}

const char *opener_words(char text[112], const struct opener *o)
{
	if (!o)
		snprintf(text, 112, "another program");
	else if (*o->program)
		snprintf(text, 112, "process %d (%s)", (int)o->pid, o->program);
	else
		snprintf(text, 112, "process %d", (int)o->pid);
	return text;
}
