/* Mounts (proc(5), /proc/self/mountinfo), swap (/proc/swaps) and holders of a disk. */
#include "platform/usage.h"

#include <errno.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "platform/beneath.h"
#include "platform/device_number.h"
#include "platform/stacked.h"
#include "platform/sysfs.h"

struct search {
	struct usage *out;
	const struct stacked *stack;
	const char *sysfs;
	const char *program; /* real path of this program; "" unknown */
	struct usage_mount program_mount;
	struct stat file; /* of the image, when there is one */
	bool has_file;
};

enum { LEVELS_MAX = 8 }; /* of devices built on devices */

static const char *const system_points[] = { "/", "/usr", "/boot", "/boot/efi", "/efi" };

static struct usage_sources with_defaults(const struct usage_sources *src)
{
	struct usage_sources s = src ? *src : (struct usage_sources){ 0 };

	s.sysfs = s.sysfs ? s.sysfs : "/sys";
	s.mountinfo = s.mountinfo ? s.mountinfo : "/proc/self/mountinfo";
	s.swaps = s.swaps ? s.swaps : "/proc/swaps";
	s.program = s.program ? s.program : "/proc/self/exe";
	return s;
}

static bool is_octal(char c)
{
	return c >= '0' && c <= '7';
}

/* proc(5): blanks and backslashes in paths are written as three octal digits. */
static void unescape(char *text)
{
	char *to = text;

	for (const char *from = text; *from;) {
		if (from[0] == '\\' && is_octal(from[1]) && is_octal(from[2]) &&
			is_octal(from[3])) {
			*to++ = (char)((from[1] - '0') * 64 + (from[2] - '0') * 8 + from[3] - '0');
			from += 4;
		} else {
			*to++ = *from++;
		}
	}
	*to = 0;
}

/* One line of mountinfo: ID PARENT MAJOR:MINOR ROOT POINT OPTIONS [TAGS] - TYPE SOURCE SUPER. Some filesystems (btrfs)
 * show a made-up number there, so a source that is a device has the last word. */
static bool parse_mount(struct usage_mount *m, char *line, const char *sysfs)
{
	char *fields[5], *word, *rest = line, *tail = strstr(line, " - ");
	char source[PATH_MAX];
	unsigned major, minor;

	for (size_t i = 0; i < 5; i++)
		if (!(fields[i] = strsep(&rest, " ")))
			return false;
	if (!tail || !sysfs_parse_device_number(fields[2], &m->major, &m->minor))
		return false;
	m->id = (unsigned)strtoul(fields[0], NULL, 10);
	unescape(fields[3]);
	text_copy(m->root, sizeof m->root, fields[3]);
	unescape(fields[4]);
	text_copy(m->point, sizeof m->point, fields[4]);
	rest = tail + 3;
	word = strsep(&rest, " ");
	word = word ? strsep(&rest, " \n") : NULL;
	text_copy(m->options, sizeof m->options, rest ? rest : "");
	m->options[strcspn(m->options, "\n")] = 0;
	unescape(m->options);
	if (!word || *word != '/')
		return true;
	unescape(word);
	text_copy(source, sizeof source, word);
	if (m->major == 0 && device_number_of_path(sysfs, source, &major, &minor)) {
		m->major = major;
		m->minor = minor;
	}
	return true;
}

/* Calls visit for every mount. 0 or a negative errno. */
static int each_mount(const struct usage_sources *src,
	void (*visit)(void *context, const struct usage_mount *m), void *context)
{
	FILE *f = fopen(src->mountinfo, "re");
	struct usage_mount m;
	char *line = NULL;
	size_t room = 0;
	int rc;

	if (!f)
		return -errno;
	while (getline(&line, &room, f) >= 0)
		if (parse_mount(&m, line, src->sysfs))
			visit(context, &m);
	rc = feof(f) ? 0 : -EIO; /* without memory getline ends early too */
	free(line);
	fclose(f);
	return rc;
}

struct path_search {
	const char *path;
	struct usage_mount best;
	size_t best_length;
	bool found;
};

static void consider_path(void *context, const struct usage_mount *m)
{
	struct path_search *s = context;
	size_t n = strlen(m->point);
	bool root = n == 1;

	if (strncmp(s->path, m->point, n) != 0 || (!root && s->path[n] && s->path[n] != '/'))
		return;
	if (s->found && n < s->best_length)
		return;
	s->best = *m; /* of equal ones the last: it covers the others */
	s->best_length = n;
	s->found = true;
}

