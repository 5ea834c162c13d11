/* Gathers disks and partitions with their verdicts. */
#include "cli/target_list.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/error.h"
#include "base/text.h"
#include "cli/kept_search.h"
#include "integrity/kept.h"

static struct target_row *add_row(struct target_list *list)
{
	struct target_row *grown = realloc(list->rows, (list->count + 1) * sizeof *list->rows);

	if (!grown)
		return NULL;
	list->rows = grown;
	list->rows[list->count] = (struct target_row){ 0 };
	return &list->rows[list->count++];
}

struct gathering {
	struct target_list *list;
	const struct usage_sources *src;
	struct blockdev *disks;
	size_t disk_count;
};

static int add(struct gathering *g, const struct blockdev *d, struct error *err)
{
	struct target_row *row = add_row(g->list);

	if (!row)
		return error_set(err, ERROR_IO, "out of memory");
	row->device = *d;
	row->usage_known = usage_read(&row->usage, g->src, d->disk, NULL) == 0;
	row->openable = access(d->node, R_OK) == 0;
	guard_judge_device(&row->verdict, d, g->disks, g->disk_count,
		row->usage_known ? &row->usage : NULL, false);
	return 0;
}

static int add_disk(struct gathering *g, const struct blockdev *disk, struct error *err)
{
	struct blockdev *parts;
	size_t count;
	int rc;

	if (!strcmp(disk->transport, "loop") && !*disk->backing_file) {
		g->list->unused_loops++;
		return 0;
	}
	if (add(g, disk, err) < 0)
		return -1;
	/* Unplugged in this very moment: then it has none. */
	if (blockdev_list_partitions(
		    &parts, &count, g->src ? g->src->sysfs : NULL, disk->name, NULL) < 0)
		return 0;
	rc = 0;
	for (size_t i = 0; !rc && i < count; i++)
		rc = add(g, &parts[i], err);
	free(parts);
	return rc;
}

int target_list_read(struct target_list *list, const struct usage_sources *src, struct error *err)
{
	struct gathering g = { .list = list, .src = src };
	int rc;

	*list = (struct target_list){ 0 };
	rc = blockdev_list(&g.disks, &g.disk_count, src ? src->sysfs : NULL, err);
	for (size_t i = 0; !rc && i < g.disk_count; i++)
		rc = add_disk(&g, &g.disks[i], err);
	free(g.disks);
	if (rc < 0)
		target_list_release(list);
	return rc;
}

void target_list_release(struct target_list *list)
{
	free(list->rows);
	*list = (struct target_list){ 0 };
}

/* ---- kept data ---- */

struct kept_match {
	struct kept_identity target;
	struct target_kept *out;
};

static bool take_kept(void *context, const struct kept *k, const char *path)
{
	const struct kept_identity *id = kept_identity(k);
	struct kept_match *m = context;

	if (!kept_is_named(id, &m->target))
		return true;
	text_copy(m->out->path, sizeof m->out->path, path);
	snprintf(m->out->run, sizeof m->out->run, "%s%s%s", *id->run ? id->kind : "an earlier run",
		*id->run ? " " : "", id->run);
	m->out->in_use = kept_in_use(k);
	return false;
}

void target_kept_find(struct target_kept *out, const struct target_row *row)
{
	struct kept_folders *f = calloc(1, sizeof *f);
	struct kept_match m = { .target = { .size_bytes = row->device.size_bytes }, .out = out };

	*out = (struct target_kept){ 0 };
	if (!f)
		return;
	text_copy(m.target.token, sizeof m.target.token, row->verdict.token);
	text_copy(m.target.place, sizeof m.target.place, row->device.backing_file);
	kept_folders_add(f, ".");
	kept_folders_add_of(f, row->device.backing_file);
	kept_search(f, take_kept, &m);
	free(f);
}

void target_usage_format(char *out, size_t room, const struct target_row *row)
{
	const struct usage *u = &row->usage;
	size_t n = 0;

	out[0] = 0;
	if (!row->usage_known) {
		snprintf(out, room, "unknown");
		return;
	}
	for (size_t i = 0; i < u->count && n < room; i++) {
		const struct usage_item *item = &u->items[i];
		const char *gap = n ? ", " : "";

		if (item->kind == USAGE_MOUNT)
			n += (size_t)snprintf(out + n, room - n, "%smounted on %s (%s)", gap,
				item->by, item->device);
		else if (item->kind == USAGE_SWAP)
			n += (size_t)snprintf(out + n, room - n, "%sswap (%s)", gap, item->device);
		else
			n += (size_t)snprintf(out + n, room - n, "%sheld by %s (%s)", gap, item->by,
				item->device);
	}
	if (u->more && n < room)
		snprintf(out + n, room - n, " and %zu more", u->more);
}
