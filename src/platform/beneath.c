/* slaves/ of sysfs, and what a loop device lies on. */
#include "platform/beneath.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/sysmacros.h>

#include "base/text.h"
#include "platform/loop.h"
#include "platform/sysfs.h"

/* link: a link to the device's folder; the folder of a partition lies in that of its disk. */
static int name_below(struct beneath_disk *out, const char *link)
{
	char dir[SYSFS_PATH_MAX];
	int rc;

	if (!realpath(link, dir))
		return -errno;
	text_copy(out->device, sizeof out->device, strrchr(dir, '/') + 1);
	rc = sysfs_is_partition(dir);
	if (rc < 0)
		return rc;
	if (rc)
		*strrchr(dir, '/') = 0;
	text_copy(out->disk, sizeof out->disk, strrchr(dir, '/') + 1);
	return 0;
}

int beneath_of_number(struct beneath_disk *out, const char *sysfs, unsigned major, unsigned minor)
{
	char link[SYSFS_PATH_MAX];
	int rc = sysfs_path(link, "%s/dev/block/%u:%u", sysfs, major, minor);

	return rc < 0 ? rc : name_below(out, link);
}

static int visit_loop(const char *sysfs, const char *disk,
	int (*visit)(void *context, const struct beneath_disk *below), void *context)
{
	struct beneath_disk below = { .alias = true };
	struct loop_base base;
	int rc = loop_base_read(&base, sysfs, disk);

	if (rc <= 0 || !base.is_device)
		return rc < 0 ? rc : 0;
	rc = beneath_of_number(&below, sysfs, major(base.device), minor(base.device));
	return rc < 0 ? rc : visit(context, &below);
}

struct slaves {
	const char *dir;
	int (*visit)(void *context, const struct beneath_disk *below);
	void *context;
};

static int visit_slave(void *context, const char *name)
{
	const struct slaves *s = context;
	struct beneath_disk below = { 0 };
	char link[SYSFS_PATH_MAX];
	int rc = sysfs_path(link, "%s/%s", s->dir, name);

	if (!rc)
		rc = name_below(&below, link);
	return rc ? rc : s->visit(s->context, &below);
}

static int visit_slaves(const char *sysfs, const char *disk,
	int (*visit)(void *context, const struct beneath_disk *below), void *context)
{
	char dir[SYSFS_PATH_MAX];
	struct slaves slaves = { dir, visit, context };
	int rc = sysfs_path(dir, "%s/class/block/%s/slaves", sysfs, disk);

	return rc < 0 ? rc : sysfs_each_entry(dir, true, visit_slave, &slaves);
}

int beneath_each(const char *sysfs, const char *disk,
	int (*visit)(void *context, const struct beneath_disk *below), void *context)
{
	if (!strncmp(disk, "loop", 4))
		return visit_loop(sysfs, disk, visit, context);
	return visit_slaves(sysfs, disk, visit, context);
}