/* The mount that the real path `path` lies in. */
static bool mount_of_path(
	const struct usage_sources *src, const char *path, struct usage_mount *out)
{
	struct path_search s = { .path = path };

	if (each_mount(src, consider_path, &s) < 0 || !s.found)
		return false;
	*out = s.best;
	return true;
}

static struct usage_item *add_item(
	struct usage *u, enum usage_kind kind, const char *device, const char *by, bool system)
{
	struct usage_item *item = NULL;

	u->mounted |= kind == USAGE_MOUNT;
	u->swap |= kind == USAGE_SWAP;
	u->held |= kind == USAGE_HOLDER;
	u->system |= system;
	if (u->count < USAGE_ITEMS_MAX)
		item = &u->items[u->count++];
	else
		u->more++;
	/* What makes it the system disk must be shown, even when the list is full. */
	if (!item && system)
		item = &u->items[USAGE_ITEMS_MAX - 1];
	if (!item)
		return NULL;
	*item = (struct usage_item){ .kind = kind, .system = system };
	text_copy(item->device, sizeof item->device, device);
	text_copy(item->by, sizeof item->by, by);
	sysfs_clean_text(item->by);
	return item;
}

static void consider_mount(void *context, const struct usage_mount *m)
{
	struct search *s = context;
	const struct stacked_device *member = stacked_find(s->stack, m->major, m->minor);
	bool system = *s->program && m->major == s->program_mount.major &&
		      m->minor == s->program_mount.minor;

	if (!member)
		return;
	for (size_t i = 0; i < sizeof system_points / sizeof *system_points; i++)
		system |= !strcmp(m->point, system_points[i]);
	add_item(s->out, USAGE_MOUNT, member->name, m->point, system);
}

/* /proc/swaps: a heading, then PATH TYPE SIZE USED PRIORITY. A swap file on a disk shows as the mount it lies in. */
static int read_swaps(struct search *s, const char *path)
{
	FILE *f = fopen(path, "re");
	char *line = NULL;
	size_t room = 0;
	int rc;

	if (!f)
		return errno == ENOENT ? 0 : -errno; /* a kernel without swap */
	while (getline(&line, &room, f) >= 0) {
		const struct stacked_device *member = NULL;
		unsigned major, minor;
		struct stat st;

		line[strcspn(line, " \t\n")] = 0;
		unescape(line);
		if (device_number_of_path(s->sysfs, line, &major, &minor))
			member = stacked_find(s->stack, major, minor);
		if (member)
			add_item(s->out, USAGE_SWAP, member->name, "swap", false);
		else if (s->has_file && *line == '/' && stat(line, &st) == 0 &&
			 st.st_dev == s->file.st_dev && st.st_ino == s->file.st_ino)
			add_item(s->out, USAGE_SWAP, "", "swap", false);
	}
	rc = feof(f) ? 0 : -EIO; /* without memory getline ends early too */
	free(line);
	fclose(f);
	return rc;
}

static void add_holders(struct search *s)
{
	for (size_t i = 0; i < s->stack->count; i++) {
		const struct stacked_device *m = &s->stack->members[i];

		struct usage_item *item = NULL;

		if (m->stacked)
			item = add_item(s->out, USAGE_HOLDER, m->below, m->name, false);
		else if (i > 0)
			s->out->partitions++;
		if (item && m->beside) {
			item->beside = true;
			text_copy(item->device, sizeof item->device, "same file");
		}
	}
}

static int search(struct search *s, const struct usage_sources *src)
{
	char program[PATH_MAX];
	int rc;

	s->sysfs = src->sysfs;
	s->program = realpath(src->program, program) ? program : "";
	if (*s->program && !mount_of_path(src, program, &s->program_mount))
		s->program = "";
	rc = each_mount(src, consider_mount, s);
	if (!rc)
		rc = read_swaps(s, src->swaps);
	add_holders(s);
	return rc;
}

static int read_disk(
	struct usage *out, const struct usage_sources *src, const char *disk, unsigned depth);

struct descent {
	struct usage *out;
	const struct usage_sources *src;
	unsigned depth;
};

/* A disk below: whether it is the system's is all that counts. Who else uses it is looked at by whoever writes there;
 * what is built on it holds it exclusively. */
