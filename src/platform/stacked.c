/* Walks holders/, partitions and loop devices upwards from a disk. */
#include "platform/stacked.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>

#include "base/text.h"
#include "platform/device_number.h"
#include "platform/loop.h"
#include "platform/sysfs.h"

static int add_device(struct stacked *f, const char *sysfs, const char *name, const char *below);

const struct stacked_device *stacked_find(const struct stacked *f, unsigned major, unsigned minor)
{
	for (size_t i = 0; i < f->count; i++)
		if (f->members[i].major == major && f->members[i].minor == minor)
			return &f->members[i];
	return NULL;
}

static struct stacked_device *grow(struct stacked *f)
{
	if (f->count == f->room) {
		size_t room = f->room ? f->room * 2 : 8;
		struct stacked_device *grown = realloc(f->members, room * sizeof *grown);

		if (!grown)
			return NULL;
		f->members = grown;
		f->room = room;
	}
	f->members[f->count] = (struct stacked_device){ 0 };
	return &f->members[f->count];
}

/* A walk over a folder, for what is stacked on a disk. */
struct walk {
	struct stacked *stack;
	const char *sysfs;
	const char *dir;
	const char *below; /* what is found there is stacked on this member; NULL: on none */
	const struct loop_base *same; /* of loop devices, only those on this very file; NULL: any */
};

static int visit_holder(void *context, const char *name)
{
	const struct walk *w = context;

	return add_device(w->stack, w->sysfs, name, w->below);
}

/* Each entry of DIR/holders is a device that sits on `name`. */
static int add_holders(struct stacked *f, const char *sysfs, const char *dir, const char *name)
{
	char path[SYSFS_PATH_MAX];
	struct walk w = { .stack = f, .sysfs = sysfs, .below = name };
	int rc = sysfs_path(path, "%s/holders", dir);

	return rc < 0 ? rc : sysfs_each_entry(path, true, visit_holder, &w);
}

static int visit_partition(void *context, const char *name)
{
	const struct walk *w = context;
	char path[SYSFS_PATH_MAX];
	int rc = sysfs_path(path, "%s/%s", w->dir, name);

	if (!rc)
		rc = sysfs_is_partition(path);
	return rc > 0 ? add_device(w->stack, w->sysfs, name, w->below) : rc;
}

/* Folders of a disk that have a `partition` attribute. */
static int add_partitions(struct stacked *f, const char *sysfs, const char *dir, const char *below)
{
	struct walk w = { .stack = f, .sysfs = sysfs, .dir = dir, .below = below };

	return sysfs_each_entry(dir, false, visit_partition, &w);
}

/* below: the member this one is stacked on; NULL for the disk itself and its partitions. */
static int add_device(struct stacked *f, const char *sysfs, const char *name, const char *below)
{
	char link[SYSFS_PATH_MAX], dir[SYSFS_PATH_MAX];
	struct stacked_device *m;
	unsigned major, minor;
	int rc;

	if (!device_number_of_name(sysfs, name, &major, &minor) ||
		sysfs_path(link, "%s/class/block/%s", sysfs, name) < 0 || !realpath(link, dir))
		return -ENOENT;
	if (stacked_find(f, major, minor))
		return 0;
	m = grow(f);
	if (!m)
		return -ENOMEM;
	text_copy(m->name, sizeof m->name, name);
	m->major = major;
	m->minor = minor;
	m->stacked = below != NULL;
	text_copy(m->below, sizeof m->below, below ? below : "");
	f->count++;
	rc = add_holders(f, sysfs, dir, name);
	if (!rc && sysfs_is_partition(dir) <= 0) /* not known: look for more rather than less */
		rc = add_partitions(f, sysfs, dir, below ? name : NULL);
	return rc;
}

static bool is_same_file(const struct loop_base *a, const struct loop_base *b)
{
	return !a->is_device && !b->is_device && a->device == b->device && a->inode == b->inode;
}

/* Adds the loop device `name` when it lies on a member (a device, or a file in a filesystem there), or on the very file
 * `same`. */
static int visit_block(void *context, const char *name)
{
	const struct walk *w = context;
	const struct stacked_device *m;
	struct loop_base base;
	char below[64] = "";
	int rc = strncmp(name, "loop", 4) ? 0 : loop_base_read(&base, w->sysfs, name);

	if (rc <= 0)
		return rc;
	if (w->same && !is_same_file(&base, w->same))
		return 0;
	if (!w->same) {
		m = stacked_find(w->stack, major(base.device), minor(base.device));
		if (!m)
			return 0;
		text_copy(below, sizeof below, m->name); /* m moves when the list grows */
	}
	return add_device(w->stack, w->sysfs, name, below);
}

/* Loop devices leave no trace in holders/, so each one's file is looked at. same: when not NULL, only loop devices
 * on this very file. Returns how many were added, or a negative errno. */
static int add_loops(struct stacked *f, const char *sysfs, const struct loop_base *same)
{
	char path[SYSFS_PATH_MAX];
	struct walk w = { .stack = f, .sysfs = sysfs, .same = same };
	size_t before = f->count;
	int rc = sysfs_path(path, "%s/block", sysfs);

	if (!rc)
		rc = sysfs_each_entry(path, false, visit_block, &w);
	return rc < 0 ? rc : (int)(f->count - before);
}

/* A loop device on a loop device on a disk: until nothing new turns up. */
static int add_all_loops(struct stacked *f, const char *sysfs)
{
	int rc;

	do
		rc = add_loops(f, sysfs, NULL);
	while (rc > 0);
	return rc;
}

/* The other loop devices on the file of a loop device: what is written to one shows in all. */
static int add_siblings(struct stacked *f, const char *sysfs, const char *disk)
{
	struct loop_base base;
	size_t before = f->count;
	int rc = strncmp(disk, "loop", 4) ? 0 : loop_base_read(&base, sysfs, disk);

	if (rc <= 0 || base.is_device)
		return rc < 0 ? rc : 0;
	rc = add_loops(f, sysfs, &base);
	for (size_t i = before; i < f->count; i++)
		f->members[i].beside = !*f->members[i].below;
	return rc < 0 ? rc : 0;
}

int stacked_of_disk(struct stacked *f, const char *sysfs, const char *disk)
{
	int rc;

	*f = (struct stacked){ 0 };
	rc = add_device(f, sysfs, disk, NULL);
	if (!rc)
		rc = add_siblings(f, sysfs, disk);
	return rc < 0 ? rc : add_all_loops(f, sysfs);
}

int stacked_of_file(struct stacked *f, const char *sysfs, const struct stat *file)
{
	struct loop_base base = { .device = file->st_dev, .inode = file->st_ino };
	int rc;

	*f = (struct stacked){ 0 };
	rc = add_loops(f, sysfs, &base);
	return rc < 0 ? rc : add_all_loops(f, sysfs);
}

void stacked_release(struct stacked *f)
{
	free(f->members);
	*f = (struct stacked){ 0 };
}
