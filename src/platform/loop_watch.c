/* Loop devices: their names in /sys/block, diskseq, and what each says of itself. */
#include "platform/loop_watch.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <unistd.h>

#include "base/text.h"
#include "platform/beneath.h"
#include "platform/clock.h"
#include "platform/loop.h"
#include "platform/sysfs.h"

static const uint64_t at_least_every_ns = 250000000;

void loop_watch_init(struct loop_watch *w)
{
	*w = (struct loop_watch){ .uevents =
					  open("/sys/kernel/uevent_seqnum", O_RDONLY | O_CLOEXEC) };
}

void loop_watch_release(struct loop_watch *w)
{
	if (w->uevents >= 0)
		close(w->uevents);
	free(w->seen);
	*w = (struct loop_watch){ .uevents = -1 };
}

/* 0: not known. */
static uint64_t count_uevents(const struct loop_watch *w)
{
	char text[32];
	ssize_t n;

	if (w->uevents < 0 || lseek(w->uevents, 0, SEEK_SET) < 0)
		return 0;
	n = read(w->uevents, text, sizeof text - 1);
	if (n <= 0)
		return 0;
	text[n] = 0;
	return strtoull(text, NULL, 10);
}

bool loop_watch_is_due(struct loop_watch *w)
{
	uint64_t n = count_uevents(w);

	return !n || n != w->counted || clock_now_ns() - w->looked_ns > at_least_every_ns;
}

static struct loop_seen *find(struct loop_watch *w, const char *name)
{
	for (size_t i = 0; i < w->count; i++)
		if (!strcmp(w->seen[i].name, name))
			return &w->seen[i];
	return NULL;
}

/* Without memory it is asked again the next time. */
static void remember(struct loop_watch *w, const char *name, uint64_t sequence)
{
	struct loop_seen *known = find(w, name);

	if (!known && w->count == w->room) {
		size_t room = w->room ? w->room * 2 : 16;
		struct loop_seen *grown = realloc(w->seen, room * sizeof *grown);

		if (!grown)
			return;
		w->seen = grown;
		w->room = room;
	}
	if (!known)
		known = &w->seen[w->count++];
	text_copy(known->name, sizeof known->name, name);
	known->sequence = sequence;
}

struct look {
	struct loop_watch *watch;
	const struct loop_watched *under;
	char *name;
};

static bool is_on_disk(const struct loop_base *base, const char *disk)
{
	struct beneath_disk below;

	return beneath_of_number(&below, "/sys", major(base->device), minor(base->device)) == 0 &&
	       !strcmp(below.disk, disk);
}

static bool is_on(const struct loop_base *base, const struct loop_watched *g)
{
	if (base->is_device)
		return g->disk && is_on_disk(base, g->disk);
	return g->file && base->device == g->file->st_dev && base->inode == g->file->st_ino;
}

static int ask(struct look *l, const char *name, uint64_t sequence)
{
	struct loop_base base;
	int rc = loop_base_read(&base, "/sys", name);

	if (rc < 0)
		return rc;
	if (rc && is_on(&base, l->under)) {
		text_copy(l->name, 64, name);
		return 1;
	}
	/* One that is not set up (0) may be about to be, and has its new sequence already. */
	if (rc && sequence)
		remember(l->watch, name, sequence);
	return 0;
}

static int visit(void *context, const char *name)
{
	struct look *l = context;
	const struct loop_seen *known;
	char dir[SYSFS_PATH_MAX];
	uint64_t sequence = 0;

	if (strncmp(name, "loop", 4) != 0 || (l->under->disk && !strcmp(name, l->under->disk)))
		return 0;
	if (sysfs_path(dir, "/sys/block/%s", name) == 0)
		(void)sysfs_read_number(dir, "diskseq", &sequence);
	known = find(l->watch, name);
	if (sequence && known && known->sequence == sequence)
		return 0;
	return ask(l, name, sequence);
}

/* NOLINTNEXTLINE(readability-non-const-parameter): visit writes it */
int loop_watch_look(struct loop_watch *w, const struct loop_watched *under, char name[64])
{
	struct look l = { w, under, name };
	/* Before the look: what comes during it is looked at again. */
	uint64_t counted = count_uevents(w);
	int rc = sysfs_each_entry("/sys/block", false, visit, &l);

	w->counted = counted;
	w->looked_ns = clock_now_ns();
	return rc;
}