static int look_below(void *context, const struct beneath_disk *below)
{
	const struct descent *d = context;
	struct usage lower;
	int rc;

	if (below->alias) {
		text_copy(d->out->alias_of, sizeof d->out->alias_of, below->device);
		return 0;
	}
	rc = read_disk(&lower, d->src, below->disk, d->depth + 1);
	if (!rc && (lower.system || *lower.system_below))
		text_copy(d->out->system_below, sizeof d->out->system_below, below->disk);
	return rc;
}

static int read_disk(
	struct usage *out, const struct usage_sources *src, const char *disk, unsigned depth)
{
	struct descent descent = { .src = src, .depth = depth };
	struct stacked stack;
	struct search s = { .out = out, .stack = &stack };
	int rc = stacked_of_disk(&stack, src->sysfs, disk);

	*out = (struct usage){ 0 };
	descent.out = out;
	if (!rc)
		rc = search(&s, src);
	stacked_release(&stack);
	if (!rc)
		rc = depth > LEVELS_MAX ? -ELOOP
					: beneath_each(src->sysfs, disk, look_below, &descent);
	return rc;
}

int usage_read(
	struct usage *out, const struct usage_sources *sources, const char *disk, struct error *err)
{
	struct usage_sources src = with_defaults(sources);
	int rc = read_disk(out, &src, disk, 0);

	if (rc < 0)
		return error_sys(err, ERROR_IO, -rc, "cannot find out what uses '%s'", disk);
	return 0;
}

int usage_read_file(
	struct usage *out, const struct usage_sources *sources, const struct stat *image)
{
	struct usage_sources src = with_defaults(sources);
	struct stacked stack = { 0 };
	struct search s = { .out = out, .stack = &stack, .file = *image, .has_file = true };
	int rc = stacked_of_file(&stack, src.sysfs, image);

	*out = (struct usage){ 0 };
	if (!rc)
		rc = search(&s, &src);
	stacked_release(&stack);
	return rc;
}

static bool lies_on(const struct usage_sources *src, const char *path, const struct stacked *stack)
{
	char full[PATH_MAX];
	struct usage_mount m;

	return realpath(path, full) && mount_of_path(src, full, &m) &&
	       stacked_find(stack, m.major, m.minor) != NULL;
}

bool usage_path_lies_on_disk(
	const struct usage_sources *sources, const char *path, const char *disk)
{
	struct usage_sources src = with_defaults(sources);
	struct stacked stack;
	bool lies = stacked_of_disk(&stack, src.sysfs, disk) == 0 && lies_on(&src, path, &stack);

	stacked_release(&stack);
	return lies;
}

bool usage_path_lies_in_file(
	const struct usage_sources *sources, const char *path, const struct stat *image)
{
	struct usage_sources src = with_defaults(sources);
	struct stacked stack;
	bool lies = stacked_of_file(&stack, src.sysfs, image) == 0 && lies_on(&src, path, &stack);

	stacked_release(&stack);
	return lies;
}

/* proc(5), fdinfo: "mnt_id:" is the mount's number in mountinfo. */
static bool mount_id_of_file(int fd, unsigned *id)
{
	char path[48], *line = NULL;
	size_t room = 0;
	bool found = false;
	FILE *f;

	snprintf(path, sizeof path, "/proc/self/fdinfo/%d", fd);
	f = fopen(path, "re");
	while (f && !found && getline(&line, &room, f) >= 0)
		/* NOLINTNEXTLINE(cert-err34-c): the kernel wrote it, and its numbers fit */
		found = sscanf(line, "mnt_id: %u", id) == 1;
	free(line);
	if (f)
		fclose(f);
	return found;
}

struct id_search {
	unsigned id;
	struct usage_mount *found;
	bool any;
};

static void consider_id(void *context, const struct usage_mount *m)
{
	struct id_search *s = context;

	if (m->id != s->id)
		return;
	*s->found = *m;
	s->any = true;
}

bool usage_mount_of_file(struct usage_mount *out, const struct usage_sources *sources, int fd)
{
	struct usage_sources src = with_defaults(sources);
	struct id_search s = { .found = out };

	return mount_id_of_file(fd, &s.id) && each_mount(&src, consider_id, &s) == 0 && s.any;
}

bool usage_device_of_file(const struct usage_sources *src, int fd, unsigned *major, unsigned *minor)
{
	struct usage_mount m;
	struct stat st;

	if (fstat(fd, &st) < 0)
		return false;
	*major = major(st.st_dev);
	*minor = minor(st.st_dev);
	if (*major)
		return true;
	if (!usage_mount_of_file(&m, src, fd))
		return false;
	*major = m.major;
	*minor = m.minor;
	return *major != 0;
}
